//! How much a cone moves, before and after anybody knows.

/// Kinds of driver, as far as anybody can tell before it was measured.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum DriverClass {
    /// A full-range or mid-range driver with a cone up to some 12 cm.
    Small,
    /// A woofer.
    Woofer,
    /// A tweeter: low frequencies move its diaphragm out of its gap.
    Tweeter,
}

impl DriverClass {
    /// All of them.
    pub const ALL: [Self; 3] = [Self::Small, Self::Woofer, Self::Tweeter];

    /// Its name, for example `woofer`.
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Small => "small",
            Self::Woofer => "woofer",
            Self::Tweeter => "tweeter",
        }
    }

    /// The class of that name.
    pub fn parse(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|class| class.as_str() == name)
    }
}

/// Moving mass, as far as it is known, kg.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MovingMass {
    /// Least that it may be.
    pub low_kg: f64,
    /// Most likely.
    pub best_kg: f64,
    /// Most that it may be.
    pub high_kg: f64,
}

/// Added mass over moving mass that lowers the resonance by 20, 25 and 30 %, (M2): 1/0.8² − 1, 1/0.75² − 1 and 1/0.7² − 1.
pub(super) const SHARES: (f64, f64, f64) = (0.5625, 0.7778, 1.0408);

/// Moving mass per area of the cone, kg/m² (common practice, no source) …
const PER_AREA: f64 = 1.0;
/// … within this factor either way.
const PER_AREA_FACTOR: f64 = 1.6;
/// Standard uncertainties that a known moving mass may be off.
const COVERAGE: f64 = 2.0;

impl MovingMass {
    fn around(low_kg: f64, high_kg: f64) -> Self {
        Self {
            low_kg,
            best_kg: (low_kg * high_kg).sqrt(),
            high_kg,
        }
    }

    /// What is usual in a class: added masses of 1 g to 6 g serve small drivers, 5 g to 40 g woofers, and less than 0.5 g tweeters
    /// (common practice, no source).
    pub fn of_class(class: DriverClass) -> Self {
        let (low_g, high_g) = match class {
            DriverClass::Small => (1.0, 6.0),
            DriverClass::Woofer => (5.0, 40.0),
            DriverClass::Tweeter => (0.1, 0.5),
        };
        let share = SHARES.1;
        Self::around(1e-3 * low_g / share, 1e-3 * high_g / share)
    }

    /// What a cone of this area moves, m²: about 1 kg/m².
    pub fn of_cone(sd_m2: f64) -> Self {
        let best_kg = PER_AREA * sd_m2;
        Self::around(best_kg / PER_AREA_FACTOR, best_kg * PER_AREA_FACTOR)
    }

    /// A measured moving mass with its standard uncertainty, kg.
    pub fn known(mms_kg: f64, standard_uncertainty_kg: f64) -> Self {
        let off = COVERAGE * standard_uncertainty_kg;
        // A doubt as large as the mass leaves a third of it.
        let low_kg = mms_kg - off;
        let least_kg = mms_kg / 3.0;
        Self {
            low_kg: if low_kg > least_kg { low_kg } else { least_kg },
            best_kg: mms_kg,
            high_kg: mms_kg + off,
        }
    }
}
