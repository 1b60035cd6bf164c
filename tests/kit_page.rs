//! The page that `farcone kit` writes, in a real browser with a jig simulated inside it: every question is looked at, what goes wrong is
//! caught, nothing is lost when the page is closed, and one input is enough. Run by `.ci/run`; pictures stay in the target's tmp/kit_page.
#![allow(
    clippy::unwrap_used,
    clippy::panic,
    clippy::print_stdout,
    reason = "a test fails by panicking, and says what it skips and where it left its pictures"
)]

#[path = "common/outside.rs"]
mod outside;

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use std::sync::OnceLock;

use outside::have;

/// Where what was seen is kept, beside the scripts and what they need: tests share both.
fn gallery() -> PathBuf {
    Path::new(env!("CARGO_TARGET_TMPDIR")).join("kit_page")
}

/// The folder with the scripts, their modules and the page, made once.
fn scripts() -> &'static Path {
    static SCRIPTS: OnceLock<PathBuf> = OnceLock::new();
    SCRIPTS.get_or_init(|| {
        let tests = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests");
        let work = gallery().join("scripts");
        let _ = fs::remove_dir_all(gallery());
        fs::create_dir_all(&work).unwrap();
        let browser = fs::read_dir(tests.join("page/browser")).unwrap();
        let files = browser.map(|entry| entry.unwrap().path());
        let packages = ["package.json", "package-lock.json"];
        for file in files.chain(packages.map(|name| tests.join("report").join(name))) {
            fs::copy(&file, work.join(file.file_name().unwrap())).unwrap();
        }
        succeed(
            &Command::new("npm")
                .args(["ci", "--no-audit", "--no-fund", "--ignore-scripts"])
                .current_dir(&work)
                .output()
                .unwrap(),
        );
        let kit = [
            "kit",
            "--driver",
            "left unit,small,8ohm",
            "--method",
            "both",
        ];
        succeed(
            &Command::new(env!("CARGO_BIN_EXE_farcone"))
                .args(kit)
                .args(["-o", "kit.html"])
                .current_dir(&work)
                .output()
                .unwrap(),
        );
        work
    })
}

fn succeed(output: &Output) {
    assert!(
        output.status.success(),
        "{}{}",
        String::from_utf8_lossy(&output.stdout),
        String::from_utf8_lossy(&output.stderr)
    );
}

/// Whether browser and Node are there.
fn browser() -> bool {
    have(&["chromium", "node", "npm"], "chromium, nodejs, npm")
}

/// A script on a page, with pictures in a folder of that name.
fn node(script: &str, page: &str, pictures: &str, more: &[&str]) -> Output {
    let out = gallery().join(pictures);
    let output = Command::new("node")
        .args([script, page])
        .arg(&out)
        .args(more)
        .current_dir(scripts())
        .output()
        .unwrap();
    println!(
        "{pictures}: pictures in {}\n{}",
        out.display(),
        String::from_utf8_lossy(&output.stdout)
    );
    output
}

#[test]
#[ignore = "needs a browser; .ci/run has it"]
fn every_question_on_a_wide_screen() {
    if browser() {
        succeed(&node("walk.mjs", "kit.html", "wide", &["1280"]));
    }
}

#[test]
#[ignore = "needs a browser; .ci/run has it"]
fn every_question_on_a_narrow_screen() {
    if browser() {
        succeed(&node("walk.mjs", "kit.html", "narrow", &["360"]));
    }
}

#[test]
#[ignore = "needs a browser; .ci/run has it"]
fn a_fault_at_the_input_is_caught_by_its_own_check() {
    if browser() {
        succeed(&node("faults.mjs", "kit.html", "faults", &[]));
    }
}

#[test]
#[ignore = "needs a browser; .ci/run has it"]
fn what_was_kept_is_there_after_the_page_was_closed() {
    if browser() {
        succeed(&node("reload.mjs", "kit.html", "reload", &[]));
    }
}

#[test]
#[ignore = "needs a browser; .ci/run has it"]
fn the_first_question_is_there_soon() {
    if browser() {
        succeed(&node("first.mjs", "kit.html", "first", &[]));
    }
}

#[test]
#[ignore = "needs a browser; .ci/run has it"]
fn one_input_and_a_clip_that_moves_find_the_resonance() {
    if browser() {
        succeed(&node("one_input.mjs", "kit.html", "one-input", &[]));
    }
}

/// A check that cannot fail is none: this page does what the kit's must not.
#[test]
#[ignore = "needs a browser; .ci/run has it"]
fn the_eyes_see_what_is_wrong() {
    if !browser() {
        return;
    }
    fs::write(
        scripts().join("bad.html"),
        "<!DOCTYPE html><title>t</title><main id=question><h1>bad</h1><img src='x.png'>\
         <svg viewBox='0 0 50 20' width=50 height=20><text x=40 y=15>cut</text></svg>\
         <p style='width:3000px'>wide</p></main><script>console.error('said');fail()</script>",
    )
    .unwrap();
    let output = node("eyes.mjs", "bad.html", "eyes", &[]);
    let said = String::from_utf8_lossy(&output.stderr);
    assert!(!output.status.success());
    for complaint in [
        "console: said",
        "error: fail is not defined",
        "request: file:",
        "wider than its window",
        "cuts off \"cut\"",
        "axe-core, critical: image-alt",
    ] {
        assert!(said.contains(complaint), "{complaint} is missing in {said}");
    }
}
