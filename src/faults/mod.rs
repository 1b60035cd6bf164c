//! Recordings and curves become findings.
//!
//! Detectors know the condition: both inputs on one node are legitimately alike, shorted leads legitimately silent.

mod basics;
mod blind;
mod capacitor;
mod clipping;
mod contact;
mod corners;
mod curve;
mod distortion;
mod extent;
mod facts;
mod flattened;
mod floor;
mod given;
mod hum;
mod level;
mod losses;
mod mixed;
mod monitoring;
mod noisy;
mod one_input;
mod orientation;
mod playback;
mod quiet;
mod recording;
mod resampled;
mod shape;
mod start;
mod statistics;
mod stretches;
mod tap;
mod touching;
mod wrong_wiring;

pub use corners::corners_on_curve;
pub use curve::curve_findings;
pub use distortion::{DISTORTED, Distortion, OUTPUT_DISTORTED, distortion};
pub use facts::Facts;
pub use given::Played;
pub use hum::Hum;
pub use level::{COMPRESSION_DB, GainFacts, LEVEL_STEP_DB, LevelStep, compression, level_steps};
pub use monitoring::{ECHO_DB, monitoring};
pub use noisy::noise_finding;
pub use one_input::{one_input_findings, one_input_lost, one_input_samples};
pub use orientation::Orientation;
pub use playback::{PlaybackCheck, playback_check, playback_findings, reported_losses};
pub use quiet::{LOUD_DBFS, OFFSET, quiet_findings};
pub use recording::{Expected, own_findings, recording_findings};
pub use resampled::COLLAPSE_DB;
pub use start::starts_too_high;
pub use tap::{Heard, Tapped, tapped};
pub use touching::{HARMONIC_REDO, IRREGULAR, IRREGULAR_REDO, touching};
pub use wrong_wiring::WRONG_WIRING_ADVICE;
