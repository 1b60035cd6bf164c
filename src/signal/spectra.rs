//! Auto and cross spectra of the two channels: one transform of the whole take, or of blocks where it is long.

use num_complex::Complex64;
use realfft::{RealFftPlanner, RealToComplex};
use std::ops::Range;
use std::sync::Arc;

use super::ratio::{LeftOut, SignalError};
use super::sums::sum;
use crate::progress::{Continue, Watcher};

/// Longest take that is transformed in one piece: 87 s at 48 kHz. Beyond it memory would grow past need, and the
/// bins would be finer than any driver asks for.
const WHOLE_AT_MOST: usize = 1 << 22;
/// Block of a longer take: 44 s at 48 kHz, 11 s at 192 kHz.
const BLOCK: usize = 1 << 21;
/// Part of a take that is tapered at an end which is not silent, formula (S5).
const TAPER: f64 = 0.1;
/// An end counts as silent when it lies this far below the loudest stretch: what then still wraps around in the
/// transform is a tenth of the signal for a moment, and the noise of a poor recorder does not pass for sound.
const SILENT: f64 = 0.1;
/// Stretch over which loudness is judged, s.
const STRETCH_S: f64 = 0.05;

/// Sums over blocks of |X1|², |X2|² and X2·X1*, bin by bin.
pub(super) struct Spectra {
    /// Width of a bin, Hz.
    pub bin_hz: f64,
    /// Σ|X1|².
    pub s11: Vec<f64>,
    /// Σ|X2|².
    pub s22: Vec<f64>,
    /// ΣX2·X1*.
    pub s12: Vec<Complex64>,
    /// Number of blocks.
    pub n_blocks: usize,
    /// By how much neighbouring bins' correlation inflates the variance of a mean over them: Σ|C_m|², formula (S6).
    pub inflation: f64,
    /// Bins that count for nothing, ascending and apart from each other.
    left_out: Vec<Range<usize>>,
}

impl Spectra {
    pub fn n_bins(&self) -> usize {
        self.s11.len()
    }

    /// Leaves out the bins of these stretches.
    pub fn leave_out(&mut self, stretches: &[LeftOut]) {
        let bin = |hz: f64| (hz / self.bin_hz).clamp(0.0, self.n_bins() as f64);
        let mut ranges: Vec<Range<usize>> = stretches
            .iter()
            .map(|s| {
                let low = bin(s.frequency_hz - s.half_width_hz).ceil() as usize;
                let high = bin(s.frequency_hz + s.half_width_hz).floor() as usize + 1;
                low..high
            })
            .filter(|range| !range.is_empty())
            .collect();
        ranges.sort_by_key(|range| range.start);
        self.left_out = ranges;
    }

    /// The bins of `first..last` that count.
    pub fn kept(&self, first: usize, last: usize) -> impl Iterator<Item = usize> + '_ {
        let from = self.left_out.partition_point(|range| range.end <= first);
        let near = &self.left_out[from..];
        let n = near.partition_point(|range| range.start < last);
        let near = &near[..n];
        (first..last)
            .filter(move |k| near.is_empty() || !near.iter().any(|range| range.contains(k)))
    }
}

/// Spectra of both channels. The channels have the same length, at least 16 samples.
pub(super) fn spectra(
    source: &[f32],
    driver: &[f32],
    sample_rate_hz: f64,
    watcher: &mut dyn Watcher,
) -> Result<Spectra, SignalError> {
    let n = source.len();
    if n <= WHOLE_AT_MOST {
        let stretch = ((STRETCH_S * sample_rate_hz) as usize).clamp(1, n);
        let loudness = [source, driver].map(|channel| loudness(channel, stretch));
        let [quiet_start, quiet_end] = silent_ends(&loudness);
        let size = smooth_even_length(n);
        let cut = n - size;
        let (start, cut_start, cut_end) = if quiet_start && !quiet_end {
            (cut, cut, 0)
        } else {
            (0, 0, cut)
        };
        let [still_start, still_end] = stillness(&loudness, stretch, n);
        // In stillness a taper changes nothing but noise and hum; in the signal it costs a little, (S5).
        let part = |quiet: bool, still: usize, cut: usize| {
            let still = still.saturating_sub(cut);
            if quiet {
                (still as f64 / size as f64, still)
            } else {
                (TAPER, 0)
            }
        };
        let (at_start, silent_before) = part(quiet_start, still_start, cut_start);
        let (at_end, silent_after) = part(quiet_end, still_end, cut_end);
        let window = taper(size, at_start, at_end);
        let sounding = silent_before..size - silent_after;
        return accumulate(
            source,
            driver,
            sample_rate_hz,
            (&window, sounding),
            &[start],
            watcher,
        );
    }
    // Periodic raised cosine at half overlap: the squared weights of all blocks sum to a constant.
    let window = taper(BLOCK, 0.5, 0.5);
    let mut starts: Vec<usize> = (0..=n - BLOCK).step_by(BLOCK / 2).collect();
    // The rest at the end is covered by one more block that overlaps more.
    if starts.last().is_none_or(|&last| last + BLOCK < n) {
        starts.push(n - BLOCK);
    }
    accumulate(
        source,
        driver,
        sample_rate_hz,
        (&window, 0..BLOCK),
        &starts,
        watcher,
    )
}

/// Width of a bin for a take of this length, Hz. Where neighbouring bins are correlated the independent ones are wider;
/// the covariance says so, the grid need not.
pub(super) fn bin_width_hz(n_frames: usize, sample_rate_hz: f64) -> f64 {
    let size = if n_frames <= WHOLE_AT_MOST {
        smooth_even_length(n_frames.max(2))
    } else {
        BLOCK
    };
    sample_rate_hz / size as f64
}

fn accumulate(
    source: &[f32],
    driver: &[f32],
    sample_rate_hz: f64,
    (window, sounding): (&[f64], Range<usize>),
    starts: &[usize],
    watcher: &mut dyn Watcher,
) -> Result<Spectra, SignalError> {
    let size = window.len();
    let plan = RealFftPlanner::<f64>::new().plan_fft_forward(size);
    let n_bins = size / 2 + 1;
    let mut time = vec![0.0; size];
    let mut scratch = plan.make_scratch_vec();
    let (mut x1, mut x2) = (plan.make_output_vec(), plan.make_output_vec());
    let mut sums = Spectra {
        bin_hz: sample_rate_hz / size as f64,
        s11: vec![],
        s22: vec![],
        s12: vec![],
        n_blocks: starts.len(),
        inflation: inflation(window, sounding),
        left_out: vec![],
    };
    for (i, &start) in starts.iter().enumerate() {
        if watcher.at("spectra", i as f64 / starts.len() as f64) == Continue::No {
            return Err(SignalError::Cancelled);
        }
        let part = start..start + window.len();
        for (channel, bins) in [(source, &mut x1), (driver, &mut x2)] {
            let samples = &channel[part.clone()];
            transform(&plan, samples, window, &mut time, &mut scratch, bins);
        }
        let both = x1.iter().zip(&mut x2);
        if starts.len() == 1 {
            // Most takes are one block: where their channels' product goes the second one's bins are no longer needed.
            (sums.s11, sums.s22) = both
                .map(|(x1, x2)| {
                    let powers = (x1.norm_sqr(), x2.norm_sqr());
                    *x2 *= x1.conj();
                    powers
                })
                .unzip();
            sums.s12 = x2;
            break;
        }
        sums.s11.resize(n_bins, 0.0);
        sums.s22.resize(n_bins, 0.0);
        sums.s12.resize(n_bins, Complex64::default());
        let auto = sums.s11.iter_mut().zip(&mut sums.s22);
        for ((x1, x2), ((s11, s22), s12)) in both.zip(auto.zip(&mut sums.s12)) {
            *s11 += x1.norm_sqr();
            *s22 += x2.norm_sqr();
            *s12 += *x2 * x1.conj();
        }
    }
    Ok(sums)
}

/// Windowed transform without the mean, which a taper would spread over the lowest bins.
fn transform(
    plan: &Arc<dyn RealToComplex<f64>>,
    samples: &[f32],
    window: &[f64],
    time: &mut [f64],
    scratch: &mut [Complex64],
    out: &mut [Complex64],
) {
    let mean = sum(samples, |v| v) / samples.len() as f64;
    for ((slot, &sample), weight) in time.iter_mut().zip(samples).zip(window) {
        *slot = (f64::from(sample) - mean) * weight;
    }
    let done = plan.process_with_scratch(time, out, scratch);
    debug_assert!(done.is_ok(), "buffers come from the plan: {done:?}");
}

/// Signal this far below the loudest stretch is none: what a taper then does to it is less still.
const STILL: f64 = 1e-4;
/// Stillness ends where it gets louder than this multiple of its quietest stretch; noise and hum do not within a stretch of 50 ms.
const LOUDER: f64 = 1.5;
/// Stretches that are kept clear before sound sets in and after it is over.
const CLEAR: usize = 1;

/// Frames of stillness at the start and at the end: nothing but noise and hum.
fn stillness(loudness: &[Vec<f64>; 2], stretch: usize, n: usize) -> [usize; 2] {
    let judge = |loudness: &Vec<f64>| -> [usize; 2] {
        let loudest = loudness
            .iter()
            .copied()
            .fold(0.0, |m: f64, v| if v > m { v } else { m });
        let still = |list: &mut dyn Iterator<Item = f64>| -> usize {
            let mut quietest = f64::INFINITY;
            let mut n = 0;
            for v in list {
                if v < quietest {
                    quietest = v;
                }
                if v > LOUDER * quietest && v > STILL * loudest {
                    break;
                }
                n += 1;
            }
            n
        };
        let from_start = still(&mut loudness.iter().copied());
        let from_end = still(&mut loudness.iter().rev().copied());
        if from_start + from_end + 2 * CLEAR >= loudness.len() {
            return [0, 0];
        }
        let frames = |n: usize| n.saturating_sub(CLEAR) * stretch;
        // The last stretch may be shorter than the others.
        let missing = loudness.len() * stretch - n;
        [frames(from_start), frames(from_end).saturating_sub(missing)]
    };
    let [s, d] = loudness.each_ref().map(judge);
    [s[0].min(d[0]), s[1].min(d[1])]
}

/// RMS of each stretch without the channel's mean.
fn loudness(channel: &[f32], stretch: usize) -> Vec<f64> {
    let mean = sum(channel, |v| v) / channel.len() as f64;
    let power = |part: &[f32]| sum(part, |v| (v - mean).powi(2));
    channel
        .chunks(stretch)
        .map(|part| (power(part) / part.len() as f64).sqrt())
        .collect()
}

/// Whether start and end lie well below the loudest stretch, on both channels.
fn silent_ends(loudness: &[Vec<f64>; 2]) -> [bool; 2] {
    let judge = |loudness: &Vec<f64>| {
        let loudest = loudness
            .iter()
            .copied()
            .fold(0.0, |m: f64, v| if v > m { v } else { m });
        let quiet = |value: Option<&f64>| value.is_some_and(|&v| v < SILENT * loudest);
        [quiet(loudness.first()), quiet(loudness.last())]
    };
    let [first, second] = loudness.each_ref().map(judge);
    [first[0] && second[0], first[1] && second[1]]
}

/// A window of ones with raised-cosine flanks over the given parts of its length.
fn taper(n: usize, at_start: f64, at_end: f64) -> Vec<f64> {
    let flank = |i: usize, part: f64| {
        let length = part * n as f64;
        let x = i as f64 + 0.5;
        if x >= length {
            1.0
        } else {
            0.5 - 0.5 * (std::f64::consts::PI * x / length).cos()
        }
    };
    (0..n)
        .map(|i| flank(i, at_start) * flank(n - 1 - i, at_end))
        .collect()
}

/// By how much the mean over bins scatters more than bins do, formula (S6): `sounding` is where the signal is.
fn inflation(window: &[f64], sounding: Range<usize>) -> f64 {
    let squares = |part: &[f64]| part.iter().map(|w| w * w).sum::<f64>();
    let (silent, signal) = (&window[..sounding.start], &window[sounding.clone()]);
    let (fourth, second) = signal.iter().fold((0.0, 0.0), |(fourth, second), w| {
        let square = w * w;
        (fourth + square * square, second + square)
    });
    let all = squares(silent) + second + squares(&window[sounding.end..]);
    window.len() as f64 * fourth / (all * second)
}

/// The longest even length up to `n` that has no prime factor above 13, which transforms fast. A few milliseconds at a
/// silent end are lost. Filling up with zeros instead would put a step at the end of a recording with an offset, whose
/// spectrum looks like noise.
fn smooth_even_length(n: usize) -> usize {
    let smooth = |mut m: usize| {
        for p in [2, 3, 5, 7, 11, 13] {
            while m.is_multiple_of(p) {
                m /= p;
            }
        }
        m == 1
    };
    let mut m = n - n % 2;
    while !smooth(m) {
        m -= 2;
    }
    m
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn smooth_lengths() {
        for (n, expected) in [
            (480_000, 480_000),
            (480_001, 480_000),
            (7, 6),
            (231_246, 231_000),
        ] {
            assert_eq!(smooth_even_length(n), expected);
        }
    }

    /// Raised cosine: C_1 = 2/3, C_2 = 1/6 (textbook), so the inflation is 1 + 2·(4/9 + 1/36).
    #[test]
    fn inflation_of_the_raised_cosine() {
        let hann = taper(4096, 0.5, 0.5);
        assert!((inflation(&hann, 0..4096) - (1.0 + 2.0 * (4.0 / 9.0 + 1.0 / 36.0))).abs() < 1e-6);
        assert!((inflation(&taper(4096, 0.0, 0.0), 0..4096) - 1.0).abs() < 1e-12);
    }
}
