//! Steps of level while the stimulus plays, and outputs that give less than they should.

use super::playback::{LOWEST_HZ, TONAL, TOP};
use super::statistics::median;
use crate::finding::{Code, Finding, Severity};
use crate::signal::{Follow, FollowWindow};

/// A step above this is a change of volume: one step of most volume controls is 0.5 to 2 dB (common practice, no source).
pub const LEVEL_STEP_DB: f64 = 0.5;
/// Corner that is allowed for AC coupling, Hz: whatever it does to a level below is no step.
const COUPLING_HZ: f64 = 10.0;
/// Share of the recorded energy that has to be explained before a window's gain counts.
const CLEAR: f64 = 0.9;
/// Windows that one step is judged from may lie this far apart before a smooth response counts, and what it may do, dB an octave:
/// a short sweep runs through a resonance faster than that rings, and then nobody can tell one from the other.
const CLOSE_OCTAVES: f64 = 0.5;
const SMOOTH_DB_PER_OCTAVE: f64 = 5.0;
/// Windows on either side of a step, and windows between that may straddle it.
pub(super) const SIDE: usize = 3;
pub(super) const GAP: usize = 2;
/// Windows over which a step has to last, and how much of it.
const LASTS: usize = 9;
const LASTING: f64 = 0.7;

/// A step of level.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LevelStep {
    /// Where, frame of what was played.
    pub at_frame: f64,
    /// How much, dB.
    pub step_db: f64,
}

/// Steps of level, the largest first.
pub fn level_steps(follow: &Follow, sample_rate_hz: f64) -> Vec<LevelStep> {
    let windows: Vec<&FollowWindow> = follow
        .windows
        .iter()
        .filter(|w| {
            w.delay_frames.is_some()
                && w.tonal > TONAL
                && w.frequency_hz > LOWEST_HZ
                && w.explained > CLEAR
                && w.gain > 0.0
                && w.frequency_hz < TOP * sample_rate_hz
        })
        .collect();
    let gains_db: Vec<f64> = windows.iter().map(|w| 20.0 * w.gain.log10()).collect();
    let allowed = |i: usize| {
        let span = &windows[i..(i + 2 * SIDE + GAP).min(windows.len())];
        let ratio = COUPLING_HZ / windows[i].frequency_hz;
        let octaves = octaves(span);
        let smooth_db = if octaves > CLOSE_OCTAVES {
            SMOOTH_DB_PER_OCTAVE * (octaves - CLOSE_OCTAVES)
        } else {
            0.0
        };
        LEVEL_STEP_DB + 20.0 * (1.0 + ratio * ratio).log10() + smooth_db
    };
    let mut steps: Vec<LevelStep> = step_candidates(&gains_db, allowed)
        .into_iter()
        .map(|(before, after, step_db)| LevelStep {
            at_frame: 0.5 * (windows[before].middle() + windows[after].middle()),
            step_db,
        })
        .collect();
    steps.sort_by(|a, b| b.step_db.abs().total_cmp(&a.step_db.abs()));
    steps
}

fn octaves(windows: &[&FollowWindow]) -> f64 {
    let (mut low, mut high) = (f64::INFINITY, 0.0);
    for window in windows {
        if window.frequency_hz < low {
            low = window.frequency_hz;
        }
        if window.frequency_hz > high {
            high = window.frequency_hz;
        }
    }
    if high > low { (high / low).log2() } else { 0.0 }
}

/// Where the median of three values differs from that of three earlier ones by more than what is allowed at the earliest of them:
/// last index before, first index after, difference. Only the largest of neighbouring ones.
pub(super) fn step_candidates(
    values: &[f64],
    allowed: impl Fn(usize) -> f64,
) -> Vec<(usize, usize, f64)> {
    let span = 2 * SIDE + GAP;
    let mut found: Vec<(usize, usize, f64)> = vec![];
    for start in 0..(values.len() + 1).saturating_sub(span) {
        let before = &values[start..start + SIDE];
        let after = &values[start + SIDE + GAP..start + span];
        let step = median_of_three(after) - median_of_three(before);
        // What changes within each side is a slope, and what is back after some windows was a resonance.
        let slope = spread(before) + spread(after);
        if step.abs() <= allowed(start) || slope > 0.5 * step.abs() {
            continue;
        }
        let (from, to) = (start + SIDE, start + SIDE + GAP);
        let long_before = median(&mut values[from.saturating_sub(LASTS)..from].to_vec());
        let long_after = median(&mut values[to..(to + LASTS).min(values.len())].to_vec());
        let lasting = long_after.zip(long_before).map_or(0.0, |(a, b)| a - b);
        if lasting / step < LASTING {
            continue;
        }
        let here = (start + SIDE - 1, start + SIDE + GAP, step);
        match found.last_mut() {
            Some(last) if here.0 <= last.0 + span => {
                if step.abs() > last.2.abs() {
                    *last = here;
                }
            }
            _ => found.push(here),
        }
    }
    found
}

fn median_of_three(values: &[f64]) -> f64 {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    sorted[sorted.len() / 2]
}

fn spread(values: &[f64]) -> f64 {
    let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
    for &value in values {
        if value < low {
            low = value;
        }
        if value > high {
            high = value;
        }
    }
    high - low
}

/// What one take says about gain.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct GainFacts {
    /// Peak level that was played, dBFS.
    pub played_dbfs: f64,
    /// Recorded over played amplitude of the source channel, dB.
    pub gain_db: f64,
}

/// How much less than asked for an output may give, dB (common practice, no source): steps of a digital level are exact.
pub const COMPRESSION_DB: f64 = 0.3;

/// Whether the source followed when the level went up. `low` and `high` are takes of one jig and driver.
pub fn compression(name: &str, low: GainFacts, high: GainFacts) -> Vec<Finding> {
    let (low, high) = if low.played_dbfs <= high.played_dbfs {
        (low, high)
    } else {
        (high, low)
    };
    let missing_db = low.gain_db - high.gain_db;
    // A comparison that is false for NaN: what is unknown is no finding.
    if !(missing_db > COMPRESSION_DB && high.played_dbfs > low.played_dbfs) {
        return vec![];
    }
    let rise_db = high.played_dbfs - low.played_dbfs;
    vec![
        Finding::new(
            Code::OutputLimited,
            Severity::Caution,
            format!(
                "the level was raised by {rise_db:.1} dB, but {missing_db:.1} dB of that did not arrive at the source: the \
                 output cannot deliver the current, or a limiter is at work"
            ),
            "use a larger sense resistor or a line output, or stay at the lower level; turn off limiters and \"enhancements\"",
        )
        .with_evidence(missing_db, "dB", Some(COMPRESSION_DB))
        .about(name),
    ]
}
