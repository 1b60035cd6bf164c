//! What ends a recording early.

use std::fmt;

use crate::recording::RecordingError;

/// One direction of the sound.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Side {
    /// Playback.
    Output,
    /// Recording.
    Input,
}

impl fmt::Display for Side {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Output => "output",
            Self::Input => "input",
        })
    }
}

/// Why a recording ended without a take. Each message says what to do.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum CaptureError {
    /// A device could not be opened.
    #[error(
        "the {side} \"{device}\" cannot be opened: {detail}; check that it is plugged in and that no other program uses \
         it, and see `farcone devices`"
    )]
    Unavailable {
        /// Which direction.
        side: Side,
        /// The device's own name.
        device: String,
        /// What the system says.
        detail: String,
    },
    /// The input has too few channels.
    #[error(
        "the input \"{device}\" has {n_channels} channel(s), but the source node and the driver have to be recorded \
         together, on two channels of one converter; choose a stereo line input or an interface with two inputs"
    )]
    OneInput {
        /// The device's own name.
        device: String,
        /// How many channels it has.
        n_channels: u16,
    },
    /// The device went away or reported an error that is no mere loss of frames.
    #[error(
        "the {side} stopped with an error: {detail}; check the plug and the sound server, then make the take again"
    )]
    Lost {
        /// Which direction.
        side: Side,
        /// What the system says.
        detail: String,
    },
    /// No samples were asked for, or came, for a while.
    #[error(
        "the {side} stands still: nothing moved for {silent_s:.1} s; the device is suspended or its sound server hangs. \
         Unplug and replug the device or restart the sound server, then make the take again"
    )]
    Stalled {
        /// Which direction.
        side: Side,
        /// For how long nothing moved, s.
        silent_s: f64,
    },
    /// The sound system does not come back from opening or closing a device.
    #[error(
        "the sound system does not answer: {doing} took longer than {limit_s:.0} s; restart the sound server, or unplug \
         and replug the device"
    )]
    Blocked {
        /// What was being done.
        doing: &'static str,
        /// How long it was waited for, s.
        limit_s: f64,
    },
    /// Samples come at another pace than the rate says.
    #[error(
        "the {side} runs at {measured_hz:.0} samples a second where {nominal_hz} were asked for: this is no real sound \
         card, or its rate is not what it says; choose another device or rate"
    )]
    Pace {
        /// Which direction.
        side: Side,
        /// Counted, samples a second.
        measured_hz: f64,
        /// Asked for, samples a second.
        nominal_hz: u32,
    },
    /// The stimulus was made for another rate.
    #[error("the stimulus has {stimulus_hz} samples a second, the sound card {card_hz}")]
    Rate {
        /// The stimulus's rate, Hz.
        stimulus_hz: u32,
        /// The card's rate, Hz.
        card_hz: u32,
    },
    /// The monitor said stop.
    #[error("stopped; the sound was faded out and nothing of this take was kept")]
    Stopped,
    /// What came is no recording: NaN, infinities, nothing at all.
    #[error("the input delivered no usable samples: {0}")]
    Recording(#[from] RecordingError),
}
