//! Programs from outside: used where they are, skipped with a line where they are not, and demanded with CI=true.
#![allow(
    dead_code,
    clippy::print_stdout,
    reason = "each test file uses its own part, and what is skipped is said"
)]

use std::process::Command;

/// Whether all of the programs are there; where they have to be and are not, the test fails.
pub fn have(programs: &[&str], packages: &str) -> bool {
    let starts = |program: &&&str| Command::new(program).arg("--version").output().is_ok();
    let missing: Vec<&&str> = programs.iter().filter(|p| !starts(p)).collect();
    missing.is_empty() || absent(&format!("{missing:?}"), packages)
}

/// The Python that has the modules: `FARCONE_PYTHON`, as `.ci/run` sets it, or `python3`.
pub fn python(modules: &[&str], packages: &str) -> Option<String> {
    let python = std::env::var("FARCONE_PYTHON").unwrap_or_else(|_| "python3".to_owned());
    let there = Command::new(&python)
        .args(["-c", &format!("import {}", modules.join(", "))])
        .output()
        .is_ok_and(|output| output.status.success());
    (there || absent(&format!("Python's {modules:?}"), packages)).then_some(python)
}

fn absent(what: &str, packages: &str) -> bool {
    let has_to_be = std::env::var_os("CI").is_some_and(|ci| ci == "true");
    assert!(!has_to_be, "{what} is missing (packages {packages})");
    println!("skipped: what needs {what} (packages {packages})");
    false
}
