//! The jig: sense resistor, wiring, leads, input loading, calibration. A channel ratio becomes an impedance.
//!
//! Conventions: H = channel 2 / channel 1. Everything electrical is referred to the two *sense points*, where channel
//! 2 and ground touch the loop; the leads lie between them and the driver's terminals. Formulas (J1) to (J9) stand in
//! `docs/jig.md`.

mod calibration;
mod convert;
mod model;
mod noise;
mod smooth;
mod three_term;

pub use calibration::{Apart, Calibration, Corrections, JigState};
pub use convert::{Jig, Wiring};
pub use noise::{CalibrationNoise, Summed, covariance_of_sums};
pub use smooth::SmoothRatio;
