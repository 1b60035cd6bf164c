//! Samples that stand at their limit.

use crate::finding::{Code, Finding, Severity};
use crate::signal::largest;

/// A sample this close to full scale has reached it: 16-bit converters end at 1 − 2⁻¹⁵.
const FULL_SCALE: f32 = 0.9999;
/// Samples in a row at full scale, or exactly equal at the extreme of the recording, that are no coincidence.
const FEWEST: usize = 4;
/// Flat tops that are no coincidence either.
const FEWEST_RUNS: usize = 2;

/// What is flat in one channel.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Flat {
    /// How many tops.
    pub n_runs: usize,
    /// How many samples the longest has.
    pub longest: usize,
    /// First one, frame.
    pub at_frame: usize,
    /// Where they stand, relative to full scale.
    pub level: f64,
}

/// Runs of samples at the highest or lowest value of the channel, longer than a wave rounded to the channel's steps has there:
/// `step` is the [`smallest_step`].
pub(super) fn flat_tops(samples: &[f32], step: f64) -> Option<Flat> {
    let high = largest(samples, f32::NEG_INFINITY, |v| v);
    let low = -largest(samples, f32::NEG_INFINITY, |v| -v);
    let mut flat: Option<Flat> = None;
    let mut i = 0;
    while i < samples.len() {
        let value = samples[i];
        let extreme = value == high || value == low;
        let full = value.abs() >= FULL_SCALE;
        if !(extreme || full) || value == 0.0 {
            i += 1;
            continue;
        }
        let end = i + samples[i..]
            .iter()
            .take_while(|&&v| v == value || (full && v.abs() >= FULL_SCALE && v * value > 0.0))
            .count();
        let longest_rounded = if full {
            0.0
        } else {
            rounded_top(samples, i, end, step)
        };
        let n = end - i;
        if n >= FEWEST && n as f64 > longest_rounded {
            let found = flat.get_or_insert(Flat {
                n_runs: 0,
                longest: 0,
                at_frame: i,
                level: f64::from(value.abs()),
            });
            found.n_runs += 1;
            found.longest = found.longest.max(n);
        }
        i = end;
    }
    flat.filter(|flat| flat.n_runs >= FEWEST_RUNS || flat.longest >= 2 * FEWEST)
}

/// The smallest difference between neighbouring samples: the step of the converter, or nothing of it with noise below.
pub(super) fn smallest_step(samples: &[f32]) -> f64 {
    let smallest = samples
        .windows(2)
        .map(|pair| (pair[1] - pair[0]).abs())
        .filter(|&difference| difference > 0.0)
        .fold(f32::INFINITY, |m, v| if v < m { v } else { m });
    if smallest.is_finite() {
        f64::from(smallest)
    } else {
        0.0
    }
}

/// Longest top that rounding alone explains. A rounded wave's top is at most one step deep over its width, so one width
/// further out, on either side, it is at most nine steps down; where a limit cut the wave off it is further down.
fn rounded_top(samples: &[f32], start: usize, end: usize, step: f64) -> f64 {
    let n = end - start;
    let outside = start
        .checked_sub(n)
        .and_then(|left| samples.get(left))
        .zip(samples.get(end + n - 1));
    let Some((&left, &right)) = outside else {
        return n as f64;
    };
    let top = f64::from(samples[start].abs());
    let down = |v: f32| top - f64::from(v * samples[start].signum());
    const DEEPEST_STEPS: f64 = 12.0;
    if 0.5 * (down(left) + down(right)) > DEEPEST_STEPS * step {
        0.0
    } else {
        n as f64
    }
}

/// The finding about one channel.
pub(super) fn clipped(name: &str, what: &str, flat: Flat, sample_rate_hz: f64) -> Finding {
    let level_dbfs = 20.0 * flat.level.log10();
    let at_s = flat.at_frame as f64 / sample_rate_hz;
    Finding::new(
        Code::Clipped,
        Severity::Redo,
        format!(
            "{what} is cut off at {:.1} dBFS, {} times from {at_s:.2} s on, for up to {} samples in a row",
            // No minus before zero.
            (10.0 * level_dbfs).round() / 10.0 + 0.0,
            flat.n_runs,
            flat.longest
        ),
        "turn this input's gain down (and make the jig's calibration takes again), or play at a lower level; an input that is \
         cut off below 0 dBFS is overdriven before its knob",
    )
    .with_evidence(flat.longest as f64, "1", Some(FEWEST as f64))
    .about(name)
}
