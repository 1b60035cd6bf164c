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

use farcone::recording::{Take, read_take};
use farcone::sheet::Sheet;
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
        let kit = |page: &str, arguments: &[&str]| {
            succeed(
                &Command::new(env!("CARGO_BIN_EXE_farcone"))
                    .args(["kit", "--method", "both", "-o", page])
                    .args(arguments)
                    .current_dir(&work)
                    .output()
                    .unwrap(),
            );
        };
        kit("kit.html", &["--driver", "left unit,small,8ohm"]);
        kit(
            "two.html",
            &[
                "--driver",
                "low one,woofer,8ohm",
                "--driver",
                "high one,tweeter",
                "--box",
                "1.5L+-0.014L",
            ],
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
fn a_clip_that_moves_finds_the_resonance_with_one_input() {
    if browser() {
        succeed(&node("one_input.mjs", "kit.html", "one-input", &[]));
    }
}

#[test]
#[ignore = "needs a browser; .ci/run has it"]
fn the_input_check_hears_what_the_browsers_own_device_does_wrong() {
    if browser() {
        succeed(&node("device_input.mjs", "kit.html", "device-input", &[]));
    }
}

#[test]
#[ignore = "needs a browser; .ci/run has it"]
fn recordings_made_by_hand_are_judged_the_same_way() {
    if !browser() {
        return;
    }
    succeed(&node("manual.mjs", "kit.html", "manual", &[]));
    let out = gallery().join("manual");
    received(&out, "kit.html", &["bundle.zip"]);
}

#[test]
#[ignore = "needs a browser; .ci/run has it"]
fn a_woofer_and_a_tweeter_of_one_kit_come_back() {
    if !browser() {
        return;
    }
    succeed(&node("two_drivers.mjs", "two.html", "two-drivers", &[]));
    let out = gallery().join("two-drivers");
    let received = received(&out, "two.html", &["low.zip", "high.zip"]);
    for (folder, fs_hz, mms_kg) in [("low-one", 48.0, Some(9e-3)), ("high-one", 1200.0, None)] {
        let path = received.join(format!("{folder}/{folder}.driver.json"));
        let text = fs::read_to_string(path).unwrap();
        let parameters = Sheet::from_json(&text).unwrap().parameters;
        let off = parameters.fs.unwrap().value / fs_hz - 1.0;
        assert!(off.abs() < 0.002, "{folder}: fs is off by {off:e}");
        assert_eq!(parameters.mms.is_some(), mms_kg.is_some(), "{folder}");
        if let (Some(mms), Some(wanted)) = (parameters.mms, mms_kg) {
            let off = mms.value / wanted - 1.0;
            assert!(off.abs() < 0.03, "{folder}: Mms is off by {off:e}");
        }
    }
}

#[test]
#[ignore = "needs a browser; .ci/run has it"]
fn a_browser_that_lacks_something_is_told_at_once() {
    if browser() {
        succeed(&node("lacks.mjs", "kit.html", "lacks", &[]));
    }
}

/// An invented driver without a coil, as the simulated jig has it.
const RE_OHM: f64 = 6.2;
const RES_OHM: f64 = 38.0;
const F0_HZ: f64 = 62.0;
const QMS: f64 = 4.3;
/// Relative, for all four: the filter that stands for the driver narrows its resonance by ⅔·(πf0/rate)², 1.3e-5, and the noise of the take
/// that matches the inputs is 50 dB below, or 100 dB when averaged over its frames: 1e-5, twice at the resonance.
const CLOSE: f64 = 5e-5;

#[test]
#[ignore = "needs a browser; .ci/run has it"]
fn takes_from_the_browsers_own_device_are_what_it_handed_over_to_the_last_bit() {
    if !browser() {
        return;
    }
    let driver =
        format!(r#"{{"re_ohm": {RE_OHM}, "res_ohm": {RES_OHM}, "f0_hz": {F0_HZ}, "qms": {QMS}}}"#);
    succeed(&node(
        "device_take.mjs",
        "kit.html",
        "device-take",
        &[&driver],
    ));
    let out = gallery().join("device-take");
    let received = received(&out, "kit.html", &["bundle.zip"]).join("left-unit");
    let read = |path: &Path| read_take(fs::File::open(path).unwrap(), None).unwrap().0;
    let device = read(&out.join("device.wav"));
    for name in ["free-air-1", "free-air-2"] {
        let take = read(&received.join("takes").join(name).with_extension("wav"));
        same_samples(name, &take, &device);
    }

    let text = fs::read_to_string(received.join("left-unit.driver.json")).unwrap();
    let parameters = Sheet::from_json(&text).unwrap().parameters;
    for (name, found, wanted) in [
        ("fs", parameters.fs, F0_HZ),
        ("Re", parameters.re, RE_OHM),
        ("Qms", parameters.qms, QMS),
        ("Qes", parameters.qes, QMS * RE_OHM / RES_OHM),
    ] {
        let off = found.unwrap().value / wanted - 1.0;
        println!("{name} is off by {:.5} %", 100.0 * off);
        assert!(off.abs() < CLOSE, "{name} is off by {off:e}");
    }
}

/// The folder of what `farcone receive` made of a kit's bundles: it has computed everything anew, and agrees with the page.
fn received(out: &Path, kit: &str, bundles: &[&str]) -> PathBuf {
    let page = fs::read_to_string(scripts().join(kit)).unwrap();
    let (_, behind) = page.split_once(r#""id":"K-"#).unwrap();
    let (id, _) = behind.split_once('"').unwrap();
    // By the kit's id alone, no weight is asked for.
    let output = Command::new(env!("CARGO_BIN_EXE_farcone"))
        .arg("receive")
        .args(bundles)
        .args(["-o", "received", "--kit"])
        .arg(format!("K-{id}"))
        .current_dir(out)
        .output()
        .unwrap();
    succeed(&output);
    let said = String::from_utf8_lossy(&output.stdout);
    let n_agree = said.matches("They agree: recordings").count();
    assert_eq!(n_agree, bundles.len(), "{said}");
    out.join("received")
}

/// A take is the file's frames, one behind the other, round after round: none is missing, none is there twice. Where nothing sounds a
/// busy browser may put zeros in between.
fn same_samples(name: &str, take: &Take, device: &Take) {
    /// What rounding to 24 bits may change.
    const HALF_STEP: f32 = 0.5 / 8_388_608.0;
    /// Frames that tell a place by their noise, which is several steps wide on both channels.
    const N_SOUGHT: usize = 32;
    /// Between noise and sweep.
    const SOUNDING: f32 = 1e-5;
    let n_round = device.n_frames();
    let same = |frame: usize, file: usize| {
        let file = file % n_round;
        (take.source()[frame] - device.source()[file]).abs() <= HALF_STEP
            && (take.driver()[frame] - device.driver()[file]).abs() <= HALF_STEP
    };
    let places: Vec<usize> = (0..n_round)
        .filter(|place| (0..N_SOUGHT).all(|n| same(n, place + n)))
        .collect();
    let &[place] = places.as_slice() else {
        panic!("{name} begins at {places:?} of the file");
    };
    let sounds = |value: &f32| value.abs() > SOUNDING;
    let first = device.source().iter().position(sounds).unwrap();
    let last = device.source().iter().rposition(sounds).unwrap();
    let mut file = place;
    let mut n_put_in = 0;
    for frame in 0..take.n_frames() {
        if same(frame, file) {
            file += 1;
            continue;
        }
        let silent = take.source()[frame] == 0.0 && take.driver()[frame] == 0.0;
        assert!(
            silent && !(first..=last).contains(&(file % n_round)),
            "{name}: frame {frame} is not frame {file} of the file, whose answer lasts from {first} to {last}"
        );
        n_put_in += 1;
    }
    println!(
        "{name}: {} frames from {place} of the file on, {n_put_in} zeros put in where nothing sounds",
        file - place
    );
    assert!(
        place <= first && file > last,
        "{name} does not hold the whole answer"
    );
}

/// So that the comparison is seen to fail: one frame in the middle of the answer is not there.
#[test]
#[should_panic(expected = "is not frame 2000 of the file")]
fn a_missing_frame_is_noticed() {
    const RATE_HZ: u32 = 44_100;
    let channel = |step: usize| -> Vec<f32> {
        let loud = |n: usize| {
            if (1000..3000).contains(&n) {
                1e-2
            } else {
                5e-6
            }
        };
        (0..4000)
            .map(|n| loud(n) * (0.5 + (n * n * n * step % 65_521) as f32 / 65_521.0))
            .collect()
    };
    let device = Take::new(RATE_HZ, channel(331), channel(577)).unwrap();
    let without = |channel: &[f32]| [&channel[500..2000], &channel[2001..]].concat();
    let take = Take::new(RATE_HZ, without(device.source()), without(device.driver())).unwrap();
    same_samples("one frame less", &take, &device);
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
