//! What every stimulus shares: its envelope in time, its level, and the checks on both.

/// Why a stimulus cannot be made.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum StimulusError {
    /// Start and stop do not make a band below half the sample rate.
    #[error(
        "the band {start_hz} Hz to {stop_hz} Hz does not fit: the start must be above 0 Hz, the stop above the start \
         and below {limit_hz} Hz (0.499 of the sample rate)"
    )]
    Band {
        /// Start, Hz.
        start_hz: f64,
        /// Stop, Hz.
        stop_hz: f64,
        /// Highest stop allowed, Hz.
        limit_hz: f64,
    },
    /// A length that is not usable.
    #[error("{what} of {value_s} s is not usable; give {range}")]
    Length {
        /// Which length.
        what: &'static str,
        /// What was given, s.
        value_s: f64,
        /// What would be accepted.
        range: &'static str,
    },
    /// A level above full scale, or no number.
    #[error("a peak level of {level_dbfs} dBFS is not usable; give one between -100 and 0 dBFS")]
    Level {
        /// What was given, dBFS.
        level_dbfs: f64,
    },
    /// No line of the multisine falls into the band.
    #[error(
        "no odd multiple of {spacing_hz} Hz lies between {start_hz} Hz and {stop_hz} Hz; make the period longer"
    )]
    NoLines {
        /// Spacing of the lines' fundamental, Hz.
        spacing_hz: f64,
        /// Start, Hz.
        start_hz: f64,
        /// Stop, Hz.
        stop_hz: f64,
    },
}

/// When a stimulus sounds, and how loud.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Envelope {
    /// Samples a second.
    pub sample_rate_hz: f64,
    /// Peak level relative to full scale, dBFS.
    pub level_dbfs: f64,
    /// Silence before, s. A recording needs it to tell noise from signal.
    pub lead_in_s: f64,
    /// Silence after, s. The driver rings on in it.
    pub tail_s: f64,
    /// Raised-cosine rise at the start, s.
    pub fade_in_s: f64,
    /// Raised-cosine fall at the end, s.
    pub fade_out_s: f64,
}

impl Default for Envelope {
    fn default() -> Self {
        Self {
            sample_rate_hz: 48_000.0,
            level_dbfs: -20.0,
            lead_in_s: 0.5,
            tail_s: 1.0,
            fade_in_s: 0.05,
            fade_out_s: 0.005,
        }
    }
}

/// A stimulus longer than this is a typing error (common practice, no source).
const LONGEST_S: f64 = 600.0;

impl Envelope {
    /// Checks everything that does not depend on the kind of stimulus. `duration_s` is the sounding part.
    pub(super) fn check(
        &self,
        start_hz: f64,
        stop_hz: f64,
        duration_s: f64,
    ) -> Result<(), StimulusError> {
        let length = |what, value_s: f64, low: f64, range| {
            if value_s >= low && value_s <= LONGEST_S {
                Ok(())
            } else {
                Err(StimulusError::Length {
                    what,
                    value_s,
                    range,
                })
            }
        };
        if !(self.sample_rate_hz >= 8_000.0 && self.sample_rate_hz <= 768_000.0) {
            return Err(StimulusError::Band {
                start_hz,
                stop_hz,
                limit_hz: f64::NAN,
            });
        }
        let limit_hz = 0.499 * self.sample_rate_hz;
        if !(start_hz > 0.0 && stop_hz > start_hz && stop_hz <= limit_hz) {
            return Err(StimulusError::Band {
                start_hz,
                stop_hz,
                limit_hz,
            });
        }
        length("a length", duration_s, 0.05, "0.05 to 600 s")?;
        length("a lead-in", self.lead_in_s, 0.0, "0 to 600 s")?;
        length("a tail", self.tail_s, 0.0, "0 to 600 s")?;
        length("a fade-in", self.fade_in_s, 0.0, "0 to half the length")?;
        length("a fade-out", self.fade_out_s, 0.0, "0 to half the length")?;
        if self.fade_in_s + self.fade_out_s > duration_s {
            let value_s = self.fade_in_s + self.fade_out_s;
            return Err(StimulusError::Length {
                what: "a fade",
                value_s,
                range: "fades shorter than the stimulus",
            });
        }
        if !(-100.0..=0.0).contains(&self.level_dbfs) {
            return Err(StimulusError::Level {
                level_dbfs: self.level_dbfs,
            });
        }
        Ok(())
    }

    /// Samples in a length of time.
    pub(super) fn n_samples(&self, length_s: f64) -> usize {
        (length_s * self.sample_rate_hz).round() as usize
    }

    /// Peak amplitude, full scale = 1.
    pub(super) fn peak(&self) -> f64 {
        10.0_f64.powf(self.level_dbfs / 20.0)
    }

    /// Fades the sounding part and puts silence around it.
    pub(super) fn wrap(&self, mut sounding: Vec<f64>) -> Vec<f64> {
        let n = sounding.len();
        let rise = |i: usize, length: usize| {
            if i >= length {
                1.0
            } else {
                0.5 - 0.5 * (std::f64::consts::PI * (i as f64 + 0.5) / length as f64).cos()
            }
        };
        let (n_in, n_out) = (
            self.n_samples(self.fade_in_s),
            self.n_samples(self.fade_out_s),
        );
        for (i, sample) in sounding.iter_mut().enumerate() {
            *sample *= rise(i, n_in) * rise(n - 1 - i, n_out);
        }
        let mut whole = vec![0.0; self.n_samples(self.lead_in_s)];
        whole.append(&mut sounding);
        whole.resize(whole.len() + self.n_samples(self.tail_s), 0.0);
        whole
    }
}
