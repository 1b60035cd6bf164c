//! One input for both channels, and coins as a mass, through the real program.

use std::fs::File;
use std::io::BufReader;
use std::path::Path;

use farcone::bench::{self, Bench, Element, Mounting, Noise, OneClip};
use farcone::recording::{WavFormat, read_wav, write_wav};

use super::run;

const RATE_HZ: u32 = 48_000;

/// A period of what the program wrote, from the middle of the file, as volts.
fn period_of(stimulus: &Path, n_frames: usize) -> Vec<f64> {
    let (audio, _) = read_wav(BufReader::new(File::open(stimulus).unwrap())).unwrap();
    let left = audio.channel(0).unwrap();
    let lead_in = RATE_HZ as usize / 2;
    let from = lead_in + n_frames;
    left[from..from + n_frames]
        .iter()
        .map(|&v| f64::from(v))
        .collect()
}

#[test]
fn one_input_and_coins_give_a_sheet() {
    let folder = tempfile::tempdir().unwrap();
    let path = |name: &str| folder.path().join(name).to_str().unwrap().to_owned();
    let stimulus = path("one-input.wav");
    let made = run(["stimulus", "one-input", "-o", &stimulus]);
    assert_eq!(made.code, 0, "{}", made.err);
    let period = period_of(Path::new(&stimulus), 67_200);

    let driver = &bench::drivers()[3];
    let mut bench = Bench::new(bench::Wiring::AcrossDriver, 47.0);
    bench.source.noise = Noise::Rms(1e-5);
    let clip = OneClip {
        drift_ppm: 20.0,
        ..OneClip::new(1.0, 12.0, 5.0, 2)
    };
    let record = |name: &str, mounting: &Mounting, stereo: bool| {
        let (circuit, values) = driver.set_up(mounting);
        let element = Element::Driver {
            circuit: &circuit,
            values: &values,
        };
        let samples = bench
            .record_one_input(&element, &period, &clip, f64::from(RATE_HZ), 7)
            .unwrap();
        let silent = vec![0.0; samples.len()];
        let channels: &[&[f32]] = if stereo {
            &[&silent, &samples]
        } else {
            &[&samples]
        };
        let file = File::create(path(name)).unwrap();
        write_wav(file, RATE_HZ, channels, WavFormat::Pcm24).unwrap();
        path(name)
    };
    let free = record("free.wav", &Mounting::FreeAir, false);
    let heavy = Mounting::AddedMass {
        added_mass_kg: 2.0 * 2.268e-3,
    };
    let heavy = record("heavy.wav", &heavy, false);
    let common = [
        "--sense",
        "47ohm+-0.1ohm",
        "--wiring",
        "across-driver",
        "--coil",
        "semi-inductor",
        "--no-creep",
        "--draws",
        "1000",
    ];
    let fitted = run(["fit", "--one-input", "--free-air", &free]
        .into_iter()
        .chain([
            "--added-mass",
            &heavy,
            "--mass",
            "coins:2xusd-10c",
            "--json",
        ])
        .chain(common));
    assert_eq!(fitted.code, 0, "{}", fitted.err);
    let sheet = fitted.sheet();
    assert_eq!(sheet.origin.takes[0].kind, "one-input");
    let fs_hz = sheet.parameters.fs.as_ref().unwrap().value;
    assert!((fs_hz / driver.truth().fs_hz - 1.0).abs() < 1e-3, "{fs_hz}");
    let mms = sheet.parameters.mms.as_ref().unwrap();
    assert!((mms.value - driver.mms_kg).abs() < 3.0 * mms.standard_uncertainty.unwrap());

    // The second channel of two, with the period said.
    let second = record("second.wav", &Mounting::FreeAir, true);
    let fitted = run([
        "fit",
        "--one-input=1.4s",
        "--channels",
        "2,1",
        "--free-air",
        &second,
    ]
    .into_iter()
    .chain(common));
    assert_eq!(fitted.code, 0, "{}", fitted.err);

    // Another period than the one that was played.
    let other = run(["fit", "--one-input=1.3s", "--free-air", &free]
        .into_iter()
        .chain(common));
    assert_eq!(other.code, 3, "{}", other.out);
    assert!(other.out.contains("1.3"), "{}", other.out);

    let pair = format!("{free},{heavy}");
    let pair = run(["fit", "--one-input", "--free-air", &pair]
        .into_iter()
        .chain(common));
    assert_eq!(pair.code, 2, "{}", pair.err);
    let magnetic = run(["fit", "--one-input", "--free-air", &free]
        .into_iter()
        .chain(["--added-mass", &heavy, "--mass", "coins:1xeur-2"])
        .chain(common));
    assert_eq!(magnetic.code, 2, "{}", magnetic.err);
    assert!(magnetic.err.contains("magnetic"), "{}", magnetic.err);
}
