//! Whether a bad take is called bad, by the right name, and a good one is left alone.
//!
//! Every fault is made on the virtual bench at two strengths on three drivers (`matrix`); and thousands of times at random on a
//! set of drivers that no threshold was tuned on (`judged`).
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::print_stdout,
    reason = "a test fails by panicking, and prints what it measured"
)]

mod circuits;
mod clean;
mod dice;
mod each;
mod fault;
mod faults;
mod jig_clean;
mod judged;
mod matrix;
mod others;
mod scenario;
