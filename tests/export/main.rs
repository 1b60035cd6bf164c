//! Sheets as files that other tools read: goldens, hostile labels, a hundred sheets of every kind, and real readers.
//!
//! `readers` and `simulator` need programs from outside and are `#[ignore]`d; `.ci/run` runs them.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::print_stdout,
    clippy::disallowed_methods,
    reason = "a test fails by panicking, prints what it measured, and this one runs programs"
)]

mod any;
mod golden;
mod labels;
mod literal;
mod netlist;
#[path = "../common/outside.rs"]
mod outside;
mod readers;
mod simulator;
mod tools;
