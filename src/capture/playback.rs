//! A stimulus that may be played: below the ceiling, and without a step at either end.

use std::sync::Arc;

/// Highest peak level that is played unless somebody raises it, dBFS. A headphone output of 2 V RMS at full scale then
/// stays below 0.5 V peak (common practice, no source).
pub const CEILING_DBFS: f64 = -15.0;

/// Largest sample at either end of a stimulus, relative to its peak: the first sample of a 5 Hz wave at 44.1 kHz is 0.0007.
const LARGEST_STEP: f64 = 0.001;

/// What is played on the left output, silence before and after included.
#[derive(Clone, Debug, PartialEq)]
pub struct Playback {
    sample_rate_hz: u32,
    /// Shared, so that the thread that plays them needs no copy.
    samples: Arc<[f32]>,
}

/// Why something is not played.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum PlaybackError {
    /// The peak is above the ceiling.
    #[error(
        "a peak of {peak_dbfs:.1} dBFS is above the ceiling of {ceiling_dbfs:.1} dBFS; lower the level, or raise the \
         ceiling (--ceiling) after making sure what that is in volts"
    )]
    AboveCeiling {
        /// Peak of the stimulus, dBFS.
        peak_dbfs: f64,
        /// The ceiling, dBFS.
        ceiling_dbfs: f64,
    },
    /// The stimulus begins or ends with a step, which would be heard as a click.
    #[error("the stimulus {0} with a step, which would click; give it silence or a fade there")]
    Step(&'static str),
    /// There is nothing to play, or something that is no number.
    #[error("the stimulus is empty or holds samples that are no numbers")]
    Unusable,
}

impl Playback {
    /// Checks a stimulus (full scale ±1) and keeps it.
    ///
    /// # Errors
    /// See [`PlaybackError`].
    pub fn new(
        stimulus: &[f64],
        sample_rate_hz: u32,
        ceiling_dbfs: f64,
    ) -> Result<Self, PlaybackError> {
        if stimulus.is_empty() || stimulus.iter().any(|sample| !sample.is_finite()) {
            return Err(PlaybackError::Unusable);
        }
        let peak = stimulus.iter().fold(
            0.0,
            |peak: f64, v| if v.abs() > peak { v.abs() } else { peak },
        );
        let peak_dbfs = 20.0 * peak.log10();
        // Rounding to f32 must not push a stimulus over a ceiling that it touches.
        const ROUNDING_DB: f64 = 1e-6;
        if peak_dbfs > ceiling_dbfs + ROUNDING_DB {
            return Err(PlaybackError::AboveCeiling {
                peak_dbfs,
                ceiling_dbfs,
            });
        }
        for (end, sample) in [("begins", stimulus.first()), ("ends", stimulus.last())] {
            if sample.is_some_and(|sample| sample.abs() > LARGEST_STEP * peak) {
                return Err(PlaybackError::Step(end));
            }
        }
        Ok(Self {
            sample_rate_hz,
            samples: stimulus.iter().map(|&sample| sample as f32).collect(),
        })
    }

    /// Nothing, for listening only; at least one sample.
    pub fn silence(duration_s: f64, sample_rate_hz: u32) -> Self {
        let n = (duration_s * f64::from(sample_rate_hz)).ceil();
        Self {
            sample_rate_hz,
            samples: vec![0.0; if n >= 1.0 { n as usize } else { 1 }].into(),
        }
    }

    /// Samples a second.
    pub fn sample_rate_hz(&self) -> u32 {
        self.sample_rate_hz
    }

    /// The samples of the left output.
    pub fn samples(&self) -> &[f32] {
        &self.samples
    }

    /// The same, for a thread that outlives this.
    #[cfg(feature = "audio")]
    pub(crate) fn shared(&self) -> Arc<[f32]> {
        Arc::clone(&self.samples)
    }

    /// Length, s.
    pub fn duration_s(&self) -> f64 {
        self.samples.len() as f64 / f64::from(self.sample_rate_hz)
    }

    /// Peak level, dBFS; −∞ for silence.
    pub fn peak_dbfs(&self) -> f64 {
        let peak = self.samples.iter().fold(
            0.0,
            |peak: f32, v| if v.abs() > peak { v.abs() } else { peak },
        );
        20.0 * f64::from(peak).log10()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::signal::{Envelope, SynchronizedSweep};

    fn sweep(level_dbfs: f64) -> Vec<f64> {
        SynchronizedSweep {
            duration_s: 0.5,
            envelope: Envelope {
                level_dbfs,
                ..Envelope::default()
            },
            ..SynchronizedSweep::default()
        }
        .samples()
        .unwrap()
    }

    #[test]
    fn the_ceiling_holds_to_the_last_bit() {
        let at = |level_dbfs| Playback::new(&sweep(level_dbfs), 48_000, CEILING_DBFS);
        assert!(at(CEILING_DBFS).is_ok());
        assert!(matches!(
            at(CEILING_DBFS + 0.1),
            Err(PlaybackError::AboveCeiling { .. })
        ));
        assert!((at(-30.0).unwrap().peak_dbfs() + 30.0).abs() < 0.01);
    }

    #[test]
    fn steps_and_nonsense_are_not_played() {
        let mut late = vec![0.0; 10];
        late.push(0.1);
        assert_eq!(
            Playback::new(&late, 48_000, 0.0),
            Err(PlaybackError::Step("ends"))
        );
        late.reverse();
        assert_eq!(
            Playback::new(&late, 48_000, 0.0),
            Err(PlaybackError::Step("begins"))
        );
        for bad in [&[][..], &[0.0, f64::NAN, 0.0]] {
            assert_eq!(
                Playback::new(bad, 48_000, 0.0),
                Err(PlaybackError::Unusable)
            );
        }
        assert_eq!(Playback::silence(0.5, 48_000).samples().len(), 24_000);
    }
}
