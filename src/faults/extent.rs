//! Where a recording sounds, and what is left of it as silence.

use std::ops::Range;

use super::statistics::median;
use crate::recording::Take;

/// Stretch over which loudness is judged, s.
const BLOCK_S: f64 = 0.01;
/// A block sounds if its peak is above this share of the loudest one: a fade of 50 ms gets there within 7 ms.
const SOUNDS: f64 = 0.01;
/// Nor is a block silent above this multiple of the quietest twentieth: the peaks of noise differ by less from block to block.
const ABOVE_QUIET: f64 = 2.5;
/// Share of the blocks that counts as the quietest. Takes hold more silence than this.
const QUIETEST: f64 = 0.04;
/// If even the quietest blocks are above this share of the loudest, there is no silence.
const NO_SILENCE: f64 = 0.1;
/// What is left out on either side of the sounding part, s: the blocks' own length, fades, and the ringing of converters' filters.
const BEFORE_S: f64 = 0.06;
/// After the end the driver rings on for a while, s.
const AFTER_S: f64 = 0.25;

/// Where a recording sounds.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Extent {
    /// The sounding frames.
    pub sounding: Range<usize>,
    /// Frames of silence before, well away from the sound; may be empty.
    pub before: Range<usize>,
    /// Frames of silence after the driver has rung off; may be empty.
    pub after: Range<usize>,
}

impl Extent {
    /// The longer of both silences; the one before if they are alike.
    pub fn silence(&self) -> Range<usize> {
        if self.after.len() > self.before.len() {
            self.after.clone()
        } else {
            self.before.clone()
        }
    }
}

/// Finds the sounding part by the source channel.
pub(super) fn extent(take: &Take) -> Extent {
    let rate_hz = f64::from(take.sample_rate_hz());
    let n = take.n_frames();
    let block = ((BLOCK_S * rate_hz) as usize).max(1);
    let peaks = block_peaks(take.source(), block);
    let everything = Extent {
        sounding: 0..n,
        before: 0..0,
        after: n..n,
    };
    let mut sorted = peaks.clone();
    sorted.sort_by(f64::total_cmp);
    let (Some(&loudest), Some(&quiet)) = (
        sorted.last(),
        sorted.get((QUIETEST * peaks.len() as f64) as usize),
    ) else {
        return everything;
    };
    if quiet > NO_SILENCE * loudest || loudest == 0.0 {
        return everything;
    }
    let threshold = if ABOVE_QUIET * quiet > SOUNDS * loudest {
        ABOVE_QUIET * quiet
    } else {
        SOUNDS * loudest
    };
    let first = peaks.iter().position(|&peak| peak > threshold);
    let last = peaks.iter().rposition(|&peak| peak > threshold);
    let (Some(first), Some(last)) = (first, last) else {
        return everything;
    };
    let sounding = first * block..((last + 1) * block).min(n);
    let before = sounding.start.saturating_sub((BEFORE_S * rate_hz) as usize);
    let after = (sounding.end + (AFTER_S * rate_hz) as usize).min(n);
    Extent {
        sounding,
        before: 0..before,
        after: after..n,
    }
}

/// Largest distance from the channel's middle in each block.
fn block_peaks(samples: &[f32], block: usize) -> Vec<f64> {
    let offset = offset(samples, block);
    samples
        .chunks(block)
        .map(|part| {
            part.iter()
                .map(|&v| (f64::from(v) - offset).abs())
                .fold(0.0, |m: f64, v| if v > m { v } else { m })
        })
        .collect()
}

/// The middle of the blocks' means: an offset, whatever sounds.
fn offset(samples: &[f32], block: usize) -> f64 {
    let mut means: Vec<f64> = samples.chunks(block).map(super::statistics::mean).collect();
    median(&mut means).unwrap_or(0.0)
}
