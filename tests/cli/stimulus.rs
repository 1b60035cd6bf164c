//! `farcone stimulus`.

use std::fs::File;
use std::io::BufReader;

use farcone::recording::read_take;
use farcone::signal::{Envelope, Multisine, SynchronizedSweep};

use super::run;

/// Rounding: half a step of 24 bits, and the step to f32 before it.
const ROUNDING: f64 = 1.2e-7;

fn assert_same(made: &[f32], expected: &[f64]) {
    assert_eq!(made.len(), expected.len());
    for (i, (made, expected)) in made.iter().zip(expected).enumerate() {
        assert!(
            (f64::from(*made) - expected).abs() < ROUNDING,
            "sample {i}: {made} {expected}"
        );
    }
}

#[test]
fn a_sweep_is_on_the_left_and_silence_on_the_right() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("sweep.wav");
    let file = path.to_str().unwrap();
    let command = [
        "stimulus",
        "sweep",
        "-o",
        file,
        "--start",
        "20Hz",
        "--stop",
        "10kHz",
        "--length",
        "1s",
        "--level",
        "-30dBFS",
        "--fade-in",
        "0s",
        "--fade-out",
        "1ms",
        "--lead-in",
        "200ms",
        "--tail",
        "0s",
        "--rate",
        "44.1kHz",
    ];
    let ran = run(command);
    assert_eq!((ran.code, ran.err.as_str()), (0, ""));
    let (take, _) = read_take(BufReader::new(File::open(&path).unwrap()), None).unwrap();
    let expected = SynchronizedSweep {
        start_hz: 20.0,
        stop_hz: 10e3,
        duration_s: 1.0,
        envelope: Envelope {
            sample_rate_hz: 44_100.0,
            level_dbfs: -30.0,
            fade_in_s: 0.0,
            fade_out_s: 1e-3,
            lead_in_s: 0.2,
            tail_s: 0.0,
        },
    };
    assert_eq!(take.sample_rate_hz(), 44_100);
    assert_same(take.source(), &expected.samples().unwrap());
    assert!(take.driver().iter().all(|sample| *sample == 0.0));

    let again = run(command);
    assert_eq!(again.code, 1);
    assert!(again.err.contains("never overwritten"), "{}", again.err);
}

#[test]
fn a_multisine_can_be_on_both_sides() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("multisine.wav");
    let file = path.to_str().unwrap();
    let ran = run([
        "stimulus",
        "multisine",
        "-o",
        file,
        "--period",
        "1s",
        "--periods",
        "2",
        "--both",
    ]);
    assert_eq!((ran.code, ran.err.as_str()), (0, ""));
    let (take, _) = read_take(BufReader::new(File::open(&path).unwrap()), None).unwrap();
    let expected = Multisine {
        period_s: 1.0,
        n_periods: 2,
        ..Multisine::default()
    };
    assert_same(take.source(), &expected.samples().unwrap());
    assert_eq!(take.source(), take.driver());
}

#[test]
fn what_no_file_holds_is_refused() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("x.wav");
    let file = path.to_str().unwrap();
    let ran = run([
        "stimulus", "sweep", "-o", file, "--rate", "8kHz", "--stop", "3kHz",
    ]);
    assert_eq!(ran.code, 1, "{}", ran.err);
    assert!(
        ran.err.contains("x.wav") && ran.err.contains("8000"),
        "{}",
        ran.err
    );
    let ran = run(["stimulus", "sweep", "-o", file, "--level", "+3dBFS"]);
    assert_eq!(ran.code, 2, "{}", ran.err);
    assert!(!path.exists());
}
