//! A figure with its doubt in two parts.

use crate::quantity::COVERAGE_95;

/// A figure, SI, with its standard uncertainties; `None` where nobody knows one.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Doubtful {
    /// The value.
    pub value: f64,
    /// Standard uncertainty within the takes.
    pub takes: Option<f64>,
    /// Standard uncertainty from one set-up to the next.
    pub setup: Option<f64>,
}

impl Doubtful {
    /// Half of the 95 % interval within the takes.
    pub fn half_width_takes(&self) -> Option<f64> {
        self.takes.map(|u| COVERAGE_95 * u)
    }

    /// Half of the 95 % interval from one set-up to the next, without the takes' own doubt.
    pub fn half_width_setup(&self) -> Option<f64> {
        self.setup.map(|u| COVERAGE_95 * u)
    }

    /// Half of the 95 % interval with both; what is not known cannot count.
    pub fn half_width(&self) -> Option<f64> {
        let u = match (self.takes, self.setup) {
            (Some(takes), Some(setup)) => takes.hypot(setup),
            (Some(u), None) | (None, Some(u)) => u,
            (None, None) => return None,
        };
        Some(COVERAGE_95 * u)
    }

    /// The 95 % interval with both.
    pub fn interval(&self) -> Option<[f64; 2]> {
        let half = self.half_width()?;
        Some([self.value - half, self.value + half])
    }
}
