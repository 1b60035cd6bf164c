//! The result as data.

use super::{Key, SpreadOrigin};
use crate::circuit::Parameter;
use crate::quantity::SymmetricMatrix;

/// How much one source of doubt adds to one parameter.
#[derive(Clone, Debug, PartialEq)]
pub struct Contribution {
    /// The source, in plain words.
    pub source: String,
    /// Standard uncertainty that it alone would cause, in the parameter's unit.
    pub standard_uncertainty: f64,
    /// Its part of the variance, 0 to 1.
    pub share: f64,
    /// What would make it smaller.
    pub advice: String,
}

/// One parameter.
#[derive(Clone, Debug, PartialEq)]
pub struct ParameterResult {
    /// Which.
    pub key: Key,
    /// Value, in [`Key::unit`].
    pub value: f64,
    /// Standard uncertainty within these takes; `None` if some draws had no finite value.
    pub standard_uncertainty: Option<f64>,
    /// 95 % coverage interval within these takes (JCGM 101); `None` likewise.
    pub interval_95: Option<[f64; 2]>,
    /// Standard uncertainty from one set-up to the next, and where it comes from; `None` where nobody knows.
    pub setup_uncertainty: Option<(f64, SpreadOrigin)>,
    /// Sources of doubt within these takes, the largest first.
    pub budget: Vec<Contribution>,
}

/// Small-signal parameters of one driver.
#[derive(Clone, Debug, PartialEq)]
pub struct SmallSignal {
    /// The parameters that the takes can tell, in the order of [`Key::ALL`].
    pub parameters: Vec<ParameterResult>,
    /// Their correlation matrix, in the same order.
    pub correlation: SymmetricMatrix,
    /// The best circuit's own parameters with their standard uncertainties within these takes (fit only).
    pub circuit: Vec<(Parameter, f64, f64)>,
    /// Monte Carlo draws behind the intervals.
    pub n_draws: usize,
}

impl SmallSignal {
    /// One parameter, if the takes tell it.
    pub fn get(&self, key: Key) -> Option<&ParameterResult> {
        self.parameters
            .iter()
            .find(|parameter| parameter.key == key)
    }
}
