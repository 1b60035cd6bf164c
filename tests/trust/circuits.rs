//! An impedance of any shape as something to hang on the bench.

use farcone::Complex64;
use farcone::circuit::{Circuit, Glance, Parameter};

type Impedance = Box<dyn Fn(f64) -> Complex64 + Send + Sync>;

/// A curve without parameters.
pub struct Curve(Impedance);

impl Curve {
    pub fn new(impedance: impl Fn(f64) -> Complex64 + Send + Sync + 'static) -> Self {
        Self(Box::new(impedance))
    }
}

impl Circuit for Curve {
    fn name(&self) -> &str {
        "curve"
    }

    fn parameters(&self) -> &[Parameter] {
        &[]
    }

    fn impedance(&self, frequency_hz: f64, _: &[f64]) -> Complex64 {
        (self.0)(frequency_hz)
    }

    fn impedance_and_derivatives(
        &self,
        frequency_hz: f64,
        _: &[f64],
        _: &mut [Complex64],
    ) -> Complex64 {
        (self.0)(frequency_hz)
    }

    fn start(&self, _: &Glance) -> Vec<f64> {
        vec![]
    }
}
