//! The `farcone` command.
fn main() {}
