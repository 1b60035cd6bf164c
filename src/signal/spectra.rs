//! Auto and cross spectra of the two channels: one transform of the whole take, or of blocks where it is long.

use num_complex::Complex64;
use realfft::{RealFftPlanner, RealToComplex};
use std::sync::Arc;

use super::ratio::SignalError;
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
}

impl Spectra {
    pub fn n_bins(&self) -> usize {
        self.s11.len()
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
        let (quiet_start, quiet_end) = silent_ends(source, driver, sample_rate_hz);
        let size = smooth_even_length(n);
        let start = if quiet_start && !quiet_end {
            n - size
        } else {
            0
        };
        let window = taper(
            size,
            if quiet_start { 0.0 } else { TAPER },
            if quiet_end { 0.0 } else { TAPER },
        );
        return accumulate(source, driver, sample_rate_hz, &window, &[start], watcher);
    }
    // Periodic raised cosine at half overlap: the squared weights of all blocks sum to a constant.
    let window = taper(BLOCK, 0.5, 0.5);
    let mut starts: Vec<usize> = (0..=n - BLOCK).step_by(BLOCK / 2).collect();
    // The rest at the end is covered by one more block that overlaps more.
    if starts.last().is_none_or(|&last| last + BLOCK < n) {
        starts.push(n - BLOCK);
    }
    accumulate(source, driver, sample_rate_hz, &window, &starts, watcher)
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
    window: &[f64],
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
        s11: vec![0.0; n_bins],
        s22: vec![0.0; n_bins],
        s12: vec![Complex64::default(); n_bins],
        n_blocks: starts.len(),
        inflation: inflation(window),
    };
    for (i, &start) in starts.iter().enumerate() {
        if watcher.at("spectra", i as f64 / starts.len() as f64) == Continue::No {
            return Err(SignalError::Cancelled);
        }
        let part = start..start + window.len();
        transform(
            &plan,
            &source[part.clone()],
            window,
            &mut time,
            &mut scratch,
            &mut x1,
        );
        transform(
            &plan,
            &driver[part],
            window,
            &mut time,
            &mut scratch,
            &mut x2,
        );
        for k in 0..n_bins {
            sums.s11[k] += x1[k].norm_sqr();
            sums.s22[k] += x2[k].norm_sqr();
            sums.s12[k] += x2[k] * x1[k].conj();
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
    let mean = samples.iter().map(|&v| f64::from(v)).sum::<f64>() / samples.len() as f64;
    for ((slot, &sample), weight) in time.iter_mut().zip(samples).zip(window) {
        *slot = (f64::from(sample) - mean) * weight;
    }
    let done = plan.process_with_scratch(time, out, scratch);
    debug_assert!(done.is_ok(), "buffers come from the plan: {done:?}");
}

/// Whether start and end lie well below the loudest stretch, on both channels.
fn silent_ends(source: &[f32], driver: &[f32], sample_rate_hz: f64) -> (bool, bool) {
    let stretch = ((STRETCH_S * sample_rate_hz) as usize).clamp(1, source.len());
    let judge = |channel: &[f32]| {
        let mean = channel.iter().map(|&v| f64::from(v)).sum::<f64>() / channel.len() as f64;
        let loudness: Vec<f64> = channel
            .chunks(stretch)
            .map(|part| {
                (part
                    .iter()
                    .map(|&v| (f64::from(v) - mean).powi(2))
                    .sum::<f64>()
                    / part.len() as f64)
                    .sqrt()
            })
            .collect();
        let loudest = loudness
            .iter()
            .copied()
            .fold(0.0, |m: f64, v| if v > m { v } else { m });
        let quiet = |value: Option<&f64>| value.is_some_and(|&v| v < SILENT * loudest);
        (quiet(loudness.first()), quiet(loudness.last()))
    };
    let (first, second) = (judge(source), judge(driver));
    (first.0 && second.0, first.1 && second.1)
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

/// Σ|C_m|² with C_m the transform of the squared window, formula (S6). Lags beyond a few bins add nothing.
fn inflation(window: &[f64]) -> f64 {
    let n = window.len() as f64;
    let total: f64 = window.iter().map(|w| w * w).sum();
    let mut sum = 1.0;
    for lag in 1..=4 {
        let step = Complex64::from_polar(1.0, -std::f64::consts::TAU * f64::from(lag) / n);
        let (mut turn, mut c) = (Complex64::new(1.0, 0.0), Complex64::default());
        for w in window {
            c += turn * (w * w);
            turn *= step;
        }
        sum += 2.0 * (c / total).norm_sqr();
    }
    sum
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
        assert!((inflation(&hann) - (1.0 + 2.0 * (4.0 / 9.0 + 1.0 / 36.0))).abs() < 1e-6);
        assert!((inflation(&taper(4096, 0.0, 0.0)) - 1.0).abs() < 1e-12);
    }
}
