//! How a driver is mounted: what a panel needs to know.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::quantity::{Dimension, QuantityError, parse_quantity};

/// More screws than this are a typing error (common practice, no source: 3 to 12).
const MOST_SCREWS: u32 = 64;

/// Mounting dimensions as somebody measured them. What nobody typed is null.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Dimensions {
    /// Outer diameter of the flange, m.
    pub flange_m: Option<f64>,
    /// Diameter of the hole that the driver needs in the panel, m.
    pub cutout_m: Option<f64>,
    /// Diameter of the circle through the middles of the screw holes, m.
    pub screw_circle_m: Option<f64>,
    /// Number of screws.
    pub n_screws: Option<u32>,
    /// How far the driver reaches behind the flange, m.
    pub depth_m: Option<f64>,
    /// Diameter of the magnet, m.
    pub magnet_m: Option<f64>,
}

/// Why mounting dimensions cannot be.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum DimensionsError {
    /// No equals sign.
    #[error(
        "\"{text}\" is no dimension; write them like flange=118mm,cutout=92mm,screw-circle=105mm,screws=4,depth=52mm,magnet=70mm"
    )]
    NoEquals {
        /// What was typed.
        text: String,
    },
    /// A name that no dimension has.
    #[error(
        "\"{name}\" is no mounting dimension; there are flange, cutout, screw-circle, screws, depth and magnet"
    )]
    Unknown {
        /// What was typed.
        name: String,
    },
    /// The same dimension twice.
    #[error("{name} is stated twice; state it once")]
    Twice {
        /// Which.
        name: &'static str,
    },
    /// A length that cannot be read.
    #[error("{name}: {error}")]
    Quantity {
        /// Which.
        name: &'static str,
        /// Why.
        error: Box<QuantityError>,
    },
    /// A length that is none.
    #[error("{name} is {value_m} m; it has to be above zero")]
    NotPositive {
        /// Which.
        name: &'static str,
        /// What was stated, m.
        value_m: f64,
    },
    /// No number of screws.
    #[error("screws: \"{text}\" is no whole number from 1 to {MOST_SCREWS}")]
    Screws {
        /// What was typed.
        text: String,
    },
    /// Two that do not go together.
    #[error(
        "{smaller} is {smaller_mm} mm and {larger} {larger_mm} mm, but {smaller} has to be smaller than {larger}; measure both again"
    )]
    Order {
        /// What has to be smaller.
        smaller: &'static str,
        /// Its length, mm.
        smaller_mm: f64,
        /// What has to be larger.
        larger: &'static str,
        /// Its length, mm.
        larger_mm: f64,
    },
}

impl Dimensions {
    /// Whether nobody stated any.
    pub fn is_empty(&self) -> bool {
        *self == Self::default()
    }

    /// The lengths with the names by which they are typed, m.
    pub fn lengths(&self) -> [(&'static str, Option<f64>); 5] {
        [
            ("flange", self.flange_m),
            ("cutout", self.cutout_m),
            ("screw-circle", self.screw_circle_m),
            ("depth", self.depth_m),
            ("magnet", self.magnet_m),
        ]
    }

    /// These, with what `newer` states in place of what stood there.
    pub fn outranked_by(self, newer: Self) -> Self {
        Self {
            flange_m: newer.flange_m.or(self.flange_m),
            cutout_m: newer.cutout_m.or(self.cutout_m),
            screw_circle_m: newer.screw_circle_m.or(self.screw_circle_m),
            n_screws: newer.n_screws.or(self.n_screws),
            depth_m: newer.depth_m.or(self.depth_m),
            magnet_m: newer.magnet_m.or(self.magnet_m),
        }
    }

    /// Whether they go together: the hole within the screws' circle, that within the flange.
    ///
    /// # Errors
    /// [`DimensionsError::NotPositive`], [`DimensionsError::Screws`] or [`DimensionsError::Order`].
    pub fn check(&self) -> Result<(), DimensionsError> {
        for (name, value_m) in self.lengths() {
            if let Some(value_m) = value_m
                && !(value_m.is_finite() && value_m > 0.0)
            {
                return Err(DimensionsError::NotPositive { name, value_m });
            }
        }
        if let Some(n) = self.n_screws
            && !(1..=MOST_SCREWS).contains(&n)
        {
            return Err(DimensionsError::Screws {
                text: n.to_string(),
            });
        }
        let orders = [
            ("cutout", self.cutout_m, "screw-circle", self.screw_circle_m),
            ("screw-circle", self.screw_circle_m, "flange", self.flange_m),
            ("cutout", self.cutout_m, "flange", self.flange_m),
        ];
        for (smaller, small_m, larger, large_m) in orders {
            if let (Some(small_m), Some(large_m)) = (small_m, large_m)
                && small_m >= large_m
            {
                return Err(DimensionsError::Order {
                    smaller,
                    smaller_mm: 1e3 * small_m,
                    larger,
                    larger_mm: 1e3 * large_m,
                });
            }
        }
        Ok(())
    }
}

/// Reads dimensions such as `flange=118mm,cutout=92mm,screw-circle=105mm,screws=4,depth=52mm,magnet=70mm`; any of them may be
/// left out.
///
/// # Errors
/// See [`DimensionsError`].
pub fn parse_dimensions(text: &str) -> Result<Dimensions, DimensionsError> {
    let short = |text: &str| text.trim().chars().take(40).collect::<String>();
    let mut found = Dimensions::default();
    for part in text.split(',') {
        let (name, value) = part
            .split_once('=')
            .ok_or_else(|| DimensionsError::NoEquals { text: short(part) })?;
        let (name, slot) = match name.trim().to_lowercase().as_str() {
            "flange" => ("flange", &mut found.flange_m),
            "cutout" | "cut-out" => ("cutout", &mut found.cutout_m),
            "screw-circle" => ("screw-circle", &mut found.screw_circle_m),
            "depth" => ("depth", &mut found.depth_m),
            "magnet" => ("magnet", &mut found.magnet_m),
            "screws" => {
                if found.n_screws.is_some() {
                    return Err(DimensionsError::Twice { name: "screws" });
                }
                let n = value.trim().parse().ok();
                let n = n.filter(|n| (1..=MOST_SCREWS).contains(n));
                found.n_screws =
                    Some(n.ok_or_else(|| DimensionsError::Screws { text: short(value) })?);
                continue;
            }
            _ => return Err(DimensionsError::Unknown { name: short(name) }),
        };
        if slot.is_some() {
            return Err(DimensionsError::Twice { name });
        }
        let length = parse_quantity(value, Dimension::Length).map_err(|error| {
            let error = Box::new(error);
            DimensionsError::Quantity { name, error }
        })?;
        *slot = Some(length.value);
    }
    found.check()?;
    Ok(found)
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests fail by panicking")]
mod tests {
    use super::*;

    #[test]
    fn what_is_typed_is_read() {
        let read = parse_dimensions(
            "flange=118mm, cutout=9.2cm,screw-circle=105mm,screws=4,depth=52mm,magnet=2.5in",
        )
        .unwrap();
        assert_eq!(read.flange_m, Some(0.118));
        assert_eq!(read.cutout_m, Some(0.092));
        assert_eq!(read.n_screws, Some(4));
        // An inch is 25.4 mm exactly (international yard and pound agreement, 1959).
        const ROUNDING: f64 = 1e-12;
        assert!((read.magnet_m.unwrap() - 0.0635).abs() < ROUNDING);
        let few = parse_dimensions("depth=52mm").unwrap();
        assert_eq!((few.depth_m, few.flange_m), (Some(0.052), None));
        let both = few.outranked_by(read);
        assert_eq!(both.depth_m, Some(0.052));
        assert_eq!(both.screw_circle_m, Some(0.105));
    }

    #[test]
    fn what_cannot_be_is_refused() {
        let error = |text: &str| parse_dimensions(text).unwrap_err().to_string();
        assert!(error("flange").contains("write them like"));
        assert!(error("brim=118mm").contains("\"brim\" is no mounting dimension"));
        assert!(error("flange=118mm,flange=119mm").contains("twice"));
        assert!(error("flange=118").contains("flange: "));
        assert!(error("screws=0").contains("1 to 64"));
        assert!(error("flange=100mm,cutout=104mm").contains("cutout is 104 mm and flange 100 mm"));
        assert!(error("screw-circle=90mm,cutout=92mm").contains("screw-circle"));
    }
}
