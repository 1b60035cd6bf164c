//! How loud? From far below upwards, in short bursts, to the lowest level that gives the wanted uncertainty.
//!
//! A level in dBFS says nothing about volts: behind 26 dB of amplifier −12 dBFS can be 10 V. So nothing here trusts a
//! level: each burst shows what the last step did, and the next one is bounded by what was seen. Formulas (N1) to (N3)
//! are in `docs/level.md`.
//!
//! [`read_burst`] turns a recorded burst into a [`Reading`]; [`Seek`] turns readings into the next level, or the last one.

mod reading;
mod seek;

pub use reading::{BurstJig, DriverVolts, Limitation, Reading, read_burst, read_calibration_burst};
pub use seek::{Chosen, Goal, INPUT_PEAK_DBFS, Limit, Next, Seek};
