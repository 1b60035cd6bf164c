//! The coil as an ideal inductor.

use std::f64::consts::TAU;

use num_complex::Complex64;

use super::start::coil_at_a_glance;
use super::{Circuit, Domain, Glance, Parameter};

/// An ideal inductor, (C2). Parameter: `le_h`.
#[derive(Clone, Copy, Debug, Default)]
pub struct PlainCoil;

static PARAMETERS: [Parameter; 1] = [Parameter::new("le_h", "H", Domain::Positive)];

impl Circuit for PlainCoil {
    fn name(&self) -> &str {
        "plain"
    }

    fn parameters(&self) -> &[Parameter] {
        &PARAMETERS
    }

    fn impedance(&self, frequency_hz: f64, values: &[f64]) -> Complex64 {
        Complex64::new(0.0, TAU * frequency_hz * values[0])
    }

    fn impedance_and_derivatives(
        &self,
        frequency_hz: f64,
        values: &[f64],
        derivatives: &mut [Complex64],
    ) -> Complex64 {
        derivatives[0] = Complex64::new(0.0, TAU * frequency_hz);
        self.impedance(frequency_hz, values)
    }

    fn start(&self, glance: &Glance) -> Vec<f64> {
        let (omega, coil_ohm) = coil_at_a_glance(glance);
        vec![coil_ohm.im / omega]
    }
}
