//! The unmodified program with real parts: a real sound server with a simulated jig between its playback and its capture,
//! real signals, a pseudo-terminal. What needs the server is ignored by `cargo test` and run by `.ci/run`, three at a
//! time: `cargo test --release --test live -- --ignored --test-threads=3`.
//!
//! `FARCONE_LIVE_RUNS` is the number of fresh servers for the accuracy on each host (3 if not set; 10 in the long run).
#![cfg(unix)]
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::print_stdout,
    reason = "a test fails by panicking, and figures are printed"
)]

mod dialogue;
mod faults;
mod figures;
mod interrupt;
mod kit;
mod measure;
mod program;
mod server;
mod setups;
mod sounds;
mod terminal;
mod transfer;
mod truth;
