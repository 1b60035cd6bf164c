//! Distortion, rubbing and buzzing in a sweep of which only the recording is known.

use super::distortion::DISTORTED;
use super::flattened::is_flattened;
use crate::finding::{Code, Finding, Severity};
use crate::recording::Take;
use crate::signal::{Leftover, leftover};

/// What is in no simple ratio to the wave being played stays below this in a driver that nothing touches; converters stay below a
/// third of it (common practice, no source).
pub const IRREGULAR: f64 = 1e-3;
/// From here on the movement is no longer the driver's own, and no parameter of it can be used (common practice, no source).
pub const IRREGULAR_REDO: f64 = 1e-2;
/// Likewise for harmonics.
pub const HARMONIC_REDO: f64 = 0.1;
/// Windows near one another that have to show it: a click is in two.
const FEWEST: usize = 3;
/// How near, as a ratio of frequencies …
const SPAN: f64 = 2.0;
/// … and in windows: three of so many.
const AMONG: usize = 10;
/// The irregular part over the harmonics from which on something touches: rubbing shows 6 % and more on the virtual bench, a spring
/// that bends less than 1 %, since its harmonics fall off fast.
const TOUCHES: f64 = 0.03;

/// Whether a take shows more than a driver in its small-signal range does. Silent for stimuli other than sweeps, and for takes
/// without silence before them, and where an overdriven output bends the wave before it comes to the driver.
pub fn touching(name: &str, take: &Take) -> Option<Finding> {
    let rate_hz = f64::from(take.sample_rate_hz());
    let windows = leftover(take.source(), take.driver(), rate_hz);
    let harmonic = lasting(&windows, |window| window.harmonic);
    let irregular = lasting(&windows, |window| window.irregular);
    let worst = |part: Option<(f64, f64)>| part.unwrap_or((0.0, 0.0));
    let ((harmonic, h_hz), (irregular, i_hz)) = (worst(harmonic), worst(irregular));
    let touches = irregular > IRREGULAR && irregular > TOUCHES * harmonic;
    let advice = if touches {
        "look for what touches or rattles: the coil in its gap, a wire on the cone, a loose screw, dust; then make the take again"
    } else {
        "play at a lower level; check that nothing touches the cone and the putty holds"
    };
    let (value, limit, message) = if touches {
        let message = format!(
            "the driver rubs or buzzes around {i_hz:.0} Hz: {:.2} % of its signal is noise that comes with the movement",
            100.0 * irregular
        );
        (irregular, IRREGULAR, message)
    } else if harmonic > DISTORTED {
        let message = format!(
            "the driver distorts by {:.1} % around {h_hz:.0} Hz: it is played too loud for small-signal parameters",
            100.0 * harmonic
        );
        (harmonic, DISTORTED, message)
    } else {
        return None;
    };
    if is_flattened(take.source(), rate_hz) {
        return None;
    }
    let severity = if irregular > IRREGULAR_REDO || harmonic > HARMONIC_REDO {
        Severity::Redo
    } else {
        Severity::Caution
    };
    Some(
        Finding::new(Code::Distorted, severity, message, advice)
            .with_evidence(value, "1", Some(limit))
            .about(name),
    )
}

/// The highest value that [`FEWEST`] windows near one another reach, and the frequency of the first of them, Hz.
fn lasting(windows: &[Leftover], of: fn(&Leftover) -> f64) -> Option<(f64, f64)> {
    let near = |i: usize| {
        let ratio = SPAN * windows[i].frequency_hz;
        windows[i..]
            .iter()
            .take_while(move |window| window.frequency_hz < ratio)
            .take(AMONG)
    };
    (0..windows.len())
        .filter_map(|i| {
            let mut values: Vec<f64> = near(i).map(of).collect();
            values.sort_by(|a, b| b.total_cmp(a));
            Some((*values.get(FEWEST - 1)?, windows[i].frequency_hz))
        })
        .max_by(|a, b| a.0.total_cmp(&b.0))
}
