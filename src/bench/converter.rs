//! Hum, noise, clipping and rounding: what happens to one channel's samples after the linear parts.

use std::f64::consts::TAU;

use rand_distr::{Distribution, StandardNormal};
use rand_pcg::Pcg64;

use super::{Channel, Noise};

/// Hum as both channels share it.
pub(super) struct Hum {
    /// Mains frequency relative to the sample rate.
    pub(super) cycles_per_sample: f64,
    /// Where in its turn each harmonic starts, radian.
    pub(super) phases_rad: Vec<f64>,
}

impl Channel {
    /// Turns a signal (in full scale) into samples. `playing` is where the stimulus plays.
    pub(super) fn convert(
        &self,
        mut signal: Vec<f64>,
        playing: std::ops::Range<usize>,
        hum: &Hum,
        generator: &mut Pcg64,
    ) -> Vec<f32> {
        let noise_rms = self.noise_rms(&signal[playing]);
        for (harmonic, (&peak, &phase_rad)) in self.hum_peak.iter().zip(&hum.phases_rad).enumerate()
        {
            let step_rad = TAU * hum.cycles_per_sample * (harmonic + 1) as f64;
            for (index, sample) in signal.iter_mut().enumerate() {
                *sample += peak * (step_rad * index as f64 + phase_rad).sin();
            }
        }
        if noise_rms > 0.0 {
            for sample in &mut signal {
                let normal: f64 = StandardNormal.sample(generator);
                *sample += noise_rms * normal;
            }
        }
        signal
            .into_iter()
            .map(|sample| self.sampled(sample))
            .collect()
    }

    fn noise_rms(&self, signal: &[f64]) -> f64 {
        match self.noise {
            Noise::Silent => 0.0,
            Noise::Rms(rms) => rms,
            Noise::BelowSignalDb(_) if signal.is_empty() => 0.0,
            Noise::BelowSignalDb(db) => {
                let mean_square = signal.iter().map(|v| v * v).sum::<f64>() / signal.len() as f64;
                mean_square.sqrt() * 10.0_f64.powf(-db / 20.0)
            }
        }
    }

    fn sampled(&self, sample: f64) -> f32 {
        let clipped = self
            .clip_level
            .map_or(sample, |level| sample.clamp(-level, level));
        let rounded = self.bits.map_or(clipped, |bits| {
            let steps = f64::from(1_u32 << (bits - 1));
            (clipped * steps).round().clamp(-steps, steps - 1.0) / steps
        });
        rounded as f32
    }
}
