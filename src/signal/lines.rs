//! Power of single lines in a short stretch, on a fine grid of frequencies.

use num_complex::Complex64;
use realfft::RealFftPlanner;

use super::correlate::fast_length;

/// Points of the grid in the width 1/T of the stretch's resolution, at least: half way between two a line of a raised cosine is down
/// by 0.1 dB.
const FINE: usize = 4;

/// Mean squares of the waves in a stretch.
#[derive(Clone, Debug, PartialEq)]
pub struct Lines {
    bin_hz: f64,
    powers: Vec<f64>,
}

impl Lines {
    /// Of samples under a raised cosine, whose sum is half their number.
    pub fn of(windowed_samples: &[f64], sample_rate_hz: f64) -> Self {
        let n = windowed_samples.len();
        let size = fast_length(FINE * n);
        let plan = RealFftPlanner::<f64>::new().plan_fft_forward(size);
        let mut time = vec![0.0; size];
        time[..n].copy_from_slice(windowed_samples);
        let mut bins = plan.make_output_vec();
        let done = plan.process(&mut time, &mut bins);
        debug_assert!(done.is_ok(), "buffers come from the plan: {done:?}");
        let half_sum = 0.5 * n as f64;
        let power = |bin: &Complex64| 2.0 * bin.norm_sqr() / (half_sum * half_sum);
        Self {
            bin_hz: sample_rate_hz / size as f64,
            powers: bins.iter().map(power).collect(),
        }
    }

    /// Mean square of the wave nearest to a frequency, relative to full scale squared.
    pub fn power(&self, frequency_hz: f64) -> f64 {
        let k = (frequency_hz / self.bin_hz).round() as usize;
        self.powers.get(k).copied().unwrap_or(0.0)
    }

    /// Frequency and power of the strongest wave so far around a frequency, Hz.
    pub fn strongest(&self, frequency_hz: f64, around_hz: f64) -> Option<(f64, f64)> {
        let bin = |hz: f64| (hz / self.bin_hz).round() as usize;
        let (first, last) = (bin(frequency_hz - around_hz), bin(frequency_hz + around_hz));
        let part = self.powers.get(first..=last)?;
        let (k, power) = part.iter().enumerate().max_by(|a, b| a.1.total_cmp(b.1))?;
        Some(((first + k) as f64 * self.bin_hz, *power))
    }
}
