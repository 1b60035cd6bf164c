//! Whether two takes can be of one driver.

use super::alone::Alone;
use crate::finding::{Code, Finding, Severity};
use crate::fit::Loading;

/// Nothing that is done to a cone changes the coil's own impedance by more than this part of |Z| (common practice, no source).
const COIL_DIFFERS: f64 = 0.06;
/// Where coils are compared, Hz: voice coils differ there, and the cone hardly moves.
const COMPARED_HZ: [f64; 4] = [1_000.0, 2_000.0, 4_000.0, 8_000.0];
/// A coil that is 50 K warmer has this much more resistance (copper: 0.39 % a kelvin, from memory); by less it may be the same.
const RESISTANCE_DIFFERS: f64 = 0.20;
/// A mass cannot raise the resonance, nor a box lower it; what set-ups differ by is allowed: three times √2 times 1 % (common
/// practice, no source).
const WRONG_WAY: f64 = 0.042;

/// A finding if a loaded take cannot be of the driver of the free-air take.
pub(super) fn differ(name: &str, loading: Loading, free: &Alone, own: &Alone) -> Option<Finding> {
    let [re_free, re_own] = [free, own].map(|alone| alone.readout.re_ohm.value);
    let resistance = (re_own / re_free - 1.0).abs();
    if resistance > RESISTANCE_DIFFERS {
        let what =
            format!("its coil has {re_own:.2} ohm, that of the free-air take {re_free:.2} ohm");
        return Some(finding(name, &what, resistance, RESISTANCE_DIFFERS));
    }
    let part = |f_hz: f64| {
        let [a, b] = [free, own].map(|alone| alone.coil_ohm(f_hz));
        ((a - b).norm() / (a + re_free).norm()).powi(2)
    };
    let coil = (COMPARED_HZ.into_iter().map(part).sum::<f64>() / COMPARED_HZ.len() as f64).sqrt();
    if coil > COIL_DIFFERS {
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
