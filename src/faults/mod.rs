//! Recordings and curves become findings.
//!
//! Detectors know the condition: both inputs on one node are legitimately alike, shorted leads legitimately silent.

mod curve;
mod recording;

pub use curve::curve_findings;
pub use recording::{Expected, recording_findings};
