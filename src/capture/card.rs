//! What a sound card does for us.

use super::{CaptureError, Playback};
use crate::progress::Continue;
use crate::recording::Take;

/// How a recording goes, while it goes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Live {
    /// Since the recording began, s.
    pub elapsed_s: f64,
    /// How long it will take, s.
    pub total_s: f64,
    /// Highest peak since the last report, source and driver channel, dBFS; `None` where no sample came.
    pub peak_dbfs: [Option<f64>; 2],
}

/// Somebody who watches a recording. Closures `FnMut(&Live) -> Continue` are monitors.
pub trait Monitor {
    /// Called some twenty times a second. [`Continue::No`] fades the sound out and ends with [`CaptureError::Stopped`].
    fn at(&mut self, live: &Live) -> Continue;
}

impl<F: FnMut(&Live) -> Continue> Monitor for F {
    fn at(&mut self, live: &Live) -> Continue {
        self(live)
    }
}

/// A monitor that only lets the recording run.
#[derive(Clone, Copy, Debug, Default)]
pub struct Unmonitored;

impl Monitor for Unmonitored {
    fn at(&mut self, _: &Live) -> Continue {
        Continue::Yes
    }
}

/// What was recorded.
#[derive(Clone, Debug, PartialEq)]
pub struct Recorded {
    /// Both channels, from before the stimulus to after its tail; never altered afterwards.
    pub take: Take,
    /// How often the driver of the sound card said that frames were lost. Losses without a word are for the data to show.
    pub n_reported_losses: u32,
}

/// Something that plays and records at the same time.
pub trait SoundCard {
    /// Sample rate of both directions, Hz.
    fn sample_rate_hz(&self) -> u32;

    /// Plays on the left output, records both channels meanwhile, and goes on recording until the end of the stimulus has
    /// arrived, whatever the latency.
    ///
    /// # Errors
    /// See [`CaptureError`]. After any of them the output is silent or gone, and what was recorded is dropped.
    fn record(
        &mut self,
        playback: &Playback,
        monitor: &mut dyn Monitor,
    ) -> Result<Recorded, CaptureError>;
}
