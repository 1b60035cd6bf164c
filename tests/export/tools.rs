//! Programs from outside.

use std::path::Path;
use std::process::{Command, Output};

pub fn run(program: &str, arguments: &[&str], folder: &Path) -> Output {
    Command::new(program)
        .args(arguments)
        .current_dir(folder)
        .output()
        .unwrap()
}
