//! Start values: from a first look, then from each candidate that converged.

use super::candidate::Candidate;
use super::glance::{Resonance, coil_ohm};
use super::joint::GAUGE_MMS_KG;
use super::observation::{Loading, Observation};
use crate::circuit::Glance;
use crate::impedance::ImpedanceCurve;

/// Start values for each observation.
pub(super) fn glances(observations: &[Observation], seen: &[Resonance]) -> Vec<Glance> {
    let mms_kg = mass_guess(observations, seen);
    observations
        .iter()
        .zip(seen)
        .map(|(observation, seen)| {
            let at = coil_point(&observation.curve, seen.fs_hz);
            Glance {
                re_ohm: seen.re_ohm,
                fs_hz: seen.fs_hz,
                qms: seen.qms,
                qes: seen.qes,
                mms_kg,
                coil_ohm: coil_ohm(&observation.curve, at, seen),
                coil_hz: observation.curve.frequency_hz()[at],
            }
        })
        .collect()
}

/// Where the coil shows best: a decade and a half above the resonance, or the end of the curve.
fn coil_point(curve: &ImpedanceCurve, fs_hz: f64) -> usize {
    curve
        .frequency_hz()
        .partition_point(|&f| f < 30.0 * fs_hz)
        .min(curve.n_points() - 1)
}

/// Mms = ΔM/[(fs/f′)² − 1] or k/[(2πfc)² − (2πfs)²]: Small 1972 (from memory, confirmed by computation).
fn mass_guess(observations: &[Observation], seen: &[Resonance]) -> f64 {
    let fs_hz = seen[0].fs_hz;
    let guess = observations
        .iter()
        .zip(seen)
        .find_map(|(observation, loaded)| {
            let guess = match observation.loading {
                Loading::Free => return None,
                Loading::AddedMass { mass_kg, .. } => {
                    mass_kg / ((fs_hz / loaded.fs_hz).powi(2) - 1.0)
                }
                Loading::TestBox {
                    air_stiffness_n_per_m,
                    ..
                } => {
                    let omega2 = |f_hz: f64| (std::f64::consts::TAU * f_hz).powi(2);
                    air_stiffness_n_per_m / (omega2(loaded.fs_hz) - omega2(fs_hz))
                }
            };
            (guess > 0.0 && guess.is_finite()).then_some(guess)
        });
    guess.unwrap_or(GAUGE_MMS_KG)
}

/// Better start values for the next candidate, from one that converged.
pub(super) fn refine(glances: &mut [Glance], observations: &[Observation], candidate: &Candidate) {
    for (i, glance) in glances.iter_mut().enumerate() {
        let values = candidate.circuit_values(i);
        let curve = &observations[i].curve;
        let at = coil_point(curve, glance.fs_hz);
        let f_hz = curve.frequency_hz()[at];
        // What the whole model leaves to the coil: the measured Z less everything but the coil.
        let coil = candidate.coil().coil();
        let n_coil = coil.parameters().len();
        let rest = candidate.circuit(i).impedance(f_hz, &values)
            - coil.impedance(f_hz, &values[1..=n_coil]);
        let coil_ohm = curve.z_ohm()[at] - rest;
        glance.re_ohm = values[0];
        if coil_ohm.re > 0.0 && coil_ohm.im > 0.0 {
            glance.coil_ohm = coil_ohm;
            glance.coil_hz = f_hz;
        }
    }
}
