//! The synchronized exponential sweep.
//!
//! Novák, Lotton, Simon: Synchronized Swept-Sine: Theory, Application, and Implementation. JAES 63(10), 2015, 786–798.

use super::stimulus::{Envelope, StimulusError};

/// x(t) = sin{2π·f1·L·e^(t/L)}, formula (S1), with f1·L a whole number so that it starts at a zero crossing.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SynchronizedSweep {
    /// Start frequency f1, Hz.
    pub start_hz: f64,
    /// Stop frequency f2, Hz.
    pub stop_hz: f64,
    /// Wanted length, s; the real one differs by up to ln(f2/f1)/(2·f1), formula (S2).
    pub duration_s: f64,
    /// Level, fades and silence.
    pub envelope: Envelope,
}

impl Default for SynchronizedSweep {
    fn default() -> Self {
        Self {
            start_hz: 5.0,
            stop_hz: 20_000.0,
            duration_s: 10.0,
            envelope: Envelope::default(),
        }
    }
}

impl SynchronizedSweep {
    /// The rate constant L in seconds, formula (S2): L = round(f1·T / ln(f2/f1)) / f1.
    ///
    /// At least one period of f1: below that the sweep would be shorter than its own first wave.
    pub fn rate_constant_s(&self) -> f64 {
        let periods =
            (self.start_hz * self.duration_s / (self.stop_hz / self.start_hz).ln()).round();
        if periods < 1.0 {
            1.0 / self.start_hz
        } else {
            periods / self.start_hz
        }
    }

    /// The samples, full scale 1.0, silence included.
    ///
    /// # Errors
    /// See [`StimulusError`].
    pub fn samples(&self) -> Result<Vec<f64>, StimulusError> {
        self.envelope
            .check(self.start_hz, self.stop_hz, self.duration_s)?;
        let rate_s = self.rate_constant_s();
        let length_s = rate_s * (self.stop_hz / self.start_hz).ln();
        // A start far below one period a sweep makes it much longer than wanted.
        self.envelope.check(self.start_hz, self.stop_hz, length_s)?;
        let n = self.envelope.n_samples(length_s);
        let (peak, cycles) = (self.envelope.peak(), self.start_hz * rate_s);
        let sounding = (0..n)
            .map(|i| {
                let t_s = i as f64 / self.envelope.sample_rate_hz;
                // Only the fraction of a turn matters, and keeping it small keeps the sine exact.
                let turns = cycles * (t_s / rate_s).exp();
                peak * (std::f64::consts::TAU * turns.fract()).sin()
            })
            .collect();
        Ok(self.envelope.wrap(sounding))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Novák et al.'s example as recomputed in Python: f1 20 Hz, f2 20 kHz, L 1.45 s gives f1·L = 29 and T = 10.016245 s.
    #[test]
    fn rate_constant_makes_whole_periods() {
        let sweep = SynchronizedSweep {
            start_hz: 20.0,
            stop_hz: 20e3,
            duration_s: 10.0,
            ..Default::default()
        };
        const ROUNDING: f64 = 1e-12;
        assert!((sweep.rate_constant_s() - 1.45).abs() < ROUNDING);
        const PRINTED_S: f64 = 0.5e-6;
        assert!((sweep.rate_constant_s() * 1000.0_f64.ln() - 10.016245).abs() < PRINTED_S);
    }

    #[test]
    fn starts_at_zero_and_keeps_its_level() {
        let envelope = Envelope {
            level_dbfs: -6.0,
            lead_in_s: 0.1,
            fade_in_s: 0.0,
            ..Default::default()
        };
        let sweep = SynchronizedSweep {
            envelope,
            duration_s: 1.0,
            ..Default::default()
        };
        let x = sweep.samples().unwrap();
        let start = 4800;
        assert!(x[..start].iter().all(|&v| v == 0.0));
        assert!(x[start].abs() < 1e-12 && x[start + 1] > 0.0);
        let peak = x.iter().fold(0.0_f64, |m, v| m.max(v.abs()));
        // The peak falls between samples by at most this much at 20 kHz of 48 kHz; at low frequencies it is hit.
        assert!((20.0 * peak.log10() + 6.0).abs() < 0.001, "{peak}");
    }

    #[test]
    fn refuses_what_cannot_be_played() {
        let bad = |change: fn(&mut SynchronizedSweep)| {
            let mut sweep = SynchronizedSweep::default();
            change(&mut sweep);
            sweep.samples().unwrap_err()
        };
        assert!(matches!(
            bad(|s| s.stop_hz = 30e3),
            StimulusError::Band { .. }
        ));
        assert!(matches!(
            bad(|s| s.start_hz = 0.0),
            StimulusError::Band { .. }
        ));
        assert!(matches!(
            bad(|s| s.duration_s = f64::NAN),
            StimulusError::Length { .. }
        ));
        assert!(matches!(
            bad(|s| s.envelope.level_dbfs = 3.0),
            StimulusError::Level { .. }
        ));
        assert!(matches!(
            bad(|s| s.envelope.fade_in_s = 11.0),
            StimulusError::Length { .. }
        ));
    }
}
