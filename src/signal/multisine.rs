//! The periodic multisine on odd lines.
//!
//! Lines and their use: Pintelon, Schoukens: System Identification, 2nd ed., Wiley-IEEE 2012 (from memory). Phases:
//! Schroeder, IEEE Trans. Inf. Theory 16(1), 1970, 85–89 (from memory; crest factors confirmed by computation).

use std::f64::consts::TAU;

use super::stimulus::{Envelope, StimulusError};

/// How the power of the lines goes with frequency.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub enum Tilt {
    /// The same power in every line.
    Flat,
    /// Power ∝ 1/f, the spectrum of an exponential sweep: the same power in every octave.
    Pink,
}

/// Odd multiples of the fundamental 1/period, with Schroeder's phases, formula (S3).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Multisine {
    /// Lowest line allowed, Hz.
    pub start_hz: f64,
    /// Highest line allowed, Hz.
    pub stop_hz: f64,
    /// Length of one period, s; rounded to whole samples.
    pub period_s: f64,
    /// How many periods.
    pub n_periods: usize,
    /// Power against frequency.
    pub tilt: Tilt,
    /// Level, fades and silence.
    pub envelope: Envelope,
}

impl Default for Multisine {
    fn default() -> Self {
        Self {
            start_hz: 5.0,
            stop_hz: 20_000.0,
            period_s: 4.0,
            n_periods: 3,
            tilt: Tilt::Pink,
            envelope: Envelope::default(),
        }
    }
}

impl Multisine {
    /// The odd multiples of the fundamental that lie in the band, as multiples.
    fn lines(&self, fundamental_hz: f64) -> Vec<usize> {
        let first = (self.start_hz / fundamental_hz).ceil() as usize | 1;
        let last = (self.stop_hz / fundamental_hz).floor() as usize;
        (first..=last).step_by(2).collect()
    }

    /// The samples, full scale 1.0, silence included. The peak of the periodic part is at the envelope's level.
    ///
    /// # Errors
    /// See [`StimulusError`].
    pub fn samples(&self) -> Result<Vec<f64>, StimulusError> {
        let one = self.period()?;
        let sounding = one.iter().copied().cycle();
        let n_frames = one.len() * self.n_periods;
        Ok(self.envelope.wrap(sounding.take(n_frames).collect()))
    }

    /// One period, full scale 1.0, to be played over and over: without fades and silence.
    ///
    /// # Errors
    /// See [`StimulusError`].
    pub fn period(&self) -> Result<Vec<f64>, StimulusError> {
        self.envelope.check(
            self.start_hz,
            self.stop_hz,
            self.period_s * self.n_periods as f64,
        )?;
        let n_period = self.envelope.n_samples(self.period_s);
        let fundamental_hz = self.envelope.sample_rate_hz / n_period as f64;
        let lines = self.lines(fundamental_hz);
        if lines.is_empty() {
            let (start_hz, stop_hz) = (self.start_hz, self.stop_hz);
            return Err(StimulusError::NoLines {
                spacing_hz: fundamental_hz,
                start_hz,
                stop_hz,
            });
        }
        let mut one = one_period(n_period, &lines, self.tilt);
        let loudest = one
            .iter()
            .fold(0.0_f64, |m, v| if v.abs() > m { v.abs() } else { m });
        let scale = self.envelope.peak() / loudest;
        for sample in &mut one {
            *sample *= scale;
        }
        Ok(one)
    }
}

/// One period of `n` samples by an inverse transform of the lines.
fn one_period(n: usize, lines: &[usize], tilt: Tilt) -> Vec<f64> {
    let power: Vec<f64> = match tilt {
        Tilt::Flat => vec![1.0; lines.len()],
        Tilt::Pink => lines.iter().map(|&k| 1.0 / k as f64).collect(),
    };
    let total: f64 = power.iter().sum();
    let mut spectrum = vec![rustfft::num_complex::Complex64::default(); n / 2 + 1];
    // Schroeder: the group delay grows in proportion to the power already used up; each step of one line adds
    // −2π · (share of the power below), and the share counts once for each line passed.
    let (mut phase_turns, mut share) = (0.0_f64, 0.0);
    for (&k, p) in lines.iter().zip(&power) {
        spectrum[k] =
            rustfft::num_complex::Complex64::from_polar(p.sqrt(), -TAU * phase_turns.fract());
        share += p / total;
        phase_turns += share;
    }
    let mut period = vec![0.0; n];
    let inverse = realfft::RealFftPlanner::<f64>::new().plan_fft_inverse(n);
    // Lengths agree by construction, and neither the DC nor the Nyquist bin carries a line.
    let done = inverse.process(&mut spectrum, &mut period);
    debug_assert!(done.is_ok(), "{done:?}");
    period
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Crest factors of odd lines 1, 3 … with Schroeder phases, computed independently in Python (finely
    /// oversampled): 10 lines 1.753, 31 lines 1.689, 100 lines 1.699.
    #[test]
    fn crest_factor_of_flat_odd_lines() {
        // Phases −πn²/N and this recursion differ by a constant delay only up to the choice of the first line.
        const METHOD: f64 = 0.06;
        for (n_lines, expected) in [(31, 1.689), (100, 1.699), (256, 1.699)] {
            let lines: Vec<usize> = (0..n_lines).map(|i| 2 * i + 1).collect();
            let x = one_period(1 << 15, &lines, Tilt::Flat);
            let rms = (x.iter().map(|v| v * v).sum::<f64>() / x.len() as f64).sqrt();
            let peak = x.iter().fold(0.0_f64, |m, v| m.max(v.abs()));
            assert!(
                (peak / rms - expected).abs() < METHOD,
                "{n_lines}: {}",
                peak / rms
            );
        }
    }

    #[test]
    fn only_odd_lines_in_the_band_carry_power() {
        let envelope = Envelope {
            lead_in_s: 0.0,
            tail_s: 0.0,
            fade_in_s: 0.0,
            fade_out_s: 0.0,
            ..Default::default()
        };
        let stimulus = Multisine {
            start_hz: 20.0,
            stop_hz: 200.0,
            period_s: 1.0,
            n_periods: 1,
            envelope,
            ..Default::default()
        };
        let mut x = stimulus.samples().unwrap();
        let plan = realfft::RealFftPlanner::<f64>::new().plan_fft_forward(x.len());
        let mut spectrum = plan.make_output_vec();
        plan.process(&mut x, &mut spectrum).unwrap();
        let strongest = spectrum.iter().map(|c| c.norm()).fold(0.0, f64::max);
        for (k, value) in spectrum.iter().enumerate() {
            let expected = (20..=200).contains(&k) && k % 2 == 1;
            assert_eq!(value.norm() > 1e-6 * strongest, expected, "line {k}");
        }
    }

    #[test]
    fn a_period_too_short_for_the_band_is_refused() {
        let stimulus = Multisine {
            start_hz: 21.0,
            stop_hz: 29.0,
            period_s: 0.1,
            ..Default::default()
        };
        assert!(matches!(
            stimulus.samples(),
            Err(StimulusError::NoLines { .. })
        ));
    }
}
