//! Whether the stimulus began low enough.

use crate::finding::{Code, Finding, Severity};
use crate::impedance::ImpedanceCurve;

/// Above this part of the resonance too little of its lower flank is left to tell Re from the rest (common practice, no source:
/// stimuli begin at a quarter of the resonance or lower).
const HIGHEST_START: f64 = 0.6;
/// Below what was played the points are this many times more uncertain than the best within half an octave above: a fade falls by
/// 20 dB within a few bands, while noise and the flank of a resonance change by less over so short a stretch.
const NOISIER: f64 = 5.0;
const NEAR: f64 = 1.414;
/// A curve that begins at its summit falls by this factor to its valley: at two and a half times the resonance no more is left of the
/// flank …
const FALLS: f64 = 1.04;
/// … and its current is ahead of its voltage there by more than a resistor's ever is, radian: 6°.
const CAPACITIVE_RAD: f64 = -0.1;

/// A finding if a curve begins too close to its resonance, or above it where no resonance was seen.
pub fn starts_too_high(
    name: &str,
    curve: &ImpedanceCurve,
    resonance_hz: Option<f64>,
) -> Option<Finding> {
    let first = first_played(curve);
    let start_hz = *curve.frequency_hz().get(first)?;
    let Some(fs_hz) = resonance_hz else {
        return begins_on_the_way_down(curve, first).then(|| {
            finding(
                name,
                Severity::Redo,
                format!(
                    "the curve falls from its beginning at {start_hz:.0} Hz: the resonance lies below what was played"
                ),
                start_hz,
                None,
            )
        });
    };
    let limit_hz = HIGHEST_START * fs_hz;
    (start_hz > limit_hz).then(|| {
        finding(
            name,
            Severity::Caution,
            format!(
                "the curve begins at {start_hz:.0} Hz, too close to the resonance at {fs_hz:.0} Hz"
            ),
            start_hz,
            Some(limit_hz),
        )
    })
}

/// Where what was played begins: a sweep's fade leaves a little of it below, and there the noise is much larger than a little above.
fn first_played(curve: &ImpedanceCurve) -> usize {
    let Some(covariance) = curve.covariance() else {
        return 0;
    };
    let f_hz = curve.frequency_hz();
    let points = covariance.iter().zip(curve.z_ohm());
    let relative: Vec<f64> = points.map(|(c, z)| c.trace() / z.norm_sqr()).collect();
    let settled = |i: &usize| {
        let above = f_hz.partition_point(|f| *f <= NEAR * f_hz[*i]);
        let quietest = relative[*i..above].iter().copied().min_by(f64::total_cmp);
        quietest.is_none_or(|quietest| relative[*i] <= NOISIER * NOISIER * quietest)
    };
    (0..relative.len()).find(settled).unwrap_or(0)
}

/// The first points are a summit, and capacitive, as only the upper flank of a resonance is.
fn begins_on_the_way_down(curve: &ImpedanceCurve, first: usize) -> bool {
    let z_ohm = &curve.z_ohm()[first..];
    let valley = z_ohm
        .iter()
        .map(|z| z.norm())
        .fold(f64::INFINITY, |m, v| if v < m { v } else { m });
    let first = z_ohm.iter().take(5).sum::<num_complex::Complex64>();
    first.norm() / 5.0 > FALLS * valley && first.arg() < CAPACITIVE_RAD
}

fn finding(
    name: &str,
    severity: Severity,
    message: String,
    value: f64,
    limit: Option<f64>,
) -> Finding {
    Finding::new(
        Code::StartsTooHigh,
        severity,
        message,
        "let the stimulus begin at a quarter of the resonance or lower, and make the take again",
    )
    .about(name)
    .with_evidence(value, "Hz", limit)
}
