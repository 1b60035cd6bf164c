//! The few numbers that everything else follows from, read off a free-air circuit.
//!
//! With suspension creep fs is where the mechanical impedance is real, and Qms uses the total mechanical resistance
//! there, formulas (P1) to (P3) of `docs/parameters.md`.

use std::f64::consts::TAU;

use crate::circuit::{Circuit, CoilFamily, Load, MotionalBranch, coil_inductance_h};
use crate::fit::Candidate;

/// Positions in the list.
pub(super) const LN_FS: usize = 0;
pub(super) const LN_RE: usize = 1;
pub(super) const LN_QMS: usize = 2;
pub(super) const LN_QES: usize = 3;
pub(super) const LN_MMS: usize = 4;
pub(super) const LE_1KHZ: usize = 5;
pub(super) const LE_10KHZ: usize = 6;
pub(super) const LN_ZMIN: usize = 7;
/// Length of the list.
pub(super) const N_CORE: usize = 8;

/// Points an octave on which the minimum of |Z| is sought; between two of them |Z| changes by less than 1e-4.
const MINIMUM_POINTS: f64 = 24.0;
/// Up to where it is sought, Hz.
const MINIMUM_TO_HZ: f64 = 20_000.0;

/// The function that [`Candidate::derive`] wants, for one candidate.
pub(super) fn core_of(candidate: &Candidate) -> impl Fn(&dyn Circuit, &[f64]) -> Vec<f64> + use<> {
    let (family, creep_reference_hz) = (candidate.coil(), candidate.creep_reference_hz());
    move |circuit, values| core(family, creep_reference_hz, circuit, values)
}

fn core(
    family: CoilFamily,
    creep_reference_hz: Option<f64>,
    circuit: &dyn Circuit,
    values: &[f64],
) -> Vec<f64> {
    let branch = MotionalBranch::new(creep_reference_hz, Load::Free);
    let coil = family.coil();
    let n_coil = coil.parameters().len();
    let (coil_values, motional) = (&values[1..=n_coil], &values[1 + n_coil..]);
    let (re_ohm, bl_t_m, mms_kg) = (values[0], motional[0], motional[1]);
    let fs_hz = resonance_hz(&branch, motional);
    let impulse = TAU * fs_hz * mms_kg;
    let resistance = branch.mechanical_impedance(fs_hz, motional).re;
    vec![
        fs_hz.ln(),
        re_ohm.ln(),
        (impulse / resistance).ln(),
        (impulse * re_ohm / (bl_t_m * bl_t_m)).ln(),
        mms_kg.ln(),
        coil_inductance_h(coil.as_ref(), coil_values, 1_000.0),
        coil_inductance_h(coil.as_ref(), coil_values, 10_000.0),
        minimum_ohm(circuit, values, fs_hz).ln(),
    ]
}

/// Where the mechanical impedance is real, Hz. The suspension's stiffness varies so slowly with frequency that the
/// fixed point closes in by a factor of ten a step or better.
fn resonance_hz(branch: &MotionalBranch, motional: &[f64]) -> f64 {
    let (mms_kg, cms_m_per_n) = (motional[1], motional[2]);
    let mut f_hz = 1.0 / (TAU * (mms_kg * cms_m_per_n).sqrt());
    for _ in 0..40 {
        let omega = TAU * f_hz;
        let reactance = branch.mechanical_impedance(f_hz, motional).im;
        let stiffness = omega * (omega * mms_kg - reactance);
        let next = (stiffness / mms_kg).sqrt() / TAU;
        let moves = (next - f_hz).abs() > 1e-14 * f_hz;
        f_hz = next;
        if !moves {
            break;
        }
    }
    f_hz
}

/// Smallest |Z| above the resonance, ohm; refined by a parabola through the lowest point and its neighbours.
fn minimum_ohm(circuit: &dyn Circuit, values: &[f64], fs_hz: f64) -> f64 {
    let n = (MINIMUM_POINTS * (MINIMUM_TO_HZ / fs_hz).log2()).ceil() as usize;
    // A parabola needs three points.
    let n = n.max(3);
    let ratio = (MINIMUM_TO_HZ / fs_hz).powf(1.0 / n as f64);
    let at = |i: usize| {
        circuit
            .impedance(fs_hz * ratio.powi(i as i32), values)
            .norm()
    };
    let magnitudes: Vec<f64> = (0..=n).map(at).collect();
    let lowest = (0..=n)
        .min_by(|&a, &b| magnitudes[a].total_cmp(&magnitudes[b]))
        .unwrap_or(0);
    if lowest == 0 || lowest == n {
        return magnitudes[lowest];
    }
    let (a, b, c) = (
        magnitudes[lowest - 1],
        magnitudes[lowest],
        magnitudes[lowest + 1],
    );
    let curvature = a - 2.0 * b + c;
    if curvature > 0.0 {
        b - (a - c).powi(2) / (8.0 * curvature)
    } else {
        b
    }
}
