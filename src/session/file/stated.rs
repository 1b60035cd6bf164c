//! The JSON form of a stated value, which sessions and jig profiles share.

use serde::{Deserialize, Serialize};

use super::SessionFileError;
use crate::quantity::{Spread, Stated};

type Result<T> = std::result::Result<T, SessionFileError>;

/// A stated value. With neither spread, nothing was said about its doubt.
#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(in crate::session) struct StatedJson {
    value: f64,
    unit: String,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    half_width: Option<f64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    standard_uncertainty: Option<f64>,
}

/// A stated value as `session.json` has it, with its UCUM unit.
pub fn stated_json(stated: &Stated, unit: &str) -> serde_json::Value {
    // Numbers and texts cannot fail to be written.
    serde_json::to_value(StatedJson::new(*stated, unit)).unwrap_or_default()
}

/// Reads a stated value above zero as `session.json` has it; `what` is named where it is wrong.
///
/// # Errors
/// [`SessionFileError`] for another unit, a number that is not above zero, or two spreads.
pub fn read_stated(value: serde_json::Value, what: &str, unit: &'static str) -> Result<Stated> {
    serde_json::from_value::<StatedJson>(value)
        .map_err(|source| SessionFileError::Malformed { source })?
        .read(what, unit, Allowed::Positive)
}

/// Which numbers a value may be.
#[derive(Clone, Copy, PartialEq)]
pub(in crate::session) enum Allowed {
    Positive,
    NotNegative,
    Any,
}

impl StatedJson {
    pub(in crate::session) fn new(stated: Stated, unit: &str) -> Self {
        let (half_width, standard_uncertainty) = match stated.spread {
            Spread::HalfWidth(half_width) => (Some(half_width), None),
            Spread::Standard(standard) => (None, Some(standard)),
            Spread::Unstated => (None, None),
        };
        Self {
            value: stated.value,
            unit: unit.into(),
            half_width,
            standard_uncertainty,
        }
    }

    pub(in crate::session) fn read(
        self,
        what: &str,
        unit: &'static str,
        allowed: Allowed,
    ) -> Result<Stated> {
        let Self { value, .. } = self;
        if self.unit != unit {
            return Err(SessionFileError::Unit {
                what: what.into(),
                found: self.unit,
                wanted: unit,
            });
        }
        let refuse = |value, allowed| {
            Err(SessionFileError::Value {
                what: what.into(),
                value,
                allowed,
            })
        };
        match allowed {
            Allowed::Positive if value <= 0.0 => return refuse(value, "above zero"),
            Allowed::NotNegative if value < 0.0 => return refuse(value, "zero or above"),
            _ => {}
        }
        let spread = match (self.half_width, self.standard_uncertainty) {
            (None, None) => Spread::Unstated,
            (Some(half_width), None) => Spread::HalfWidth(half_width),
            (None, Some(standard)) => Spread::Standard(standard),
            (Some(_), Some(_)) => return Err(SessionFileError::TwoSpreads { what: what.into() }),
        };
        match spread {
            Spread::HalfWidth(width) | Spread::Standard(width) if width <= 0.0 => {
                Err(SessionFileError::Value {
                    what: format!("the spread of {what}"),
                    value: width,
                    allowed: "above zero, or left out",
                })
            }
            spread => Ok(Stated { value, spread }),
        }
    }
}
