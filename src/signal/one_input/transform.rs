//! Transforms of stretches of the recording.

use std::sync::Arc;

use num_complex::Complex64;
use realfft::{RealFftPlanner, RealToComplex};

/// Transforms stretches of one length, under a window or none.
pub(super) struct Transform {
    plan: Arc<dyn RealToComplex<f64>>,
    time: Vec<f64>,
    scratch: Vec<Complex64>,
    /// Bins 0 … n/2 of the last stretch.
    pub bins: Vec<Complex64>,
}

impl Transform {
    pub fn new(n: usize) -> Self {
        let plan = RealFftPlanner::<f64>::new().plan_fft_forward(n);
        Self {
            time: plan.make_input_vec(),
            scratch: plan.make_scratch_vec(),
            bins: plan.make_output_vec(),
            plan,
        }
    }

    pub fn len(&self) -> usize {
        self.time.len()
    }

    /// The bins of as many samples as the transform is long, each times its weight.
    pub fn of(&mut self, samples: impl Iterator<Item = f64>) -> &[Complex64] {
        for (slot, sample) in self.time.iter_mut().zip(samples) {
            *slot = sample;
        }
        let done =
            self.plan
                .process_with_scratch(&mut self.time, &mut self.bins, &mut self.scratch);
        debug_assert!(done.is_ok(), "buffers come from the plan: {done:?}");
        &self.bins
    }
}

/// The raised cosine over n samples; shifted by half its length it adds up to 1.
pub(super) fn raised_cosine(n: usize) -> Vec<f64> {
    let turn = std::f64::consts::TAU / n as f64;
    (0..n)
        .map(|i| 0.5 - 0.5 * (turn * i as f64).cos())
        .collect()
}

/// e^(jφ).
pub(super) fn turn(radian: f64) -> Complex64 {
    Complex64::from_polar(1.0, radian)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pieces_half_a_length_apart_add_up() {
        let window = raised_cosine(1_000);
        for i in 0..500 {
            assert!((window[i] + window[i + 500] - 1.0).abs() < 1e-12, "{i}");
        }
    }
}
