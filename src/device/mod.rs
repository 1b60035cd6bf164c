//! Real sound cards: which there are, and one that plays and records.
//!
//! [`list`] says what can be used; [`Card`] is a [`SoundCard`](crate::capture::SoundCard). Both talk to the sound system
//! from helper threads that are waited for with a limit and abandoned when it passes, since a frozen sound server lets
//! nobody return. Nothing here waits longer than five seconds for anything.
//!
//! Conventions: a device is named as its own sound system names it (`hw:CARD=0,DEV=0`); with the host's name in front
//! (`alsa:hw:CARD=0,DEV=0`) it is understood as well. Input and output share no clock reading: takes are aligned on the
//! signal. Callbacks of the sound system neither allocate nor lock; they talk to the rest through atomics and one ring.
//!
//! ```no_run
//! use farcone::capture::{CEILING_DBFS, Playback, SoundCard, Unmonitored};
//! use farcone::device::{Card, CardSettings};
//! use farcone::signal::SynchronizedSweep;
//!
//! let mut card = Card::open(&CardSettings::new("alsa", "hw:CARD=0,DEV=0", "hw:CARD=0,DEV=0"))?;
//! let mut sweep = SynchronizedSweep::default();
//! sweep.envelope.sample_rate_hz = f64::from(card.sample_rate_hz());
//! let playback = Playback::new(&sweep.samples()?, card.sample_rate_hz(), CEILING_DBFS)?;
//! let take = card.record(&playback, &mut Unmonitored)?.take;
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```
#![allow(
    clippy::disallowed_methods,
    reason = "an adapter: a sound card is part of the world, and its pace is judged by the clock"
)]

mod card;
mod choose;
mod engine;
mod hosts;
mod list;
mod pace;
mod pairs;
mod player;
mod samples;
#[cfg(target_os = "linux")]
mod server;
mod shared;
mod take;
mod watch;

pub use card::{Card, CardSettings};
pub use list::{Device, DeviceList, HostDevices, list};
pub use pairs::{Clock, Pair};
