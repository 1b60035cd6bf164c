//! The coil as an inductor in series with a second one that eddy currents shunt.

use std::f64::consts::TAU;

use num_complex::Complex64;

use super::start::coil_at_a_glance;
use super::{Circuit, Domain, Glance, Parameter};

/// LR-2, (C3). Parameters: `le_h`, `l2_h`, `r2_ohm`.
#[derive(Clone, Copy, Debug, Default)]
pub struct Lr2Coil;

static PARAMETERS: [Parameter; 3] = [
    Parameter::new("le_h", "H", Domain::Positive),
    Parameter::new("l2_h", "H", Domain::Positive),
    Parameter::new("r2_ohm", "Ohm", Domain::Positive),
];

impl Circuit for Lr2Coil {
    fn name(&self) -> &str {
        "lr-2"
    }

    fn parameters(&self) -> &[Parameter] {
        &PARAMETERS
    }

    fn impedance(&self, frequency_hz: f64, values: &[f64]) -> Complex64 {
        let omega = TAU * frequency_hz;
        let (le_h, l2_h, r2_ohm) = (values[0], values[1], values[2]);
        let shunted = Complex64::new(0.0, omega * l2_h);
        Complex64::new(0.0, omega * le_h) + shunted / (shunted + r2_ohm) * r2_ohm
    }

    fn impedance_and_derivatives(
        &self,
        frequency_hz: f64,
        values: &[f64],
        derivatives: &mut [Complex64],
    ) -> Complex64 {
        let omega = TAU * frequency_hz;
        let (le_h, l2_h, r2_ohm) = (values[0], values[1], values[2]);
        let j_omega = Complex64::new(0.0, omega);
        let shunted = j_omega * l2_h;
        // How the current divides; the shares add up to one.
        let through_r2 = shunted / (shunted + r2_ohm);
        let through_l2 = 1.0 - through_r2;
        derivatives[0] = j_omega;
        derivatives[1] = j_omega * through_l2 * through_l2;
        derivatives[2] = through_r2 * through_r2;
        j_omega * le_h + through_r2 * r2_ohm
    }

    /// Half of the reactance goes to Le; the shunted part takes the rest and all of the resistance, exactly.
    fn start(&self, glance: &Glance) -> Vec<f64> {
        let (omega, coil_ohm) = coil_at_a_glance(glance);
        let series_ohm = 0.5 * coil_ohm.im;
        let ratio = coil_ohm.re / (coil_ohm.im - series_ohm);
        let r2_ohm = coil_ohm.re * (1.0 + ratio * ratio) / (ratio * ratio);
        vec![series_ohm / omega, r2_ohm * ratio / omega, r2_ohm]
    }
}
