//! The coil's wire.

use num_complex::Complex64;

use super::start::positive_or;
use super::{Circuit, Domain, Glance, Parameter};

/// The coil's DC resistance. Parameter: `re_ohm`.
#[derive(Clone, Copy, Debug, Default)]
pub struct Resistance;

static PARAMETERS: [Parameter; 1] = [Parameter::new("re_ohm", "Ohm", Domain::Positive)];

/// Start value where a glance shows no resistance at all: a common driver's.
const COMMON_RE_OHM: f64 = 6.0;

impl Circuit for Resistance {
    fn name(&self) -> &str {
        "resistance"
    }

    fn parameters(&self) -> &[Parameter] {
        &PARAMETERS
    }

    fn impedance(&self, _frequency_hz: f64, values: &[f64]) -> Complex64 {
        Complex64::new(values[0], 0.0)
    }

    fn impedance_and_derivatives(
        &self,
        frequency_hz: f64,
        values: &[f64],
        derivatives: &mut [Complex64],
    ) -> Complex64 {
        derivatives[0] = Complex64::new(1.0, 0.0);
        self.impedance(frequency_hz, values)
    }

    fn start(&self, glance: &Glance) -> Vec<f64> {
        vec![positive_or(glance.re_ohm, COMMON_RE_OHM)]
    }
}
