//! The simulated jig itself, without the program: is it what the other tests take it for?

use std::fs::File;
use std::process::Command;

use farcone::progress::Unwatched;
use farcone::recording::{WavFormat, write_wav};
use farcone::sheet::Sheet;
use farcone::signal::{Envelope, RatioSettings, SynchronizedSweep, channel_ratio};

use crate::measure::{RATE_HZ, check};
use crate::server::{Faults, OUTPUT, Server, Setup, available};
use crate::sounds::{Listener, play};
use crate::truth::{Circuit, DRIVER};

/// How closely the jig follows its formula, relative. Noise of -100 dBFS under a sweep of -12 dBFS leaves 0.003 % in the
/// narrowest band.
const METHOD: f64 = 1e-3;

fn sweep(level_dbfs: f64) -> Vec<f64> {
    SynchronizedSweep {
        duration_s: 6.0,
        envelope: Envelope {
            level_dbfs,
            ..Default::default()
        },
        ..Default::default()
    }
    .samples()
    .unwrap()
}

/// What comes of the sweep.
fn recorded(setup: &Setup, level_dbfs: f64) -> [Vec<f32>; 2] {
    let server = Server::start(setup);
    let listener = Listener::start(&server, RATE_HZ);
    play(&server, OUTPUT, &sweep(level_dbfs), RATE_HZ);
    listener.stop()
}

fn check_ratio(setup: &Setup, load_ohm: Option<f64>) {
    let [source, driver] = recorded(setup, -12.0);
    let rate_hz = f64::from(RATE_HZ);
    let settings = RatioSettings {
        low_hz: 10.0,
        high_hz: 18_000.0,
        resolution_hz: RatioSettings::resolution_hz(source.len(), rate_hz),
        may_vanish: false,
        left_out: vec![],
    };
    let ratio = channel_ratio(&source, &driver, rate_hz, &settings, &mut Unwatched).unwrap();
    assert!(ratio.h.len() > 200, "{} points", ratio.h.len());
    let mut worst = (0.0, 0.0);
    for (&f_hz, &h) in ratio.frequency.as_slice().iter().zip(&ratio.h) {
        let truth = setup.circuit.ratio(f_hz, rate_hz, load_ohm) * setup.faults.gain;
        let off = (h / truth - 1.0).norm();
        if off > worst.0 {
            worst = (off, f_hz);
        }
    }
    println!(
        "{} points, worst {:.1e} at {:.1} Hz",
        ratio.h.len(),
        worst.0,
        worst.1
    );
    assert!(worst.0 < METHOD, "{:?}", worst);
}

#[test]
#[ignore = "needs a PulseAudio server; .ci/run has it"]
fn the_jig_follows_its_formula() {
    if !available() {
        return;
    }
    check_ratio(&Setup::new(DRIVER), None);
    let resistor = Circuit {
        re_ohm: 22.0,
        res_ohm: 0.0,
        le_h: 0.0,
        ..DRIVER
    };
    check_ratio(&Setup::new(resistor), None);
    let mut loaded = Setup::new(DRIVER);
    loaded.faults = Faults {
        gain: 0.8,
        load_ohm: 2000.0,
        ..Faults::default()
    };
    check_ratio(&loaded, Some(2000.0));
}

#[test]
#[ignore = "needs a PulseAudio server; .ci/run has it"]
fn the_source_channel_passes_bit_for_bit() {
    if !available() {
        return;
    }
    let mut setup = Setup::new(DRIVER);
    setup.faults.noise_rms = 0.0;
    let [source, _] = recorded(&setup, -12.0);
    let played: Vec<f32> = sweep(-12.0).iter().map(|&sample| sample as f32).collect();
    let first = |samples: &[f32]| samples.iter().position(|&v| v != 0.0).unwrap();
    let (at, from) = (first(&source), first(&played));
    let n = played.iter().rposition(|&v| v != 0.0).unwrap() + 1 - from;
    assert!(source.len() >= at + n, "the recording ends early");
    let different = (0..n).find(|&i| source[at + i] != played[from + i]);
    assert_eq!(different, None, "of {n} samples");
}

/// The truth of the other tests holds for a take that the program did not make itself.
#[test]
#[ignore = "needs a PulseAudio server; .ci/run has it"]
fn a_take_by_other_tools_gives_the_truth() {
    if !available() {
        return;
    }
    let [source, driver] = recorded(&Setup::new(DRIVER), -12.0);
    let folder = tempfile::tempdir().unwrap();
    let wav = folder.path().join("free-air.wav");
    write_wav(
        File::create_new(&wav).unwrap(),
        RATE_HZ,
        &[&source, &driver],
        WavFormat::Float32,
    )
    .unwrap();
    let output = Command::new(env!("CARGO_BIN_EXE_farcone"))
        .args(["fit", "--json", "--free-air"])
        .arg(&wav)
        .args(["--sense", "47ohm+-0.01%", "--wiring", "across-driver"])
        .output()
        .unwrap();
    let said = String::from_utf8_lossy(&output.stderr);
    let sheet = Sheet::from_json(std::str::from_utf8(&output.stdout).unwrap())
        .unwrap_or_else(|error| panic!("{error}: {said}"));
    check(&sheet, &DRIVER.discretised(f64::from(RATE_HZ)));
}

#[test]
#[ignore = "needs a PulseAudio server; .ci/run has it"]
fn a_weak_source_and_feedback_are_heard() {
    if !available() {
        return;
    }
    let peak = |samples: &[f32]| samples.iter().fold(0.0, |peak: f32, v| peak.max(v.abs()));
    // 0.25 V over 53 ohm and more would be 4.7 mA.
    let mut weak = Setup::new(DRIVER);
    weak.faults.limit_a = 1e-3;
    let [source, driver] = recorded(&weak, -12.0);
    let highest_a = source
        .iter()
        .zip(&driver)
        .map(|(s, d)| (s - d).abs() / 47.0)
        .fold(0.0, f32::max);
    assert!((0.95e-3..1.05e-3).contains(&highest_a), "{highest_a} A");

    let mut monitoring = Setup::new(DRIVER);
    monitoring.faults.feedback = 0.5;
    let [source, _] = recorded(&monitoring, -12.0);
    // Where the millisecond is a whole number of periods, it adds 0.5·(1 + H)/2 of what is there already.
    let factor = peak(&source) / 0.251;
    assert!((1.2..1.9).contains(&factor), "{factor}");
}
