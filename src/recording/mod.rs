//! Takes: the samples of one two-channel recording, from and to WAV.
//!
//! Conventions: samples are `f32` with full scale at ±1 (float files may exceed it); channel 1 is the source node,
//! channel 2 the driver node (in the wiring across the resistor: the resistor's top); channels are numbered from 1 where a
//! person reads them and from 0 inside. No absolute level is known: an impedance needs only the ratio of the two channels.
//!
//! Which files are read, what is recovered and what is refused stands in `docs/recordings.md`.
//!
//! ```
//! use std::io::Cursor;
//! use farcone::recording::{WavFormat, read_take, write_wav};
//!
//! let source = [0.5, -0.25, 0.0];
//! let driver = [0.25, -0.125, 0.0];
//! let mut file = Cursor::new(Vec::new());
//! write_wav(&mut file, 48_000, &[&source, &driver], WavFormat::Pcm24)?;
//!
//! let (take, findings) = read_take(file, None)?;
//! assert_eq!(take.driver(), driver);
//! assert!(findings.is_empty());
//! # Ok::<(), farcone::recording::RecordingError>(())
//! ```

mod error;
mod header;
mod read;
mod take;
mod write;

pub use error::RecordingError;
pub use read::{read_take, read_wav};
pub use take::{Audio, ChannelPick, MAX_RATE_HZ, MIN_RATE_HZ, Take, join_mono};
pub use write::{WavFormat, write_wav};
