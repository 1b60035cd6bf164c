//! The `farcone` command: arguments, files, progress and messages around the library.
#![cfg_attr(
    test,
    allow(
        clippy::unwrap_used,
        clippy::expect_used,
        clippy::panic,
        reason = "a test fails by panicking"
    )
)]

mod cli;
mod store;

fn main() -> std::process::ExitCode {
    cli::main()
}
