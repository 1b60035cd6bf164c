//! `farcone demo`.

use std::fs;

use farcone::parameters::Key;
use farcone::sheet::Sheet;

use super::{demo, run};

#[test]
fn does_the_whole_job() {
    let demo = demo();
    assert_eq!((demo.ran.code, demo.ran.err.as_str()), (0, ""));
    for path in [
        "session.json",
        "takes/free-air-1.wav",
        "takes/free-air-2.wav",
        "takes/added-mass-1.wav",
        "takes/test-box-1.wav",
        "takes/check-resistor-1.wav",
        "Tidepool-3.driver.json",
    ] {
        let path = demo.path().join(path);
        assert!(path.is_file(), "{}", path.display());
        assert!(
            demo.ran.out.contains(path.to_str().unwrap()),
            "{} is not named",
            path.display()
        );
    }
    for word in ["truth", "Vas", "± takes", "Hz", "measured", "fitted"] {
        assert!(demo.ran.out.contains(word), "{word}");
    }
}

#[test]
fn finds_the_truth() {
    /// Statistical: the markings' errors move no parameter by more than twice its stated half-width at 95 %.
    const WIDTHS: f64 = 2.0;
    let sheet = sheet_on_disk();
    let truth = farcone::bench::demo_driver().truth();
    for (key, expected) in [
        (Key::Fs, truth.fs_hz),
        (Key::Re, truth.re_ohm),
        (Key::Qts, truth.qts),
        (Key::Mms, truth.mms_kg),
        (Key::Bl, truth.bl_t_m),
    ] {
        let entry = sheet.parameters.get(key).unwrap();
        let [low, high] = entry.interval_95.unwrap();
        let off = (entry.value - expected).abs();
        assert!(
            off < WIDTHS * 0.5 * (high - low),
            "{}: {} instead of {expected}, off by {off}, interval {low} to {high}",
            key.as_str(),
            entry.value
        );
    }
    assert_eq!(sheet.verdict, "good");
}

fn sheet_on_disk() -> Sheet {
    let text = fs::read_to_string(demo().path().join("Tidepool-3.driver.json")).unwrap();
    Sheet::from_json(&text).unwrap()
}

#[test]
fn its_session_gives_the_same_sheet_again() {
    let fit = run(["fit", demo().path().to_str().unwrap(), "--json"]);
    assert_eq!(fit.code, 0, "{}", fit.err);
    assert_eq!(fit.sheet(), sheet_on_disk());
}

#[test]
fn a_seed_fixes_every_sample() {
    let folder = tempfile::tempdir().unwrap();
    let made = |name: &str, seed: &str| {
        let out = folder.path().join(name);
        let ran = run([
            "demo",
            "--quiet",
            "--seed",
            seed,
            "--out",
            out.to_str().unwrap(),
        ]);
        assert_eq!((ran.code, ran.out.as_str()), (0, ""), "{}", ran.err);
        fs::read(out.join("takes/test-box-1.wav")).unwrap()
    };
    let usual = fs::read(demo().take("test-box-1")).unwrap();
    assert!(made("same", "0") == usual);
    assert!(made("other", "7") != usual);
}

#[test]
fn nothing_is_overwritten() {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("precious.txt"), "keep me").unwrap();
    let ran = run(["demo", "--out", folder.path().to_str().unwrap()]);
    assert_eq!((ran.code, ran.out.as_str()), (1, ""));
    assert!(
        ran.err.contains("not empty") && ran.err.contains("name another folder"),
        "{}",
        ran.err
    );
    assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 1);
}
