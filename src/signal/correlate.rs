//! Cross-correlation: the lag at which one signal is most like another.

use std::borrow::Cow;

use realfft::RealFftPlanner;

use super::single::Single;

/// Beyond this many frames together, the first look is at sums of a few frames each.
const WHOLE_AT_MOST: usize = 1 << 18;
/// Rate of those sums, Hz: they hold all but the highest octave of what drivers are measured with.
const THIN_RATE_HZ: f64 = 12_000.0;
/// Stretches of full rate by which the sums' delay is made finer, and how long each is, frames.
const N_FINE: usize = 8;
const FINE_LENGTH: usize = 8192;

/// The lag at which the whole recording is most like the stimulus, and the sign of the likeness.
pub(super) fn global_delay(
    played: &[f32],
    recorded: &[f32],
    sample_rate_hz: f64,
) -> Option<(isize, f64)> {
    let step = if played.len() + recorded.len() > WHOLE_AT_MOST {
        ((sample_rate_hz / THIN_RATE_HZ) as usize).max(1)
    } else {
        1
    };
    let thin = |samples: &[f32]| -> Vec<f32> {
        samples
            .chunks(step)
            .map(|part| part.iter().sum::<f32>())
            .collect()
    };
    let mut heard = thin(recorded);
    let mean = heard.iter().map(|&v| f64::from(v)).sum::<f64>() / heard.len().max(1) as f64;
    for v in &mut heard {
        *v -= mean as f32;
    }
    let sent = thin(played);
    let (n_sent, n_heard) = (sent.len(), heard.len());
    let values = correlate(&sent, &heard, n_sent + n_heard)?;
    drop((sent, heard));
    let (index, value) = values
        .iter()
        .enumerate()
        .max_by(|a, b| a.1.abs().total_cmp(&b.1.abs()))?;
    if *value == 0.0 {
        return None;
    }
    let lag = if index < n_heard {
        index as isize
    } else {
        index as isize - values.len() as isize
    };
    let (coarse, sign) = (lag * step as isize, f64::from(value.signum()));
    Some((finer(played, recorded, coarse, step, sign), sign))
}

/// The lag within a step of the sums at which some stretches are most alike.
fn finer(played: &[f32], recorded: &[f32], coarse: isize, step: usize, sign: f64) -> isize {
    if step == 1 {
        return coarse;
    }
    let apart = (played.len() / N_FINE).max(1);
    let reach = step as isize;
    let mut best = (coarse, 0.0);
    for lag in coarse - reach..=coarse + reach {
        let likeness: f64 = (0..played.len())
            .step_by(apart)
            .map(|start| {
                let sent = &played[start..(start + FINE_LENGTH).min(played.len())];
                let heard = part(recorded, start as isize + lag, sent.len());
                let products = sent.iter().zip(heard.iter());
                sign * products
                    .map(|(&a, &b)| f64::from(a) * f64::from(b))
                    .sum::<f64>()
            })
            .sum();
        if likeness > best.1 {
            best = (lag, likeness);
        }
    }
    best.0
}

/// The shortest even length of at least `n` that has no prime factor above 5, which transforms fast.
pub(super) fn fast_length(n: usize) -> usize {
    let smooth = |mut m: usize| {
        for p in [2, 3, 5] {
            while m.is_multiple_of(p) {
                m /= p;
            }
        }
        m == 1
    };
    let mut m = n.max(2).next_multiple_of(2);
    while !smooth(m) {
        m += 2;
    }
    m
}

/// Σ b(n + lag)·a(n), lags from 0 on, in a circle of at least so many frames; `None` if either is empty.
///
/// In single precision: 120 dB below the largest value, where noise of recordings is above −100.
pub(super) fn correlate(a: &[f32], b: &[f32], at_least: usize) -> Option<Vec<Single>> {
    if a.is_empty() || b.is_empty() {
        return None;
    }
    let size = fast_length(at_least.max(a.len()).max(b.len()));
    let mut planner = RealFftPlanner::<Single>::new();
    let forward = planner.plan_fft_forward(size);
    let mut time = vec![0.0; size];
    let mut transform = |samples: &[f32]| {
        for (slot, &sample) in time.iter_mut().zip(samples) {
            *slot = sample as Single;
        }
        time[samples.len()..].fill(0.0);
        let mut bins = forward.make_output_vec();
        forward.process(&mut time, &mut bins).ok().map(|()| bins)
    };
    let (a_bins, mut b_bins) = (transform(a)?, transform(b)?);
    for (b_bin, a_bin) in b_bins.iter_mut().zip(&a_bins) {
        *b_bin *= a_bin.conj();
    }
    drop(a_bins);
    b_bins[0].im = 0.0;
    if let Some(last) = b_bins.last_mut() {
        last.im = 0.0;
    }
    let inverse = planner.plan_fft_inverse(size);
    inverse.process(&mut b_bins, &mut time).ok()?;
    Some(time)
}

/// A part of the samples, with zeros where there are none.
pub(super) fn part(samples: &[f32], start: isize, length: usize) -> Cow<'_, [f32]> {
    if let Ok(from) = usize::try_from(start)
        && let Some(inside) = samples.get(from..from + length)
    {
        return Cow::Borrowed(inside);
    }
    let at = |i: usize| {
        usize::try_from(start + i as isize)
            .ok()
            .and_then(|index| samples.get(index))
            .copied()
            .unwrap_or(0.0)
    };
    Cow::Owned((0..length).map(at).collect())
}

/// Delay of one stretch of what was played, frames, looked for around an expected one: the largest likeness. `None` if the
/// stretch or its surroundings are empty. Finer than single windows about whole waves, coarser about fractions of a frame.
pub fn stretch_delay(
    played: &[f32],
    recorded: &[f32],
    stretch: std::ops::Range<usize>,
    around_frames: f64,
    reach_frames: usize,
) -> Option<f64> {
    let wanted = played.get(stretch.clone())?;
    let from = (stretch.start as f64 + around_frames) as isize - reach_frames as isize;
    let place = part(recorded, from, stretch.len() + 2 * reach_frames);
    // Without an overhang no lag up to twice the reach goes around the circle.
    let values = correlate(wanted, &place, place.len())?;
    let best = (0..2 * reach_frames).max_by(|&a, &b| {
        let [a, b] = [a, b].map(|i| values[i].abs());
        a.total_cmp(&b)
    })?;
    Some((from + best as isize - stretch.start as isize) as f64)
}
