//! The stimulus of a take, of a burst, and of a meter reading.

use crate::capture::{Playback, PlaybackError};
use crate::signal::{Envelope, Multisine, StimulusError, SynchronizedSweep, Tilt};

/// Highest frequency as a part of the sample rate: converters pass it nearly whole, while a stream that is resampled on
/// its way loses it, which shows.
const STOP: f64 = 0.47;
/// Beyond this no converter's ultrasound is of use, Hz.
const HIGHEST_HZ: f64 = 40_000.0;
/// Sounding part of a burst, s: with 5 Hz as its lowest frequency that is some seven periods a doubling.
const BURST_S: f64 = 1.5;
/// Silence before and after, s. The recording goes on until the end has arrived.
const LEAD_IN_S: f64 = 0.5;
const TAIL_S: f64 = 1.0;
const BURST_TAIL_S: f64 = 0.5;
/// Rise at the start, s.
const FADE_IN_S: f64 = 0.05;
/// Rise and fall of a tone, s.
const TONE_FADE_S: f64 = 0.2;
/// What a multisine needs more than a sweep of the same length and peak, as a factor of power: its crest is higher, and it is
/// read line by line. Measured on the virtual bench: where a sweep serves from −55 dBFS, a multisine does from −48 dBFS.
const MULTISINE_MORE: f64 = 10.0;
/// Periods of a multisine: the first settles, the others tell noise from signal.
const N_PERIODS: usize = 3;

/// What is played for a take.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sound {
    /// A multisine in place of a sweep.
    pub multisine: bool,
    /// Length of the sounding part, s.
    pub length_s: f64,
    /// Lowest frequency, Hz.
    pub start_hz: f64,
    /// Never above this peak level, dBFS.
    pub ceiling_dbfs: f64,
    /// Samples a second.
    pub sample_rate_hz: u32,
}

/// Why a sound cannot be made.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum SoundError {
    /// What was asked for is no stimulus.
    #[error(transparent)]
    Stimulus(#[from] StimulusError),
    /// It may not be played.
    #[error(transparent)]
    Playback(#[from] PlaybackError),
}

impl Sound {
    /// Lowest and highest frequency, Hz.
    pub fn band_hz(&self) -> (f64, f64) {
        let stop_hz = STOP * f64::from(self.sample_rate_hz);
        (
            self.start_hz,
            if stop_hz < HIGHEST_HZ {
                stop_hz
            } else {
                HIGHEST_HZ
            },
        )
    }

    /// How much more a take tells than a burst of the same peak, which is a sweep, as a factor of power.
    pub fn full_over_burst(&self) -> f64 {
        let longer = self.length_s / BURST_S;
        if self.multisine {
            longer / MULTISINE_MORE
        } else {
            longer
        }
    }

    fn envelope(&self, level_dbfs: f64, tail_s: f64) -> Envelope {
        Envelope {
            sample_rate_hz: f64::from(self.sample_rate_hz),
            level_dbfs,
            lead_in_s: LEAD_IN_S,
            tail_s,
            fade_in_s: FADE_IN_S,
            ..Envelope::default()
        }
    }

    /// The whole stimulus at a peak level.
    ///
    /// # Errors
    /// See [`SoundError`].
    pub fn full(&self, level_dbfs: f64) -> Result<Playback, SoundError> {
        if !self.multisine {
            return self.sweep(self.length_s, self.envelope(level_dbfs, TAIL_S));
        }
        let (start_hz, stop_hz) = self.band_hz();
        let samples = Multisine {
            start_hz,
            stop_hz,
            period_s: self.length_s / N_PERIODS as f64,
            n_periods: N_PERIODS,
            tilt: Tilt::Pink,
            envelope: self.envelope(level_dbfs, TAIL_S),
        }
        .samples()?;
        self.playback(&samples)
    }

    /// A short one. Bursts are always sweeps, which show distortion.
    ///
    /// # Errors
    /// See [`SoundError`].
    pub fn burst(&self, level_dbfs: f64) -> Result<Playback, SoundError> {
        self.sweep(BURST_S, self.envelope(level_dbfs, BURST_TAIL_S))
    }

    /// The sweep of a burst as it was meant, for taking harmonics apart.
    pub fn burst_sweep(&self, level_dbfs: f64) -> SynchronizedSweep {
        self.synchronized(BURST_S, self.envelope(level_dbfs, BURST_TAIL_S))
    }

    fn synchronized(&self, duration_s: f64, envelope: Envelope) -> SynchronizedSweep {
        let (start_hz, stop_hz) = self.band_hz();
        SynchronizedSweep {
            start_hz,
            stop_hz,
            duration_s,
            envelope,
        }
    }

    fn sweep(&self, duration_s: f64, envelope: Envelope) -> Result<Playback, SoundError> {
        self.playback(&self.synchronized(duration_s, envelope).samples()?)
    }

    /// A steady tone, rising and falling slowly.
    ///
    /// # Errors
    /// See [`SoundError`].
    pub fn tone(
        &self,
        frequency_hz: f64,
        level_dbfs: f64,
        length_s: f64,
    ) -> Result<Playback, SoundError> {
        let rate_hz = f64::from(self.sample_rate_hz);
        let peak = 10f64.powf(level_dbfs / 20.0);
        let n = (length_s * rate_hz) as usize;
        let fade = |from_edge_s: f64| {
            if from_edge_s >= TONE_FADE_S {
                1.0
            } else {
                0.5 - 0.5 * (std::f64::consts::PI * from_edge_s / TONE_FADE_S).cos()
            }
        };
        let samples: Vec<f64> = (0..n)
            .map(|i| {
                let (t_s, left_s) = (i as f64 / rate_hz, (n - 1 - i) as f64 / rate_hz);
                peak * fade(t_s) * fade(left_s) * (std::f64::consts::TAU * frequency_hz * t_s).sin()
            })
            .collect();
        self.playback(&samples)
    }

    /// Silence to listen in.
    pub fn silence(&self, length_s: f64) -> Playback {
        Playback::silence(length_s, self.sample_rate_hz)
    }

    fn playback(&self, samples: &[f64]) -> Result<Playback, SoundError> {
        Ok(Playback::new(
            samples,
            self.sample_rate_hz,
            self.ceiling_dbfs,
        )?)
    }
}
