//! Cross-correlation: the lag at which one signal is most like another.

use std::borrow::Cow;

use realfft::RealFftPlanner;

/// Beyond this many frames together, the first look uses every fourth: the whole would take longer than the rest.
const WHOLE_AT_MOST: usize = 1 << 20;
/// The lag at which the whole recording is most like the stimulus, and the sign of the likeness.
pub(super) fn global_delay(played: &[f32], recorded: &[f32]) -> Option<(isize, f64)> {
    let step = if played.len() + recorded.len() > WHOLE_AT_MOST {
        4
    } else {
        1
    };
    let thin = |samples: &[f32]| -> Vec<f64> {
        samples
            .chunks(step)
            .map(|part| part.iter().map(|&v| f64::from(v)).sum())
            .collect()
    };
    let recorded_thin = thin(recorded);
    let mean = recorded_thin.iter().sum::<f64>() / recorded_thin.len().max(1) as f64;
    let centred: Vec<f64> = recorded_thin.iter().map(|v| v - mean).collect();
    let correlation = correlate(&thin(played), &centred)?;
    let (index, value) = correlation
        .values
        .iter()
        .enumerate()
        .max_by(|a, b| a.1.abs().total_cmp(&b.1.abs()))?;
    if *value == 0.0 {
        return None;
    }
    Some((correlation.lag(index) * step as isize, value.signum()))
}

/// Σ b(n + lag)·a(n) for every lag at which they overlap.
pub(super) struct Correlation {
    pub values: Vec<f64>,
    n_forward: usize,
}

impl Correlation {
    /// The lag that an index stands for.
    pub fn lag(&self, index: usize) -> isize {
        if index < self.n_forward {
            index as isize
        } else {
            index as isize - self.values.len() as isize
        }
    }
}

/// The correlation of two signals; `None` if either is empty.
pub(super) fn correlate(a: &[f64], b: &[f64]) -> Option<Correlation> {
    if a.is_empty() || b.is_empty() {
        return None;
    }
    let size = (a.len() + b.len()).next_power_of_two();
    let mut planner = RealFftPlanner::<f64>::new();
    let forward = planner.plan_fft_forward(size);
    let transform = |samples: &[f64]| {
        let mut time = vec![0.0; size];
        time[..samples.len()].copy_from_slice(samples);
        let mut bins = forward.make_output_vec();
        forward.process(&mut time, &mut bins).ok().map(|()| bins)
    };
    let (a_bins, mut b_bins) = (transform(a)?, transform(b)?);
    for (b_bin, a_bin) in b_bins.iter_mut().zip(&a_bins) {
        *b_bin *= a_bin.conj();
    }
    b_bins[0].im = 0.0;
    if let Some(last) = b_bins.last_mut() {
        last.im = 0.0;
    }
    let inverse = planner.plan_fft_inverse(size);
    let mut values = inverse.make_output_vec();
    inverse.process(&mut b_bins, &mut values).ok()?;
    let n_forward = b.len();
    Some(Correlation { values, n_forward })
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
    let wide = |samples: &[f32]| samples.iter().map(|&v| f64::from(v)).collect::<Vec<f64>>();
    let correlation = correlate(&wide(wanted), &wide(&place))?;
    let best = (0..2 * reach_frames).max_by(|&a, &b| {
        let [a, b] = [a, b].map(|i| correlation.values[i].abs());
        a.total_cmp(&b)
    })?;
    Some((from + best as isize - stretch.start as isize) as f64)
}
