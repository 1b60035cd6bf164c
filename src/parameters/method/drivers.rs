//! Whether two takes can be of one driver.

use num_complex::Complex64;

use super::alone::Alone;
use crate::finding::{Code, Finding, Severity};
use crate::fit::{Loading, Observation};
use crate::impedance::ImpedanceCurve;

/// Nothing that is done to a cone changes the coil's own impedance by more than this part of |Z| (common practice, no source).
const COIL_DIFFERS: f64 = 0.06;
/// Where coils are compared: from 1 kHz or three times the resonance, where the cone hardly moves, to 16 kHz; voice coils differ there.
const COMPARED_HZ: (f64, f64) = (1_000.0, 16_000.0);
const ABOVE_RESONANCE: f64 = 3.0;
/// Frequencies at which they are compared, and how far they have to reach, as a ratio.
const N_COMPARED: usize = 5;
const LEAST_REACH: f64 = 1.5;
/// A coil that is 50 K warmer has this much more resistance (copper: 0.39 % a kelvin, from memory); by less it may be the same.
const RESISTANCE_DIFFERS: f64 = 0.20;
/// A mass cannot raise the resonance, nor a box lower it; what set-ups differ by is allowed: three times √2 times 1 % (common
/// practice, no source).
const WRONG_WAY: f64 = 0.042;

/// A finding if a loaded take cannot be of the driver of the free-air take.
pub(super) fn differ(
    observations: &[Observation],
    i: usize,
    free: &Alone,
    own: &Alone,
) -> Option<Finding> {
    let (name, loading) = (observations[i].name.as_str(), observations[i].loading);
    let [re_free, re_own] = [free, own].map(|alone| alone.readout.re_ohm.value);
    let resistance = (re_own / re_free - 1.0).abs();
    if resistance > RESISTANCE_DIFFERS {
        let what =
            format!("its coil has {re_own:.2} ohm, that of the free-air take {re_free:.2} ohm");
        return Some(finding(name, &what, resistance, RESISTANCE_DIFFERS));
    }
    let coil = coils_differ(
        (free, &observations[0].curve),
        (own, &observations[i].curve),
    );
    if let Some(coil) = coil.filter(|&coil| coil > COIL_DIFFERS) {
        let what = format!(
            "above the resonance its impedance differs by {:.0} %, and no load changes it there",
            100.0 * coil
        );
        return Some(finding(name, &what, coil, COIL_DIFFERS));
    }
    let [f_free, f_own] = [free, own].map(|alone| alone.readout.fs_hz.value);
    let (moved, what) = match loading {
        Loading::AddedMass { .. } => (
            f_own / f_free - 1.0,
            "an added mass cannot raise a resonance",
        ),
        _ => (
            f_free / f_own - 1.0,
            "a closed box cannot lower a resonance",
        ),
    };
    (moved > WRONG_WAY).then(|| {
        let what = format!(
            "it resonates at {f_own:.1} Hz, the free-air take at {f_free:.1} Hz, and {what}"
        );
        finding(name, &what, moved, WRONG_WAY)
    })
}

/// How much two coils differ where coils are compared, as a part of |Z|, root mean square; `None` where neither curve reaches there.
fn coils_differ(free: (&Alone, &ImpedanceCurve), own: (&Alone, &ImpedanceCurve)) -> Option<f64> {
    let blocked = |(alone, curve): (&Alone, &ImpedanceCurve), f_hz| alone.blocked_ohm(curve, f_hz);
    let (mut low_hz, mut high_hz) = COMPARED_HZ;
    for (alone, curve) in [free, own] {
        let resonance_hz = ABOVE_RESONANCE * alone.readout.fs_hz.value;
        low_hz = if resonance_hz > low_hz {
            resonance_hz
        } else {
            low_hz
        };
        let end_hz = curve.frequency_hz().last().copied()?;
        high_hz = if end_hz < high_hz { end_hz } else { high_hz };
    }
    if high_hz < LEAST_REACH * low_hz {
        return None;
    }
    let pairs: Vec<(Complex64, Complex64)> = (0..N_COMPARED)
        .map(|k| low_hz * (high_hz / low_hz).powf(k as f64 / (N_COMPARED - 1) as f64))
        .filter_map(|f_hz| blocked(free, f_hz).zip(blocked(own, f_hz)))
        .collect();
    // A coil gets warm: what is the same everywhere does not count.
    let n = pairs.len() as f64;
    let warmer = pairs.iter().map(|(a, b)| (b - a).re).sum::<f64>() / n;
    let part = |(a, b): &(Complex64, Complex64)| (b - a - warmer).norm_sqr() / a.norm_sqr();
    (pairs.len() > 1).then(|| (pairs.iter().map(part).sum::<f64>() / n).sqrt())
}

fn finding(name: &str, what: &str, value: f64, limit: f64) -> Finding {
    Finding::new(
        Code::DriversDiffer,
        Severity::Redo,
        format!("this take cannot be of the same driver as the free-air take: {what}"),
        "check that both takes are of the same driver, with the same clips and nothing else changed, and make the odd one again",
    )
    .about(name)
    .with_evidence(value, "1", Some(limit))
}
