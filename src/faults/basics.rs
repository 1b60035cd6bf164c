//! Levels of a recording: too few steps, a steady offset, no silence.

use super::extent::Extent;
use super::facts::ChannelFacts;
use super::quiet::OFFSET;
use super::statistics::mean;
use crate::finding::{Code, Finding, Severity};
use crate::recording::Take;

/// A peak of fewer steps than this: rounding (0.29 steps, RMS) is then 1.7 % of a sine (17 steps) and no longer random.
const FEWEST_STEPS: f64 = 24.0;
/// A steady offset above this share of full scale is noted: inputs with AC coupling stay a hundred times below (common practice,
/// no source). The analysis takes it off.
const OFFSET_NOTED: f64 = 0.003;
/// Silence that a take needs before and after, s: what is judged there takes two frames of the analysis.
const SILENCE_S: f64 = 0.05;
/// At an end without silence the level is above this share of the loudest: what is quieter may be noise.
const LOUD_END: f64 = 0.1;

/// Whether the peak is so few steps of the samples that rounding counts.
pub(super) fn too_quiet(name: &str, what: &str, channel: &ChannelFacts) -> Option<Finding> {
    let step = channel.step;
    let steps = channel.peak / step;
    (step > 0.0 && steps < FEWEST_STEPS).then(|| {
        Finding::new(
            Code::TooQuiet,
            Severity::Caution,
            format!("{what} peaks at only {steps:.0} steps of its samples: rounding is heard in it"),
            "turn this input up (and make the jig's calibration takes again), play a little louder, or record with 24 bits",
        )
        .with_evidence(steps, "1", Some(FEWEST_STEPS))
        .about(name)
    })
}

/// Whether an input shows a steady voltage.
pub(super) fn offset(name: &str, what: &str, samples: &[f32], extent: &Extent) -> Option<Finding> {
    let silence = extent.silence();
    let part = if silence.is_empty() {
        samples
    } else {
        &samples[silence]
    };
    let offset = mean(part);
    let (severity, limit) = if offset.abs() > OFFSET {
        (Severity::Caution, OFFSET)
    } else {
        (Severity::Note, OFFSET_NOTED)
    };
    (offset.abs() > limit).then(|| {
        Finding::new(
            Code::DcOffset,
            severity,
            format!(
                "{what} shows a steady voltage of {:.1} % of full scale",
                100.0 * offset
            ),
            "use a line input with AC coupling, and switch off the supply for microphones (phantom power, plug-in power)",
        )
        .with_evidence(offset, "1", Some(limit))
        .about(name)
    })
}

/// Whether the stimulus begins at once, or is cut off.
pub(super) fn no_silence(name: &str, take: &Take, extent: &Extent) -> Option<Finding> {
    let rate_hz = f64::from(take.sample_rate_hz());
    let needed = (SILENCE_S * rate_hz) as usize;
    let n = take.n_frames();
    let source = take.source();
    let [early, late] = [extent.sounding.start, n - extent.sounding.end].map(|v| v < needed);
    if !early && !late {
        return None;
    }
    let middle = mean(source);
    let peak = |part: &[f32]| {
        part.iter()
            .map(|&v| (f64::from(v) - middle).abs())
            .fold(0.0, |m: f64, v| if v > m { v } else { m })
    };
    let loudest = peak(source);
    let loud = |part: &[f32]| peak(part) > LOUD_END * loudest;
    let ends = needed.min(n);
    let at_start = early && loud(&source[..ends]);
    let at_end = late && loud(&source[n - ends..]);
    let what = match (at_start, at_end) {
        (true, true) => "there is no silence before the stimulus, nor after it",
        (true, false) => "there is no silence before the stimulus: its beginning may be cut off",
        (false, true) => "there is no silence after the stimulus: its end may be cut off",
        (false, false) => return None,
    };
    Some(
        Finding::new(
            Code::NoSilence,
            Severity::Caution,
            what,
            "start recording before the stimulus plays, and stop a second after its end",
        )
        .about(name),
    )
}
