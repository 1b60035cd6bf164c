//! Takes through real encoders: what a phone or a messenger makes of a recording must be found, or do no harm.
//!
//! Needs lame, opusenc and opusdec (Debian's opus-tools) and ffmpeg. What is missing is skipped with a line that says so; with
//! CI=true it fails.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::print_stdout,
    clippy::disallowed_methods,
    reason = "a test fails by panicking, prints what it measured, and this one runs programs"
)]

mod common;

use std::path::Path;
use std::process::Command;

use common::outside::have;
use common::{Jig, session, take};
use farcone::bench::{Mounting, Noise, drivers};
use farcone::faults::{Expected, Facts, recording_findings};
use farcone::finding::Code;
use farcone::jig::Wiring;
use farcone::parameters::Key;
use farcone::progress::Unwatched;
use farcone::recording::{Take, WavFormat, read_take, write_wav};
use farcone::session::{Condition, Data, analyse};
use farcone::signal::{Envelope, SynchronizedSweep};

const PACKAGES: &str = "lame, opus-tools, ffmpeg";

fn run(program: &str, arguments: &[&str], folder: &Path) {
    let output = Command::new(program)
        .args(arguments)
        .current_dir(folder)
        .output()
        .unwrap();
    assert!(
        output.status.success(),
        "{program} {arguments:?}: {}",
        String::from_utf8_lossy(&output.stderr)
    );
}

/// Takes of a woofer and a tweeter as a 16-bit recorder at 44.1 kHz makes them, and of a 24-bit one at 48 kHz.
fn takes() -> Vec<(Jig, Take)> {
    let all = drivers();
    [
        (0, Wiring::AcrossDriver, 47.0, 44_100.0, -85.0, 16),
        (6, Wiring::AcrossResistor, 1.5, 48_000.0, -88.0, 24),
        (10, Wiring::AcrossDriver, 47.0, 48_000.0, -82.0, 16),
    ]
    .into_iter()
    .map(|(driver, wiring, ohm, rate_hz, noise_dbfs, bits)| {
        let mut jig = Jig::new(wiring, ohm);
        jig.rate_hz = rate_hz;
        for channel in [&mut jig.bench.source, &mut jig.bench.driver] {
            channel.bits = Some(bits);
            channel.noise = Noise::Rms(10_f64.powf(noise_dbfs / 20.0));
        }
        let envelope = Envelope {
            sample_rate_hz: rate_hz,
            level_dbfs: -12.0,
            ..Envelope::default()
        };
        let sweep = SynchronizedSweep {
            envelope,
            ..SynchronizedSweep::default()
        };
        let stimulus = sweep.samples().unwrap();
        let Data::Recording(take) = jig.driver(
            &all[driver],
            &Mounting::FreeAir,
            &stimulus,
            1 + driver as u64,
        ) else {
            panic!("a recording was made");
        };
        (jig, take)
    })
    .collect()
}

/// The take after its way through a codec. `steps` are programs with their arguments; in.wav comes in, out.wav goes out.
fn through(take: &Take, steps: &[&[&str]]) -> Take {
    let folder = tempfile::tempdir().unwrap();
    let file = std::fs::File::create(folder.path().join("in.wav")).unwrap();
    let channels = [take.source(), take.driver()];
    write_wav(file, take.sample_rate_hz(), &channels, WavFormat::Pcm24).unwrap();
    for step in steps {
        run(step[0], &step[1..], folder.path());
    }
    let file = std::fs::File::open(folder.path().join("out.wav")).unwrap();
    read_take(std::io::BufReader::new(file), None).unwrap().0
}

fn codes(take: &Take) -> Vec<Code> {
    recording_findings("t", take, &Facts::of(take), Expected::default(), None)
        .iter()
        .map(|finding| finding.code)
        .collect()
}

/// Codes of every take through a codec.
fn all_through(what: &str, steps: &[&[&str]]) -> Vec<Vec<Code>> {
    takes()
        .iter()
        .map(|(_, take)| {
            let found = codes(&through(take, steps));
            println!("{what}: {found:?}");
            found
        })
        .collect()
}

fn assert_lossy(what: &str, steps: &[&[&str]]) {
    let all = all_through(what, steps);
    assert!(
        all.iter().all(|found| found.contains(&Code::LossyCoding)),
        "{what}: {all:?}"
    );
}

/// No take is found, or each that is not has its parameters within the uncertainty that is stated.
fn assert_lossy_or_harmless(what: &str, steps: &[&[&str]]) {
    /// Of thirty differences none should be beyond three standard uncertainties.
    const STATISTICAL: f64 = 3.0;
    const KEYS: [Key; 5] = [Key::Fs, Key::Re, Key::Qms, Key::Qes, Key::Qts];
    let sd_m2 = drivers()[0].sd_m2;
    for (jig, recorded) in takes() {
        let coded = through(&recorded, steps);
        let found = codes(&coded);
        println!("{what}: {found:?}");
        if found.contains(&Code::LossyCoding) {
            continue;
        }
        let sheet = |data: Take| {
            let takes = vec![take(
                "free-air-1",
                Condition::FreeAir,
                Data::Recording(data),
            )];
            analyse(session(&jig, sd_m2, takes), &mut Unwatched).unwrap()
        };
        let (before, after) = (sheet(recorded), sheet(coded));
        for key in KEYS {
            let (a, b) = (before.parameters.get(key), after.parameters.get(key));
            let (a, b) = (a.unwrap(), b.unwrap());
            let moved = (b.value - a.value).abs();
            // What both sheets state: the codec's noise is other noise than the recording's.
            let [u_a, u_b] = [&a, &b].map(|entry| entry.standard_uncertainty.unwrap());
            let stated = STATISTICAL * u_a.hypot(u_b);
            println!(
                "{what}: {} moved by {:.2} of what is stated",
                key.as_str(),
                moved / stated
            );
            assert!(
                moved <= stated,
                "{what}: {} {} {} {stated}",
                key.as_str(),
                a.value,
                b.value
            );
        }
    }
}

#[test]
#[ignore = "needs encoders"]
fn mp3() {
    if !have(&["lame"], PACKAGES) {
        return;
    }
    let steps = |kbits: &'static str| -> [Vec<&str>; 2] {
        [
            vec![
                "lame",
                "--quiet",
                "--resample",
                "44.1",
                "-m",
                "j",
                "-b",
                kbits,
                "in.wav",
                "coded.mp3",
            ],
            vec!["lame", "--quiet", "--decode", "coded.mp3", "out.wav"],
        ]
    };
    for kbits in ["64", "128"] {
        let [encode, decode] = steps(kbits);
        assert_lossy(&format!("mp3 {kbits}"), &[&encode, &decode]);
    }
    let [encode, decode] = steps("320");
    assert_lossy_or_harmless("mp3 320", &[&encode, &decode]);
}

#[test]
#[ignore = "needs encoders"]
fn opus() {
    if !have(&["opusenc", "opusdec"], PACKAGES) {
        return;
    }
    for kbits in ["24", "96", "160"] {
        assert_lossy(
            &format!("opus {kbits}"),
            &[
                &[
                    "opusenc",
                    "--quiet",
                    "--bitrate",
                    kbits,
                    "in.wav",
                    "coded.opus",
                ],
                &["opusdec", "--quiet", "coded.opus", "out.wav"],
            ],
        );
    }
}

#[test]
#[ignore = "needs encoders"]
fn aac_and_flac() {
    if !have(&["ffmpeg"], PACKAGES) {
        return;
    }
    let quiet = ["ffmpeg", "-nostdin", "-v", "error", "-i"];
    let decode = |coded: &'static str, samples: &'static str| -> Vec<&str> {
        let to = [coded, "-c:a", samples, "out.wav"];
        quiet.into_iter().chain(to).collect()
    };
    for kbits in ["96k", "256k"] {
        let encode: Vec<&str> = quiet
            .into_iter()
            .chain(["in.wav", "-c:a", "aac", "-b:a", kbits, "coded.m4a"])
            .collect();
        let steps: [&[&str]; 2] = [&encode, &decode("coded.m4a", "pcm_s16le")];
        if kbits == "96k" {
            assert_lossy("aac 96k", &steps);
        } else {
            assert_lossy_or_harmless("aac 256k", &steps);
        }
    }
    let encode: Vec<&str> = quiet
        .into_iter()
        .chain(["in.wav", "-c:a", "flac", "coded.flac"])
        .collect();
    let all = all_through("flac", &[&encode, &decode("coded.flac", "pcm_s24le")]);
    assert!(all.iter().all(Vec::is_empty), "{all:?}");
}
