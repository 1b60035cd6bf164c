//! Farcone.
#![cfg_attr(not(test), deny(clippy::disallowed_methods))]
#![cfg_attr(
    test,
    allow(
        clippy::unwrap_used,
        clippy::expect_used,
        clippy::panic,
        clippy::print_stdout,
        clippy::print_stderr,
        reason = "a test fails by panicking, and prints the figures it measured"
    )
)]

pub mod air;
pub mod bench;
pub mod circuit;
pub mod faults;
pub mod finding;
pub mod fit;
pub mod impedance;
pub mod jig;
pub mod parameters;
pub mod progress;
pub mod quantity;
pub mod recording;
pub mod session;
pub mod sheet;
pub mod signal;

pub use num_complex::Complex64;
