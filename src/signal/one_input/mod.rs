//! Two channels from one input: a periodic signal plays without a break while the input's clip is moved from the source node to
//! the driver's side, and perhaps back. Counting samples keeps the phase.
//!
//! The theory is in `docs/one-input.md`, whose formulas are cited as (O1), (O2) ….

mod blocks;
mod clock;
mod comb;
mod period;
mod ratio;
mod sort;
mod steady;
mod transform;

use std::ops::Range;

use crate::progress::{Continue, Watcher};
use blocks::{Blocks, Line};
use comb::Comb;

/// What was played: a periodic multisine on odd lines.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Period {
    /// Length of the period as it was played, frames.
    pub frames: u32,
    /// Sample rate that it was played at, Hz.
    pub sample_rate_hz: u32,
}

impl Period {
    /// The period's length in frames of a recording at another rate, with clocks that agree.
    fn recorded_frames(self, sample_rate_hz: f64) -> f64 {
        f64::from(self.frames) * sample_rate_hz / f64::from(self.sample_rate_hz)
    }

    /// Frequency of the k-th multiple of the fundamental by the player's clock, Hz.
    fn line_hz(self, k: usize) -> f64 {
        k as f64 * f64::from(self.sample_rate_hz) / f64::from(self.frames)
    }

    /// Distance between the lines that sound, Hz.
    pub fn spacing_hz(self) -> f64 {
        self.line_hz(2)
    }
}

/// Why one recording yields no two channels.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum OneInputError {
    /// The stated period is of no use at this rate.
    #[error("a period of {period_s} s is not usable; it has to last 0.2 s to 10 s")]
    Period {
        /// The period, s.
        period_s: f64,
    },
    /// The recording holds less than two stretches could need.
    #[error(
        "the recording is {length_s:.1} s long; two stretches of a period of {period_s:.2} s need {needed_s:.0} s at least"
    )]
    TooShort {
        /// Its length, s.
        length_s: f64,
        /// The period, s.
        period_s: f64,
        /// Least length, s.
        needed_s: f64,
    },
    /// Nothing in the recording repeats with the stated period.
    #[error(
        "nothing in the recording repeats every {period_s:.4} s: it is not a recording of this signal"
    )]
    NotFound {
        /// The period, s.
        period_s: f64,
    },
    /// One undisturbed stretch only.
    #[error(
        "the signal is heard undisturbed in one stretch only, from {start_s:.1} s to {end_s:.1} s: the clip was not moved, or not \
         left where it was for long enough"
    )]
    OneStretch {
        /// Where it begins, s.
        start_s: f64,
        /// Where it ends, s.
        end_s: f64,
    },
    /// The caller asked to stop.
    #[error("stopped on request")]
    Cancelled,
}

/// A stretch in which the clip stayed where it was.
#[derive(Clone, Debug, PartialEq)]
pub struct Stretch {
    /// Its frames in the recording, without what was cut off at either end.
    pub frames: Range<usize>,
    /// Whole periods in it that count.
    pub n_periods: usize,
    /// Largest less smallest level of its pieces, dB.
    pub wander_db: f64,
}

/// Frames that are missing or too many.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Jump {
    /// First frame of the stretch in which it happened.
    pub from_frame: usize,
    /// Frame after it.
    pub to_frame: usize,
    /// Frames inserted (positive) or lost, up to whole periods, which leave no trace.
    pub n_frames: f64,
    /// Whether it lies between two stretches of one node that are used, and not merely while the clip moved.
    pub within: bool,
}

/// What one recording holds.
#[derive(Clone, Debug, PartialEq)]
pub struct OneInput {
    /// Stretches on the source node that count, in their order.
    pub source: Vec<Stretch>,
    /// Stretches on the driver's side that count, in their order.
    pub driver: Vec<Stretch>,
    /// By how much the recorder's clock is faster than the player's, parts per million.
    pub drift_ppm: f64,
    /// By how much that changed from the first stretch's middle to the last one's, parts per million.
    pub drift_change_ppm: f64,
    /// Standard uncertainty of the time between what was heard on the two nodes, s.
    pub delay_doubt_s: f64,
    /// Frames lost or inserted.
    pub jumps: Vec<Jump>,
    /// Places where the sound on one node was disturbed though no frame is missing, frames.
    pub disturbed: Vec<Range<usize>>,
    /// By how much the source was louder when the clip came back, dB; `None` if it did not.
    pub source_moved_db: Option<f64>,
    /// Levels of stretches that are on neither node, dB relative to the source.
    pub strange_db: Vec<f64>,
    /// Whether the driver's side came first.
    pub reversed: bool,
    /// Level of the source stretch, RMS of the lines, dB relative to full scale.
    pub source_dbfs: f64,
    period: Period,
    lines: Vec<Line>,
}

/// Shortest and longest usable period, s: lines 10 Hz apart are no use, and a longer one makes stretches that nobody waits for.
const PERIOD_S: (f64, f64) = (0.2, 10.0);
/// Fewest periods of an undisturbed stretch: two and a half are cut off at most, and three tell the noise and the clock.
const FEWEST_PERIODS: f64 = 5.5;

/// Finds in one input's recording what the source node and what the driver's side was, on one time base.
///
/// `alike` says that both nodes are expected to sound alike (both inputs on one node, open leads across the driver).
///
/// # Errors
/// See [`OneInputError`].
pub fn one_input(
    samples: &[f32],
    sample_rate_hz: f64,
    period: Period,
    alike: bool,
    watcher: &mut dyn Watcher,
) -> Result<OneInput, OneInputError> {
    let period_s = f64::from(period.frames) / f64::from(period.sample_rate_hz);
    let usable = period_s >= PERIOD_S.0 && period_s <= PERIOD_S.1 && sample_rate_hz > 0.0;
    if !usable {
        return Err(OneInputError::Period { period_s });
    }
    let needed_s = 2.0 * FEWEST_PERIODS * period_s;
    let length_s = samples.len() as f64 / sample_rate_hz;
    if length_s < needed_s {
        return Err(OneInputError::TooShort {
            length_s,
            period_s,
            needed_s,
        });
    }
    let mut go_on = |done| match watcher.at("following one input", done) {
        Continue::Yes => Ok(()),
        Continue::No => Err(OneInputError::Cancelled),
    };
    go_on(0.0)?;
    let not_found = OneInputError::NotFound { period_s };
    let nominal = period.recorded_frames(sample_rate_hz);
    let found = period::find(samples, nominal, sample_rate_hz).ok_or(not_found.clone())?;
    go_on(0.3)?;
    let comb = Comb::of(samples, found);
    let steady = steady::find(&comb, nominal, sample_rate_hz).ok_or(not_found.clone())?;
    go_on(0.6)?;
    let mut blocks = Blocks::of(samples, found, &steady);
    let seconds = |frame: usize| frame as f64 / sample_rate_hz;
    match blocks.runs.as_slice() {
        [] => return Err(not_found),
        [only] => {
            return Err(OneInputError::OneStretch {
                start_s: seconds(only.frames.start),
                end_s: seconds(only.frames.end),
            });
        }
        _ => {}
    }
    blocks.settle_clocks();
    go_on(0.8)?;
    let sorted = sort::sort(&mut blocks, alike);
    let Some(sorted) = sorted else {
        let whole = blocks.whole();
        return Err(OneInputError::OneStretch {
            start_s: seconds(whole.start),
            end_s: seconds(whole.end),
        });
    };
    let clock = clock::join(&mut blocks, &sorted);
    let lines = blocks.lines(&sorted);
    let stretch = |&i: &usize| blocks.stretch(i);
    let source_power: f64 = lines.iter().map(|line| line.source.norm_sqr()).sum();
    Ok(OneInput {
        source: sorted.source.iter().map(stretch).collect(),
        driver: sorted.driver.iter().map(stretch).collect(),
        drift_ppm: 1e6 * (clock.period / nominal - 1.0),
        drift_change_ppm: clock.change_ppm,
        delay_doubt_s: clock.doubt_frames / sample_rate_hz,
        jumps: sorted.jumps,
        disturbed: sorted.disturbed,
        source_moved_db: sorted.source_moved_db,
        strange_db: sorted.strange_db,
        reversed: sorted.reversed,
        source_dbfs: 10.0 * (0.5 * source_power).log10(),
        period,
        lines,
    })
}
