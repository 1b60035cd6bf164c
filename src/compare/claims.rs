//! Figures that a seller claims, and whether the measurement bears them out.

use serde::Serialize;

use super::figure::{Difference, Figure, figure};
use super::units::by_name;
use crate::parameters::Key;
use crate::quantity::{Dimension, QuantityError, Spread, Stated, parse_quantity};
use crate::sheet::Sheet;

/// A claim holds within this many joint standard uncertainties: a 95 % interval.
const HOLDS: f64 = 1.96;

/// One claimed figure, SI.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Claim {
    /// Which parameter.
    pub key: Key,
    /// What is claimed, with its tolerance where one is stated.
    pub stated: Stated,
}

/// Why claims cannot be read.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum ClaimError {
    /// No equals sign.
    #[error("\"{text}\" is no claim; write them like fs=85Hz,qts=0.6,vas=3.1L")]
    NoEquals {
        /// What was typed.
        text: String,
    },
    /// A name that is no parameter's.
    #[error("\"{name}\" is no parameter that can be claimed; there are {known}")]
    Unknown {
        /// What was typed.
        name: String,
        /// What could have been.
        known: String,
    },
    /// The same parameter twice.
    #[error("{name} is claimed twice; claim it once")]
    Twice {
        /// Which.
        name: String,
    },
    /// A Q that is no number.
    #[error(
        "{name}: \"{text}\" is no plain number above zero; write for example {name}=0.6 or {name}=0.6+-0.1"
    )]
    NotPlain {
        /// Which.
        name: String,
        /// What was typed.
        text: String,
    },
    /// The quantity cannot be read.
    #[error("{name}: {error}")]
    Quantity {
        /// Which.
        name: String,
        /// Why.
        error: Box<QuantityError>,
    },
}

/// What is typed in which dimension; `None`: a plain number.
const CLAIMABLE: [(&str, Key, Option<Dimension>); 15] = [
    ("fs", Key::Fs, Some(Dimension::Frequency)),
    ("re", Key::Re, Some(Dimension::Resistance)),
    ("qms", Key::Qms, None),
    ("qes", Key::Qes, None),
    ("qts", Key::Qts, None),
    ("vas", Key::Vas, Some(Dimension::Volume)),
    ("mms", Key::Mms, Some(Dimension::Mass)),
    ("mmd", Key::Mmd, Some(Dimension::Mass)),
    ("cms", Key::Cms, Some(Dimension::Compliance)),
    ("rms", Key::Rms, Some(Dimension::MechanicalResistance)),
    ("bl", Key::Bl, Some(Dimension::ForceFactor)),
    ("sd", Key::Sd, Some(Dimension::Area)),
    ("le", Key::Le1khz, Some(Dimension::Inductance)),
    ("level_1w", Key::Level1w, Some(Dimension::SoundLevel)),
    ("level_2v83", Key::Level2v83, Some(Dimension::SoundLevel)),
];

/// Reads claims such as `fs=85Hz,qts=0.6,vas=3.1L`; each may have a tolerance behind `+-`. `le` is the inductance at 1 kHz.
///
/// # Errors
/// See [`ClaimError`].
pub fn parse_claims(text: &str) -> Result<Vec<Claim>, ClaimError> {
    let mut claims: Vec<Claim> = vec![];
    for part in text.split(',') {
        let (name, value) = part.split_once('=').ok_or_else(|| ClaimError::NoEquals {
            text: part.trim().chars().take(40).collect(),
        })?;
        let name = name.trim().to_lowercase();
        let claimable = CLAIMABLE.iter().find(|(known, _, _)| *known == name);
        let &(name, key, dimension) = claimable.ok_or_else(|| ClaimError::Unknown {
            name: name.chars().take(40).collect(),
            known: CLAIMABLE.map(|(known, _, _)| known).join(", "),
        })?;
        if claims.iter().any(|claim| claim.key == key) {
            let name = name.to_owned();
            return Err(ClaimError::Twice { name });
        }
        let stated = match dimension {
            None => plain(name, value)?,
            Some(dimension) => {
                parse_quantity(value, dimension).map_err(|error| ClaimError::Quantity {
                    name: name.to_owned(),
                    error: Box::new(error),
                })?
            }
        };
        claims.push(Claim { key, stated });
    }
    Ok(claims)
}

/// A number without a unit, with or without `+-`.
fn plain(name: &str, text: &str) -> Result<Stated, ClaimError> {
    let number = |part: &str| {
        part.trim()
            .parse::<f64>()
            .ok()
            .filter(|v| v.is_finite() && *v > 0.0)
    };
    let read = || {
        let Some((value, half_width)) = text.split_once("+-").or_else(|| text.split_once('±'))
        else {
            return Some(Stated {
                value: number(text)?,
                spread: Spread::Unstated,
            });
        };
        Some(Stated::within(number(value)?, number(half_width)?))
    };
    read().ok_or_else(|| ClaimError::NotPlain {
        name: name.to_owned(),
        text: text.trim().chars().take(40).collect(),
    })
}

/// What became of a claim.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
#[non_exhaustive]
pub enum Judged {
    /// Within a 95 % interval of what was measured.
    Holds,
    /// Outside.
    Fails,
    /// The sheet does not have it, or nobody knows its doubt.
    CannotTell,
}

/// A claim and what was measured.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Held {
    /// Which.
    #[serde(serialize_with = "by_name")]
    pub key: Key,
    /// What is claimed, SI; without a tolerance it counts as exact.
    pub claimed: Figure,
    /// What was measured; `None` if the sheet does not have it.
    pub measured: Option<Figure>,
    /// Measured less claimed.
    pub difference: Option<Difference>,
    /// What became of it.
    pub judged: Judged,
}

/// Lays claims against a sheet.
pub fn hold(claims: &[Claim], sheet: &Sheet) -> Vec<Held> {
    let held = |claim: &Claim| {
        let claimed = Figure {
            value: claim.stated.value,
            standard_uncertainty: Some(claim.stated.standard_uncertainty().unwrap_or(0.0)),
            half_width_95: Some(HOLDS * claim.stated.standard_uncertainty().unwrap_or(0.0)),
        };
        let measured = figure(sheet, claim.key);
        let difference = measured.map(|measured| Difference::of(&claimed, &measured));
        let judged = match difference.and_then(|difference| difference.in_uncertainties) {
            None => Judged::CannotTell,
            Some(z) if z.abs() <= HOLDS => Judged::Holds,
            Some(_) => Judged::Fails,
        };
        Held {
            key: claim.key,
            claimed,
            measured,
            difference,
            judged,
        }
    };
    claims.iter().map(held).collect()
}
