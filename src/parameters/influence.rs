//! Everything besides noise that a result depends on: what somebody typed, or what is only assumed.

use crate::fit::Observation;
use crate::quantity::Stated;

/// Standard uncertainties by which a value is moved to see what follows. A whole one would be too much: a mass or a box that is 5 %
/// off moves a sharp resonance by more than its width, which one Gauss–Newton step does not follow. Far less would be rounding.
pub const INFLUENCE_STEP: f64 = 1e-3;

/// What an influence changes directly, besides the fit.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub enum Role {
    /// Nothing: it acts through the curves only.
    ThroughTheFit,
    /// The cone's area.
    ConeArea,
    /// The air's temperature.
    Temperature,
    /// The air's pressure.
    Pressure,
    /// The air's humidity.
    Humidity,
}

/// A quantity with a doubt.
#[derive(Clone, Debug, PartialEq)]
pub struct Influence {
    /// What it is, in plain words: "the added mass".
    pub name: String,
    /// Value and spread, SI.
    pub stated: Stated,
    /// What it changes directly.
    pub role: Role,
    /// The observations as they would be with the value [`INFLUENCE_STEP`] standard uncertainties higher; `None` if they don't
    /// depend on it.
    pub observations: Option<Vec<Observation>>,
    /// What would make it better known.
    pub advice: &'static str,
}
