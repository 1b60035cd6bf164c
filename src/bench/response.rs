//! A linear response applied to a whole stimulus, exactly.

use num_complex::Complex64;
use realfft::RealFftPlanner;

use super::BenchError;

/// Silence behind the stimulus, so that what rings on does not come round to the beginning: a resonance at 25 Hz with a Q
/// of 15 rings with a time constant of 0.19 s and is down by e⁻³¹ after six seconds.
const SILENCE_S: f64 = 6.0;

/// The bin at zero frequency is evaluated this share of a bin above, since a circuit's impedance is only defined for
/// positive frequencies.
const NEAR_DC: f64 = 1e-3;

/// A stimulus, transformed.
pub(super) struct Spectrum {
    n_samples: usize,
    n_padded: usize,
    bin_hz: f64,
    bins: Vec<Complex64>,
    planner: RealFftPlanner<f64>,
}

/// The smallest length with only the factors 2, 3 and 5 (at most one 5, two 3) that holds `n`.
fn quick_length(n: usize) -> usize {
    let doubled = |odd: usize| {
        let mut length = 2 * odd;
        while length < n {
            length *= 2;
        }
        length
    };
    [1, 3, 5, 9, 15].into_iter().map(doubled).min().unwrap_or(n)
}

fn failed(error: realfft::FftError) -> BenchError {
    BenchError::Transform(error.to_string())
}

impl Spectrum {
    pub(super) fn of(stimulus: &[f64], sample_rate_hz: f64) -> Result<Self, BenchError> {
        let n_padded = quick_length(stimulus.len() + (SILENCE_S * sample_rate_hz) as usize);
        let mut planner = RealFftPlanner::new();
        let forward = planner.plan_fft_forward(n_padded);
        let mut padded = vec![0.0; n_padded];
        padded[..stimulus.len()].copy_from_slice(stimulus);
        let mut bins = forward.make_output_vec();
        forward.process(&mut padded, &mut bins).map_err(failed)?;
        Ok(Self {
            n_samples: stimulus.len(),
            n_padded,
            bin_hz: sample_rate_hz / n_padded as f64,
            bins,
            planner,
        })
    }

    /// What the two channels get, as long as the stimulus. `response` gives both channels' response at a frequency in Hz.
    pub(super) fn through(
        &mut self,
        response: impl Fn(f64) -> [Complex64; 2],
    ) -> Result<[Vec<f64>; 2], BenchError> {
        let inverse = self.planner.plan_fft_inverse(self.n_padded);
        let scale = 1.0 / self.n_padded as f64;
        let mut spectra = [
            Vec::with_capacity(self.bins.len()),
            Vec::with_capacity(self.bins.len()),
        ];
        for (index, bin) in self.bins.iter().enumerate() {
            let position = if index == 0 { NEAR_DC } else { index as f64 };
            let at_bin = response(self.bin_hz * position);
            for (spectrum, value) in spectra.iter_mut().zip(at_bin) {
                spectrum.push(bin * value * scale);
            }
        }
        let mut scratch = inverse.make_scratch_vec();
        let mut back = |mut spectrum: Vec<Complex64>| {
            // The two ends of a real signal's spectrum are real: of a response there, only the real part is heard.
            if let Some(first) = spectrum.first_mut() {
                first.im = 0.0;
            }
            if let Some(last) = spectrum.last_mut() {
                last.im = 0.0;
            }
            let mut samples = inverse.make_output_vec();
            inverse
                .process_with_scratch(&mut spectrum, &mut samples, &mut scratch)
                .map_err(failed)?;
            samples.truncate(self.n_samples);
            Ok(samples)
        };
        let [first, second] = spectra;
        Ok([back(first)?, back(second)?])
    }
}
