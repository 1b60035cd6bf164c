//! Playing a stimulus and recording two channels of what comes of it, seen from the side that asks for it.
//!
//! A [`SoundCard`] is whatever does it: `device` has the real ones, `bench` an invented one. Neither the caller nor the
//! take depends on when playback began: takes are aligned on the signal, never on timestamps.
//!
//! Conventions: samples are relative to full scale ±1; levels in dBFS are peak levels. The stimulus goes to the left
//! output alone, the others are silent.

mod card;
mod error;
mod playback;

pub use card::{Live, Monitor, Recorded, SoundCard, Unmonitored};
pub use error::{CaptureError, Side};
pub use playback::{CEILING_DBFS, Playback, PlaybackError};
