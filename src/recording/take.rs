//! Samples in memory: a take, and the channels of a file.

use super::RecordingError;

/// Lowest sample rate of a take, in hertz: the lowest that covers the audio band up to 20 kHz in common use.
pub const MIN_RATE_HZ: u32 = 44_100;
/// Highest sample rate of a take, in hertz: the highest that common sound cards offer.
pub const MAX_RATE_HZ: u32 = 192_000;

pub(super) fn check_rate(rate_hz: u32) -> Result<(), RecordingError> {
    if (MIN_RATE_HZ..=MAX_RATE_HZ).contains(&rate_hz) {
        Ok(())
    } else {
        Err(RecordingError::RateOutOfRange { rate_hz })
    }
}

/// Refuses NaN and infinities; `channel` counts from 1 and is only reported.
pub(super) fn check_finite(
    samples: &[f32],
    channel: usize,
    rate_hz: u32,
) -> Result<(), RecordingError> {
    match samples.iter().position(|sample| !sample.is_finite()) {
        None => Ok(()),
        Some(frame) => Err(RecordingError::NotFinite {
            channel,
            at_s: frame as f64 / f64::from(rate_hz),
            value: samples[frame],
        }),
    }
}

/// One two-channel recording: same rate, same length, at least one frame, all samples finite.
#[derive(Clone, Debug, PartialEq)]
pub struct Take {
    sample_rate_hz: u32,
    source: Vec<f32>,
    driver: Vec<f32>,
}

impl Take {
    /// Puts a take together: `source` is channel 1 (source node), `driver` channel 2 (driver node or resistor top), both
    /// with full scale at ±1 and recorded together by one converter.
    ///
    /// # Errors
    /// A rate outside [`MIN_RATE_HZ`] to [`MAX_RATE_HZ`], different lengths, no samples, NaN or infinite samples.
    pub fn new(
        sample_rate_hz: u32,
        source: Vec<f32>,
        driver: Vec<f32>,
    ) -> Result<Self, RecordingError> {
        check_rate(sample_rate_hz)?;
        if source.len() != driver.len() {
            return Err(RecordingError::LengthsDiffer {
                source_frames: source.len(),
                driver_frames: driver.len(),
            });
        }
        if source.is_empty() {
            return Err(RecordingError::Empty);
        }
        check_finite(&source, 1, sample_rate_hz)?;
        check_finite(&driver, 2, sample_rate_hz)?;
        Ok(Self {
            sample_rate_hz,
            source,
            driver,
        })
    }

    /// Sample rate in hertz.
    pub fn sample_rate_hz(&self) -> u32 {
        self.sample_rate_hz
    }

    /// Samples per channel; never zero.
    pub fn n_frames(&self) -> usize {
        self.source.len()
    }

    /// Length in seconds.
    pub fn duration_s(&self) -> f64 {
        self.n_frames() as f64 / f64::from(self.sample_rate_hz)
    }

    /// Channel 1: the source node.
    pub fn source(&self) -> &[f32] {
        &self.source
    }

    /// Channel 2: the driver node, or the resistor's top.
    pub fn driver(&self) -> &[f32] {
        &self.driver
    }

    /// Exchanges the channels, for inputs that were plugged the wrong way round.
    pub fn swap(&mut self) {
        std::mem::swap(&mut self.source, &mut self.driver);
    }

    /// The same take with the channels exchanged.
    #[must_use]
    pub fn swapped(mut self) -> Self {
        self.swap();
        self
    }

    /// Turns channel 2 upside down, for an input that was plugged with its poles reversed.
    pub fn invert_driver(&mut self) {
        for sample in &mut self.driver {
            *sample = -*sample;
        }
    }
}

/// All channels of one file: same length, at least one frame, all samples finite.
#[derive(Clone, Debug, PartialEq)]
pub struct Audio {
    sample_rate_hz: u32,
    channels: Vec<Vec<f32>>,
}

impl Audio {
    pub(super) fn new(sample_rate_hz: u32, channels: Vec<Vec<f32>>) -> Self {
        debug_assert!(
            channels
                .windows(2)
                .all(|pair| pair[0].len() == pair[1].len())
        );
        Self {
            sample_rate_hz,
            channels,
        }
    }

    /// Sample rate in hertz.
    pub fn sample_rate_hz(&self) -> u32 {
        self.sample_rate_hz
    }

    /// How many channels there are.
    pub fn n_channels(&self) -> usize {
        self.channels.len()
    }

    /// Samples per channel.
    pub fn n_frames(&self) -> usize {
        self.channels.first().map_or(0, Vec::len)
    }

    /// The samples of one channel, counted from 0.
    pub fn channel(&self, index: usize) -> Option<&[f32]> {
        self.channels.get(index).map(Vec::as_slice)
    }

    fn into_mono(mut self, role: &'static str) -> Result<Vec<f32>, RecordingError> {
        match (self.channels.len(), self.channels.pop()) {
            (1, Some(channel)) => Ok(channel),
            (n_channels, _) => Err(RecordingError::NotMono { role, n_channels }),
        }
    }
}

/// Makes a take of two mono files that came out of one recording.
///
/// The lengths must agree to the sample. Files of unequal length leave open whether they differ at the start or at the end,
/// and one sample at the start is a false phase of 7.5° at 1 kHz and 48 kHz: too much to guess.
///
/// # Errors
/// A file with more than one channel, different rates, different lengths.
pub fn join_mono(source: Audio, driver: Audio) -> Result<Take, RecordingError> {
    if source.sample_rate_hz != driver.sample_rate_hz {
        return Err(RecordingError::RatesDiffer {
            source_hz: source.sample_rate_hz,
            driver_hz: driver.sample_rate_hz,
        });
    }
    let rate_hz = source.sample_rate_hz;
    Take::new(
        rate_hz,
        source.into_mono("source")?,
        driver.into_mono("driver")?,
    )
}

/// Which channel of a file plays which role. The default is the first as source and the second as driver.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct ChannelPick {
    source: usize,
    driver: usize,
}

impl Default for ChannelPick {
    fn default() -> Self {
        Self {
            source: 0,
            driver: 1,
        }
    }
}

impl ChannelPick {
    /// Picks by the numbers that people use, counted from 1.
    ///
    /// # Errors
    /// A zero, or the same channel twice.
    pub fn from_numbers(source: usize, driver: usize) -> Result<Self, RecordingError> {
        if source == driver {
            return Err(RecordingError::SameChannel { channel: source });
        }
        match (source.checked_sub(1), driver.checked_sub(1)) {
            (Some(source), Some(driver)) => Ok(Self { source, driver }),
            _ => Err(RecordingError::ChannelZero),
        }
    }

    /// The source's channel, counted from 0.
    pub fn source(self) -> usize {
        self.source
    }

    /// The driver's channel, counted from 0.
    pub fn driver(self) -> usize {
        self.driver
    }
}
