//! How much of two channels' noise is the same noise.

use std::ops::Range;

use num_complex::Complex64;
use realfft::RealFftPlanner;

use super::floor::kaiser;

/// Frames of this many samples: fine enough for bands of 1 kHz at any rate.
const SIZE: usize = 1024;
/// Width of a band, Hz, and the lowest edge: hum is below.
const BAND_HZ: f64 = 1000.0;
const LOW_HZ: f64 = 1500.0;
/// Highest edge: converters' filters and noise shaping are above.
const HIGH_SHARE: f64 = 0.42;
const HIGH_HZ: f64 = 19_500.0;

/// What two channels share in one band.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Shared {
    /// ΣX2·X1*/√(Σ|X1|²·Σ|X2|²): 1 for the same noise, about 0 for independent ones.
    pub coherence: Complex64,
    /// Σ|X2|²/Σ|X1|².
    pub power_ratio: f64,
}

/// Coherence of the channels within stretches of a recording, in bands of 1 kHz. Empty if the stretches are too short.
pub fn shared_noise(
    source: &[f32],
    driver: &[f32],
    sample_rate_hz: f64,
    parts: &[Range<usize>],
) -> Vec<Shared> {
    let window = kaiser(SIZE);
    let plan = RealFftPlanner::<f64>::new().plan_fft_forward(SIZE);
    let mut scratch = plan.make_scratch_vec();
    let mut transform = |samples: &[f32]| {
        let mut time: Vec<f64> = samples
            .iter()
            .zip(&window)
            .map(|(&v, w)| f64::from(v) * w)
            .collect();
        let mut spectrum = plan.make_output_vec();
        let done = plan.process_with_scratch(&mut time, &mut spectrum, &mut scratch);
        debug_assert!(done.is_ok(), "buffers come from the plan: {done:?}");
        spectrum
    };
    let bin_hz = sample_rate_hz / SIZE as f64;
    let high_hz = if HIGH_SHARE * sample_rate_hz < HIGH_HZ {
        HIGH_SHARE * sample_rate_hz
    } else {
        HIGH_HZ
    };
    let n_bands = ((high_hz - LOW_HZ) / BAND_HZ) as usize;
    let mut sums = vec![(0.0, 0.0, Complex64::default()); n_bands];
    let mut n_frames = 0;
    for part in parts {
        let mut start = part.start;
        while start + SIZE <= part.end.min(source.len()) {
            let x1 = transform(&source[start..start + SIZE]);
            let x2 = transform(&driver[start..start + SIZE]);
            for (i, sum) in sums.iter_mut().enumerate() {
                let edge = |i: usize| ((LOW_HZ + BAND_HZ * i as f64) / bin_hz) as usize;
                for k in edge(i)..edge(i + 1) {
                    sum.0 += x1[k].norm_sqr();
                    sum.1 += x2[k].norm_sqr();
                    sum.2 += x2[k] * x1[k].conj();
                }
            }
            n_frames += 1;
            start += SIZE / 2;
        }
    }
    const FEWEST_FRAMES: usize = 16;
    if n_frames < FEWEST_FRAMES {
        return vec![];
    }
    sums.into_iter()
        .filter(|sum| sum.0 > 0.0 && sum.1 > 0.0)
        .map(|(s11, s22, s12)| Shared {
            coherence: s12 / (s11 * s22).sqrt(),
            power_ratio: s22 / s11,
        })
        .collect()
}
