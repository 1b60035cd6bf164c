//! Programs from outside.

use std::path::Path;
use std::process::{Command, Output};

/// Whether a program is there; where it has to be and is not, the test fails.
pub fn have(program: &str, package: &str) -> bool {
    let there = Command::new(program).arg("--version").output().is_ok();
    there || missing(program, package)
}

fn missing(what: &str, package: &str) -> bool {
    let on_ci = std::env::var_os("CI").is_some_and(|ci| ci == "true");
    assert!(!on_ci, "{what} is missing ({package})");
    println!("skipped: what needs {what} ({package})");
    false
}

pub fn run(program: &str, arguments: &[&str], folder: &Path) -> Output {
    Command::new(program)
        .args(arguments)
        .current_dir(folder)
        .output()
        .unwrap()
}

/// The Python that has the packages: `FARCONE_PYTHON`, as `.ci/run` sets it, or `python3`.
pub fn python(packages: &[&str]) -> Option<String> {
    let python = std::env::var("FARCONE_PYTHON").unwrap_or_else(|_| "python3".to_owned());
    let imports = format!("import {}", packages.join(", "));
    let there = Command::new(&python)
        .args(["-c", &imports])
        .output()
        .is_ok_and(|output| output.status.success());
    (there
        || missing(
            &format!("Python's {packages:?}"),
            "PyPI: scikit-rf, jsonschema",
        ))
    .then_some(python)
}
