//! The header of a CSV table: which column holds what, in which unit.

use std::f64::consts::PI;

use super::error::TableError;
use super::excerpt;

/// What a column can hold.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Quantity {
    Frequency,
    Re,
    Im,
    Magnitude,
    Phase,
    URe,
    UIm,
    CovarianceReIm,
    UMagnitude,
    UPhase,
}

const N_QUANTITIES: usize = 10;

impl Quantity {
    fn from_name(name: &str) -> Option<Self> {
        Some(match name {
            "frequency" | "freq" | "f" => Self::Frequency,
            "re" | "real" | "resistance" => Self::Re,
            "im" | "imag" | "imaginary" | "reactance" => Self::Im,
            "magnitude" | "mag" | "abs" | "impedance" | "|z|" => Self::Magnitude,
            "phase" | "angle" => Self::Phase,
            "cov_re_im" => Self::CovarianceReIm,
            _ => match Self::from_name(
                name.strip_prefix("u_")
                    .filter(|rest| !rest.starts_with("u_"))?,
            )? {
                Self::Re => Self::URe,
                Self::Im => Self::UIm,
                Self::Magnitude => Self::UMagnitude,
                Self::Phase => Self::UPhase,
                _ => return None,
            },
        })
    }

    fn what(self) -> &'static str {
        match self {
            Self::Frequency => "frequency",
            Self::Re => "real part",
            Self::Im => "imaginary part",
            Self::Magnitude => "magnitude",
            Self::Phase => "phase",
            Self::URe => "uncertainty of the real part",
            Self::UIm => "uncertainty of the imaginary part",
            Self::CovarianceReIm => "covariance",
            Self::UMagnitude => "uncertainty of the magnitude",
            Self::UPhase => "uncertainty of the phase",
        }
    }

    fn units(self) -> &'static str {
        match self {
            Self::Frequency => "Hz, kHz",
            Self::Phase | Self::UPhase => "deg, rad",
            Self::CovarianceReIm => "ohm2",
            _ => "ohm, mohm, kohm",
        }
    }

    /// One of `unit` in SI.
    fn scale(self, unit: &str) -> Option<f64> {
        match self {
            // Suffixes are written small, as in frequency_hz; no other unit of frequency could be meant.
            Self::Frequency => match unit.to_ascii_lowercase().as_str() {
                "hz" => Some(1.0),
                "khz" => Some(1e3),
                _ => None,
            },
            Self::Phase | Self::UPhase => match unit.to_ascii_lowercase().as_str() {
                "deg" | "degree" | "degrees" | "°" => Some(PI / 180.0),
                "rad" | "radian" | "radians" => Some(1.0),
                _ => None,
            },
            Self::CovarianceReIm => match unit {
                "ohm2" | "ohm^2" | "ohm²" | "\u{3a9}²" | "\u{2126}²" => Some(1.0),
                _ => None,
            },
            _ => match unit {
                "ohm" | "Ohm" | "OHM" | "ohms" | "Ohms" | "\u{3a9}" | "\u{2126}" => Some(1.0),
                "mohm" | "mOhm" | "m\u{3a9}" | "m\u{2126}" => Some(1e-3),
                "kohm" | "kOhm" | "k\u{3a9}" | "k\u{2126}" => Some(1e3),
                _ => None,
            },
        }
    }
}

/// One column that is used.
#[derive(Clone, Debug)]
pub(super) struct Column {
    /// Position, from 0.
    pub(super) position: usize,
    /// SI value of one unit.
    pub(super) scale: f64,
    /// Name as in the header.
    pub(super) name: String,
}

/// Which columns give the impedance and, if stated, its uncertainty.
#[derive(Debug)]
pub(super) enum Layout {
    Rectangular {
        re: Column,
        im: Column,
        uncertainty: Option<(Column, Column, Option<Column>)>,
    },
    Polar {
        magnitude: Column,
        phase: Column,
        uncertainty: Option<(Column, Column)>,
    },
}

/// The header as a whole.
#[derive(Debug)]
pub(super) struct Header {
    pub(super) frequency: Column,
    pub(super) layout: Layout,
    pub(super) n_columns: usize,
}

impl Header {
    /// Reads the cells of the header, which stands in `line`.
    pub(super) fn read(cells: &[&str], line: usize) -> Result<Self, TableError> {
        let mut columns: [Option<Column>; N_QUANTITIES] = Default::default();
        for (position, cell) in cells.iter().enumerate() {
            let Some((quantity, scale)) = read_cell(cell, line)? else {
                continue;
            };
            let column = Column {
                position,
                scale,
                name: excerpt(cell),
            };
            if columns[quantity as usize].replace(column).is_some() {
                return Err(TableError::TwoColumns {
                    line,
                    what: quantity.what(),
                });
            }
        }
        let missing = |quantity: Quantity, needed| TableError::MissingColumn {
            line,
            missing: quantity.what(),
            header: excerpt(&cells.join(",")),
            needed,
        };
        let mut take = |quantity: Quantity| columns[quantity as usize].take();

        let frequency = take(Quantity::Frequency).ok_or_else(|| {
            missing(
                Quantity::Frequency,
                "a column such as frequency_hz or frequency [kHz]",
            )
        })?;
        let uncertainty_of_parts = both(
            take(Quantity::URe),
            take(Quantity::UIm),
            take(Quantity::CovarianceReIm),
            TableError::HalfUncertainty {
                line,
                needed: "both u_re_ohm and u_im_ohm",
            },
        )?;
        let uncertainty_of_polar = both(
            take(Quantity::UMagnitude),
            take(Quantity::UPhase),
            None,
            TableError::HalfUncertainty {
                line,
                needed: "both u_magnitude_ohm and u_phase_deg",
            },
        )?
        .map(|(magnitude, phase, _)| (magnitude, phase));

        // A table may hold both forms. The one with the uncertainties is taken, else real and imaginary part.
        let parts = (take(Quantity::Re), take(Quantity::Im));
        let polar = (take(Quantity::Magnitude), take(Quantity::Phase));
        let prefer_polar = uncertainty_of_polar.is_some() && uncertainty_of_parts.is_none();
        const EITHER: &str = "re_ohm and im_ohm, or magnitude_ohm and phase_deg";
        let layout = match (parts, polar) {
            ((Some(re), Some(im)), polar) => match polar {
                (Some(magnitude), Some(phase)) if prefer_polar => Layout::Polar {
                    magnitude,
                    phase,
                    uncertainty: uncertainty_of_polar,
                },
                _ if prefer_polar => {
                    return Err(TableError::HalfUncertainty {
                        line,
                        needed: "u_re_ohm and u_im_ohm with re and im",
                    });
                }
                _ => Layout::Rectangular {
                    re,
                    im,
                    uncertainty: uncertainty_of_parts,
                },
            },
            (_, (Some(magnitude), Some(phase))) => {
                if uncertainty_of_parts.is_some() {
                    let needed = "u_magnitude_ohm and u_phase_deg with magnitude and phase";
                    return Err(TableError::HalfUncertainty { line, needed });
                }
                Layout::Polar {
                    magnitude,
                    phase,
                    uncertainty: uncertainty_of_polar,
                }
            }
            ((Some(_), None), _) => return Err(missing(Quantity::Im, EITHER)),
            ((None, Some(_)), _) => return Err(missing(Quantity::Re, EITHER)),
            (_, (Some(_), None)) => return Err(missing(Quantity::Phase, EITHER)),
            (_, (None, _)) => return Err(missing(Quantity::Magnitude, EITHER)),
        };
        Ok(Self {
            frequency,
            layout,
            n_columns: cells.len(),
        })
    }
}

type Uncertainty = (Column, Column, Option<Column>);

/// Two uncertainties that belong together, or `half` if only one is there.
fn both(
    first: Option<Column>,
    second: Option<Column>,
    covariance: Option<Column>,
    half: TableError,
) -> Result<Option<Uncertainty>, TableError> {
    match (first, second, covariance) {
        (Some(first), Some(second), covariance) => Ok(Some((first, second, covariance))),
        (None, None, None) => Ok(None),
        _ => Err(half),
    }
}

/// What a header cell announces and its scale; `None` for a column that is not used.
fn read_cell(cell: &str, line: usize) -> Result<Option<(Quantity, f64)>, TableError> {
    let cell = cell.trim();
    let plain = |name: &str| name.trim().to_lowercase().replace([' ', '-'], "_");
    if let Some(quantity) = Quantity::from_name(&plain(cell)) {
        let unit = quantity.units().split(',').next().unwrap_or_default();
        let example = format!("{} [{unit}]", excerpt(cell));
        return Err(TableError::ColumnWithoutUnit {
            line,
            column: excerpt(cell),
            example,
        });
    }
    let bracketed = [('[', ']'), ('(', ')')].iter().find_map(|(open, close)| {
        let (name, unit) = cell.strip_suffix(*close)?.rsplit_once(*open)?;
        Some((name, unit.trim()))
    });
    let (name, unit) = match bracketed.or_else(|| cell.rsplit_once(['_', ' '])) {
        Some((name, unit)) => (plain(name), unit),
        None => (plain(cell), ""),
    };
    let Some(quantity) = Quantity::from_name(&name) else {
        let is_doubt = name.starts_with("u_") || name.starts_with("cov");
        let error = TableError::UnknownUncertainty {
            line,
            column: excerpt(cell),
        };
        return if is_doubt { Err(error) } else { Ok(None) };
    };
    match quantity.scale(unit) {
        Some(scale) => Ok(Some((quantity, scale))),
        // Without brackets it need not be a unit at all: re_model is somebody's own column.
        None if bracketed.is_none() => Ok(None),
        None => Err(TableError::UnknownUnit {
            line,
            column: excerpt(&name),
            unit: excerpt(unit),
            units: quantity.units(),
        }),
    }
}
