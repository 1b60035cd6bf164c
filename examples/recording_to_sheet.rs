//! Reads a two-channel WAV of a driver in free air behind 47 ohm and prints what it tells:
//! `cargo run --example recording_to_sheet -- take.wav`. Without a path it reads a take that comes with the project.
#![allow(clippy::print_stdout, reason = "an example prints")]

use std::fs::File;
use std::io::BufReader;

use farcone::air::AirInput;
use farcone::fit::Choice;
use farcone::jig::Wiring;
use farcone::progress::Unwatched;
use farcone::quantity::Stated;
use farcone::recording::read_take;
use farcone::session::{Condition, Data, JigInput, Session, SessionTake, analyse};

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let ours = concat!(
        env!("CARGO_MANIFEST_DIR"),
        "/fixtures/ngspice/woofer/takes/free-air.wav"
    );
    let path = std::env::args().nth(1).unwrap_or_else(|| ours.to_owned());
    let file = File::open(&path).map_err(|error| format!("{path}: {error}"))?;
    let (take, findings) = read_take(BufReader::new(file), None)?;
    let session = Session {
        label: path,
        jig: Some(JigInput {
            wiring: Wiring::AcrossDriver,
            sense_ohm: Stated::within(47.0, 0.5),
            lead_ohm: None,
            input_load_ohm: [None, None],
            swap_channels: false,
        }),
        air: AirInput::default(),
        cone: None,
        meter_re_ohm: None,
        dimensions: Default::default(),
        photos: vec![],
        band_hz: Session::DEFAULT_BAND_HZ,
        choice: Choice::default(),
        n_draws: Session::DEFAULT_DRAWS,
        seed: 0,
        played: None,
        takes: vec![SessionTake {
            name: "free-air".to_owned(),
            condition: Condition::FreeAir,
            data: Data::Recording(take),
            findings,
            sha256: vec![],
            remounted: false,
            level: None,
            aside: false,
        }],
    };
    let sheet = analyse(session, &mut Unwatched)?;
    println!("verdict: {}", sheet.verdict);
    for finding in &sheet.findings {
        println!("{}: {}", finding.severity, finding.message);
    }
    for (name, entry) in [
        ("fs", &sheet.parameters.fs),
        ("Re", &sheet.parameters.re),
        ("Qts", &sheet.parameters.qts),
    ] {
        if let Some(entry) = entry {
            let interval = match entry.interval_95 {
                Some([low, high]) => format!("{low:.4} to {high:.4}"),
                None => "not known".to_owned(),
            };
            println!(
                "{name}: {:.4} {}, 95 % interval {interval}",
                entry.value, entry.unit
            );
        }
    }
    Ok(())
}
