//! What arrives when, and how much of each band: echoes and missing bands.

use realfft::RealFftPlanner;
use rustfft::FftPlanner;
use rustfft::num_complex::Complex64;

use super::follow::Follow;

/// Bands in which arrivals are looked for, Hz: above the resonances of drivers, which ring, and wide enough that arrivals a
/// millisecond apart are two.
const BANDS_HZ: [(f64, f64); 3] = [(2e3, 6e3), (6e3, 10e3), (10e3, 14e3)];
/// Bins below this share of a band's strongest power were hardly played.
const PLAYED: f64 = 1e-4;

/// A second arrival.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Echo {
    /// How long after the first, s.
    pub after_s: f64,
    /// Amplitude relative to the first, dB; the least over the bands that were looked at.
    pub level_db: f64,
    /// The same for what comes another such time later, dB: of a loop, about twice `level_db`.
    pub next_db: f64,
}

/// The strongest arrival between two times after the first, in seconds, that every band has and that is not in the stimulus
/// itself, formula (S14). `None` if less than two bands were played.
pub fn echo(
    played: &[f32],
    recorded: &[f32],
    sample_rate_hz: f64,
    from_s: f64,
    to_s: f64,
) -> Option<Echo> {
    let size = (played.len() + recorded.len()).next_power_of_two();
    let forward = RealFftPlanner::<f64>::new().plan_fft_forward(size);
    let transform = |samples: &[f32]| {
        let mut time = vec![0.0; size];
        for (slot, &v) in time.iter_mut().zip(samples) {
            *slot = f64::from(v);
        }
        let mut bins = forward.make_output_vec();
        forward.process(&mut time, &mut bins).ok().map(|()| bins)
    };
    let (x, y) = (transform(played)?, transform(recorded)?);
    let bin_hz = sample_rate_hz / size as f64;
    let mut planner = FftPlanner::new();
    // Level against lag in steps of a quarter of a millisecond, the least over the bands.
    let n_steps = (2.0 * to_s / STEP_S) as usize + 2;
    let mut least = vec![f64::INFINITY; n_steps];
    let mut n_bands = 0;
    for (low_hz, high_hz) in BANDS_HZ {
        let (first, last) = ((low_hz / bin_hz) as usize, (high_hz / bin_hz) as usize);
        if last >= x.len() {
            continue;
        }
        let strongest = x[first..last]
            .iter()
            .map(|v| v.norm_sqr())
            .fold(0.0, |m: f64, v| if v > m { v } else { m });
        let n_played = x[first..last]
            .iter()
            .filter(|v| v.norm_sqr() > PLAYED * strongest)
            .count();
        if strongest <= 0.0 || n_played * 8 < last - first {
            continue;
        }
        let mut respond = |answer: &[Complex64]| {
            let n = last - first;
            let mut bins: Vec<Complex64> = (first..last)
                .map(|k| {
                    let weight =
                        0.5 - 0.5 * (std::f64::consts::TAU * (k - first) as f64 / n as f64).cos();
                    answer[k] * x[k].conj() / (x[k].norm_sqr() + PLAYED * strongest) * weight
                })
                .collect();
            planner.plan_fft_inverse(n).process(&mut bins);
            levels(&bins, size as f64 / sample_rate_hz, n_steps)
        };
        let (heard, own) = (respond(&y), respond(&x));
        for ((slot, level), own) in least.iter_mut().zip(heard).zip(own) {
            // What the stimulus does by itself (periods, gaps between lines) is no arrival.
            let level = if own > OWN * level { 0.0 } else { level };
            if level < *slot {
                *slot = level;
            }
        }
        n_bands += 1;
    }
    if n_bands < 2 {
        return None;
    }
    let (from, to) = ((from_s / STEP_S).ceil() as usize, (to_s / STEP_S) as usize);
    let (index, &level) = least
        .iter()
        .enumerate()
        .take(to + 1)
        .skip(from)
        .max_by(|a, b| a.1.total_cmp(b.1))?;
    let next = (2 * index)
        .checked_sub(1)
        .and_then(|at| least.get(at..(at + 4).min(n_steps)))
        .map_or(0.0, |part| {
            part.iter()
                .copied()
                .fold(0.0, |m: f64, v| if v > m { v } else { m })
        });
    let db = |power: f64| 10.0 * (power + 1e-20).log10();
    Some(Echo {
        after_s: index as f64 * STEP_S,
        level_db: db(level),
        next_db: db(next),
    })
}

/// Steps of lag, s.
const STEP_S: f64 = 2.5e-4;
/// An arrival has to be this much above what the stimulus has there by itself (both relative to their first), power.
const OWN: f64 = 0.1;

/// Power relative to the strongest, from that one on, the largest in each step.
fn levels(response: &[Complex64], length_s: f64, n_steps: usize) -> Vec<f64> {
    let n = response.len();
    let Some((main, top)) = response
        .iter()
        .map(|v| v.norm_sqr())
        .enumerate()
        .max_by(|a, b| a.1.total_cmp(&b.1))
    else {
        return vec![];
    };
    let sample_s = length_s / n as f64;
    let mut out = vec![0.0; n_steps];
    for i in 0..n {
        let step = (i as f64 * sample_s / STEP_S).round() as usize;
        let Some(slot) = out.get_mut(step) else {
            break;
        };
        let power = response[(main + i) % n].norm_sqr() / top;
        if power > *slot {
            *slot = power;
        }
    }
    out
}

/// How much of one band arrived.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BandGain {
    /// Middle of the band, Hz.
    pub frequency_hz: f64,
    /// Recorded over played, dB.
    pub gain_db: f64,
}

/// Frames of one block, and bins that make one band: a hundredth of the sample rate.
const BLOCK: usize = 1600;
const BINS: usize = 16;

/// Gain of the bands of a hundredth of the sample rate each that were played, formula (S15).
///
/// Each block counts in a band by the power that was played there and then, so that noise from before and after does not.
pub fn band_gains(
    played: &[f32],
    recorded: &[f32],
    follow: &Follow,
    sample_rate_hz: f64,
) -> Vec<BandGain> {
    let Some(global) = follow.delay_frames else {
        return vec![];
    };
    let plan = RealFftPlanner::<f64>::new().plan_fft_forward(BLOCK);
    let n_bands = BLOCK / 2 / BINS;
    let mut sums = vec![(0.0, 0.0); n_bands];
    let mut next_window = 0;
    let mut beyond = 0.0;
    let (mut x, mut y) = (plan.make_output_vec(), plan.make_output_vec());
    for start in (follow.sounding.0..follow.sounding.1).step_by(BLOCK / 2) {
        while let Some(window) = follow.windows.get(next_window)
            && window.middle() <= (start + BLOCK / 2) as f64
        {
            beyond = window.delay_frames.unwrap_or(beyond);
            next_window += 1;
        }
        let lag = (global + beyond).round() as isize;
        for (samples, lag, out) in [(played, 0, &mut x), (recorded, lag, &mut y)] {
            let mut time: Vec<f64> = (0..BLOCK)
                .map(|i| {
                    let sample = usize::try_from((start + i) as isize + lag)
                        .ok()
                        .and_then(|n| samples.get(n))
                        .map_or(0.0, |&v| f64::from(v));
                    let turn = std::f64::consts::TAU * (i as f64 + 0.5) / BLOCK as f64;
                    // Raised cosine squared: its side lobes fall fast enough that a loud low wave is nothing at the top.
                    sample * (0.5 - 0.5 * turn.cos()).powi(2)
                })
                .collect();
            let done = plan.process(&mut time, out);
            debug_assert!(done.is_ok(), "buffers come from the plan: {done:?}");
        }
        for (band, sum) in sums.iter_mut().enumerate() {
            let power = |bins: &[Complex64]| {
                bins[band * BINS..(band + 1) * BINS]
                    .iter()
                    .map(|v| v.norm_sqr())
                    .sum::<f64>()
            };
            let (px, py) = (power(&x), power(&y));
            sum.0 += px * px;
            sum.1 += px * py;
        }
    }
    let strongest = sums
        .iter()
        .map(|s| s.0)
        .fold(0.0, |m: f64, v| if v > m { v } else { m });
    sums.iter()
        .enumerate()
        .filter(|(_, s)| s.0 > PLAYED * PLAYED * strongest && s.0 > 0.0)
        .map(|(band, s)| BandGain {
            frequency_hz: (band as f64 + 0.5) * BINS as f64 * sample_rate_hz / BLOCK as f64,
            gain_db: 10.0 * (s.1 / s.0 + 1e-20).log10(),
        })
        .collect()
}
