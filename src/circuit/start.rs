//! What start values have in common: a glance may hold anything, a start value lies in its domain.

use std::f64::consts::TAU;

use num_complex::Complex64;

use super::Glance;

/// A coil nobody would notice, for glances that show none: 10 µH.
const FAINT_COIL_H: f64 = 10e-6;

/// A loss angle that no coil falls below; keeps the lossy part of a start value above zero.
const LEAST_LOSS: f64 = 0.05;

/// `value` where it is a positive, finite number, else `otherwise`.
pub(super) fn positive_or(value: f64, otherwise: f64) -> f64 {
    if value > 0.0 && value.is_finite() {
        value
    } else {
        otherwise
    }
}

/// ω and the coil's impedance of a glance, both parts above zero.
pub(super) fn coil_at_a_glance(glance: &Glance) -> (f64, Complex64) {
    let omega = TAU * positive_or(glance.coil_hz, 10_000.0);
    let reactance = positive_or(glance.coil_ohm.im, omega * FAINT_COIL_H);
    let least = LEAST_LOSS * reactance;
    let resistance = if glance.coil_ohm.re > least {
        positive_or(glance.coil_ohm.re, least)
    } else {
        least
    };
    (omega, Complex64::new(resistance, reactance))
}
