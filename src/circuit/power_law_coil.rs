//! The coil as one element between inductor and resistor.

use std::f64::consts::{FRAC_PI_2, TAU};

use num_complex::Complex64;

use super::start::coil_at_a_glance;
use super::{Circuit, Domain, Glance, MAGNITUDE_REFERENCE_HZ, Parameter};

/// Leach's power law K(jω)^n, (C4). Parameters: `coil_1khz_ohm`, `coil_exponent`.
///
/// The magnitude at 1 kHz stands in for K: K has a unit that depends on n, changes by orders of magnitude with it, and
/// is all but collinear with it in a fit (C5). [`PowerLawCoil::k`] gives K.
#[derive(Clone, Copy, Debug, Default)]
pub struct PowerLawCoil;

static PARAMETERS: [Parameter; 2] = [
    Parameter::new("coil_1khz_ohm", "Ohm", Domain::Positive),
    Parameter::new("coil_exponent", "1", Domain::Between(0.0, 1.0)),
];

/// Exponents that start values keep to, so that neither end of the domain traps a fit.
const START_EXPONENT: (f64, f64) = (0.3, 0.95);

impl PowerLawCoil {
    /// Leach's K in Ω·s^n, from the magnitude at 1 kHz and the exponent n, (C5).
    pub fn k(coil_1khz_ohm: f64, coil_exponent: f64) -> f64 {
        coil_1khz_ohm / (TAU * MAGNITUDE_REFERENCE_HZ).powf(coil_exponent)
    }

    /// The magnitude at 1 kHz in ohm, from K in Ω·s^n and the exponent n: the inverse of [`PowerLawCoil::k`].
    pub fn coil_1khz_ohm(k: f64, coil_exponent: f64) -> f64 {
        k * (TAU * MAGNITUDE_REFERENCE_HZ).powf(coil_exponent)
    }
}

impl Circuit for PowerLawCoil {
    fn name(&self) -> &str {
        "power-law"
    }

    fn parameters(&self) -> &[Parameter] {
        &PARAMETERS
    }

    fn impedance(&self, frequency_hz: f64, values: &[f64]) -> Complex64 {
        let (coil_1khz_ohm, coil_exponent) = (values[0], values[1]);
        let magnitude = coil_1khz_ohm * (frequency_hz / MAGNITUDE_REFERENCE_HZ).powf(coil_exponent);
        Complex64::from_polar(magnitude, coil_exponent * FRAC_PI_2)
    }

    fn impedance_and_derivatives(
        &self,
        frequency_hz: f64,
        values: &[f64],
        derivatives: &mut [Complex64],
    ) -> Complex64 {
        let (coil_1khz_ohm, coil_exponent) = (values[0], values[1]);
        let logarithm = (frequency_hz / MAGNITUDE_REFERENCE_HZ).ln();
        let per_ohm =
            Complex64::from_polar((coil_exponent * logarithm).exp(), coil_exponent * FRAC_PI_2);
        let z_ohm = per_ohm * coil_1khz_ohm;
        derivatives[0] = per_ohm;
        derivatives[1] = z_ohm * Complex64::new(logarithm, FRAC_PI_2);
        z_ohm
    }

    /// The phase at the glance gives the exponent, the magnitude there the rest.
    fn start(&self, glance: &Glance) -> Vec<f64> {
        let (omega, coil_ohm) = coil_at_a_glance(glance);
        let exponent = (coil_ohm.arg() / FRAC_PI_2).clamp(START_EXPONENT.0, START_EXPONENT.1);
        let to_reference = TAU * MAGNITUDE_REFERENCE_HZ / omega;
        vec![coil_ohm.norm() * to_reference.powf(exponent), exponent]
    }
}
