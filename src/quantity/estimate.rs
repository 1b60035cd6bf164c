//! A value with the standard uncertainty that goes with it, and a value as somebody stated it.

/// A value and its standard uncertainty in the same unit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Estimate {
    /// The value, SI.
    pub value: f64,
    /// Standard uncertainty (GUM), SI; `None` where nobody knows it.
    pub standard_uncertainty: Option<f64>,
}

/// How the doubt about a stated value was put into words.
#[derive(Clone, Copy, Debug, PartialEq)]
#[non_exhaustive]
pub enum Spread {
    /// A half-width, as a scale or a marking states it: rectangular, standard uncertainty = half-width / √3
    /// (JCGM 100:2008, 4.3.7).
    HalfWidth(f64),
    /// A standard uncertainty, taken as normal.
    Standard(f64),
    /// Nothing was said. Whoever uses the value puts a documented default here and says so in a note.
    Unstated,
}

/// A value that a person typed or a marking states, SI.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stated {
    /// The value, SI.
    pub value: f64,
    /// What was said about its doubt, SI.
    pub spread: Spread,
}

impl Stated {
    /// A value with nothing said about its doubt.
    pub const fn unstated(value: f64) -> Self {
        Self {
            value,
            spread: Spread::Unstated,
        }
    }

    /// A value with a half-width.
    pub const fn within(value: f64, half_width: f64) -> Self {
        Self {
            value,
            spread: Spread::HalfWidth(half_width),
        }
    }

    /// The standard uncertainty; `None` if nothing was stated.
    pub fn standard_uncertainty(&self) -> Option<f64> {
        match self.spread {
            Spread::HalfWidth(half_width) => Some(half_width / 3.0_f64.sqrt()),
            Spread::Standard(standard) => Some(standard),
            Spread::Unstated => None,
        }
    }

    /// This value, with `half_width` in place of an unstated spread. The flag says whether the default was used.
    pub fn or_half_width(self, half_width: f64) -> (Self, bool) {
        match self.spread {
            Spread::Unstated => (Self::within(self.value, half_width), true),
            Spread::HalfWidth(_) | Spread::Standard(_) => (self, false),
        }
    }

    /// The same as a value with a standard uncertainty.
    pub fn estimate(&self) -> Estimate {
        Estimate {
            value: self.value,
            standard_uncertainty: self.standard_uncertainty(),
        }
    }
}
