//! The library as the kit's page sees it: requests and replies, natively; that the compiled library is up to date; and that it
//! answers as the native one does (with Node).
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::print_stdout,
    clippy::disallowed_methods,
    reason = "a test fails by panicking, and reads and writes files"
)]

mod common;

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;
use std::process::Command;

use common::{Jig, chance, good_mass};
use farcone::bench::{
    Arrangement, Bench, BenchCard, Channel, Element, Mounting, Noise, OneClip, drivers,
};
use farcone::capture::{Playback, SoundCard, Unmonitored};
use farcone::jig::Wiring;
use farcone::progress::Unwatched;
use farcone::recording::{WavFormat, read_take, write_wav};
use farcone::session::{SessionFile, analyse, assemble_in_memory};
use farcone::signal::resampled;
use farcone::web::Core;
use proptest::prelude::*;
use serde_json::{Value, json};
use sha2::{Digest, Sha256};

fn request(op: &str, args: &Value, blobs: &[&[u8]]) -> Vec<u8> {
    let lengths: Vec<usize> = blobs.iter().map(|blob| blob.len()).collect();
    let head = json!({"op": op, "args": args, "blobs": lengths}).to_string();
    let mut bytes = (head.len() as u32).to_le_bytes().to_vec();
    bytes.extend(head.as_bytes());
    for blob in blobs {
        bytes.extend(*blob);
    }
    bytes
}

type Reply = Result<(Value, Vec<Vec<u8>>), String>;

fn reply(bytes: &[u8]) -> Reply {
    let n = u32::from_le_bytes(bytes[..4].try_into().unwrap()) as usize;
    let mut head: Value = serde_json::from_slice(&bytes[4..4 + n]).unwrap();
    if let Some(error) = head["error"].as_str() {
        return Err(error.to_owned());
    }
    let mut at = 4 + n;
    let mut blobs = vec![];
    for length in head["blobs"].as_array().unwrap() {
        let length = length.as_u64().unwrap() as usize;
        blobs.push(bytes[at..at + length].to_vec());
        at += length;
    }
    assert_eq!(at, bytes.len());
    Ok((head["result"].take(), blobs))
}

fn ask(core: &mut Core, op: &str, args: &Value, blobs: &[&[u8]]) -> Reply {
    reply(&core.answer(&request(op, args, blobs)))
}

fn bytes_of(samples: &[f32]) -> Vec<u8> {
    samples.iter().flat_map(|v| v.to_le_bytes()).collect()
}

fn samples_of(bytes: &[u8]) -> Vec<f64> {
    let four = bytes.chunks_exact(4);
    four.map(|b| f64::from(f32::from_le_bytes(b.try_into().unwrap())))
        .collect()
}

const RATE_HZ: u32 = 48_000;

fn free_air(name: &str) -> Value {
    json!({"name": name, "condition": "free-air", "files": [format!("takes/{name}.wav")]})
}

/// What the page knows of a session before the first take.
fn session() -> Value {
    json!({
        "schema": "farcone-session/1",
        "label": "unit 3",
        "jig": {"wiring": "across-driver", "sense": {"value": 47.0, "unit": "Ohm", "half_width": 0.47}},
        "cone": {"diameter": {"value": 0.078, "unit": "m", "half_width": 0.001}},
        "air": {"temperature": {"value": 294.15, "unit": "K"}, "altitude": {"value": 30.0, "unit": "m"}},
    })
}

/// Recordings of an invented driver, as the page's sound system would hand them over.
struct Desk {
    core: Core,
    jig: Jig,
    sound: Value,
}

impl Desk {
    fn new() -> Self {
        let mut core = Core::default();
        let args = json!({"class": "small", "calibration": false});
        let (sound, _) = ask(&mut core, "sound", &args, &[]).unwrap();
        let mut jig = Jig::new(Wiring::AcrossDriver, 47.0);
        // −85 dBFS.
        let noise = Noise::Rms(5.6e-5);
        jig.bench = Bench {
            source: Channel {
                noise,
                ..jig.bench.source
            },
            driver: Channel {
                noise,
                ..jig.bench.driver
            },
            ..jig.bench
        };
        Self {
            core,
            jig,
            sound: sound["sound"].clone(),
        }
    }

    fn ask(&mut self, op: &str, args: &Value, blobs: &[&[u8]]) -> Reply {
        ask(&mut self.core, op, args, blobs)
    }

    fn playback(&mut self, kind: &str, level_dbfs: f64) -> Vec<f64> {
        let args = json!({"sound": self.sound, "sample_rate_hz": RATE_HZ, "kind": kind, "level_dbfs": level_dbfs});
        let (_, blobs) = self.ask("playback", &args, &[]).unwrap();
        samples_of(&blobs[0])
    }

    /// Both channels of one recording.
    fn record(
        &mut self,
        i_driver: usize,
        mounting: &Mounting,
        kind: &str,
        level_dbfs: f64,
        seed: u64,
    ) -> [Vec<u8>; 2] {
        let played = self.playback(kind, level_dbfs);
        let (circuit, values) = drivers()[i_driver].set_up(mounting);
        let element = Element::Driver {
            circuit: &circuit,
            values: &values,
        };
        let take = self
            .jig
            .bench
            .record(&element, &played, f64::from(RATE_HZ), seed)
            .unwrap();
        [bytes_of(&take.source), bytes_of(&take.driver)]
    }

    fn take(&mut self, take: &Value, channels: &[Vec<u8>; 2], level_dbfs: f64) -> Reply {
        let args = json!({
            "session": session(), "take": take, "sound": self.sound, "sample_rate_hz": RATE_HZ,
            "level_dbfs": level_dbfs, "n_reported_losses": 0,
        });
        self.ask("take", &args, &[&channels[0], &channels[1]])
    }
}

/// A session with a free-air take and one with a mass, made by the core itself.
fn measured(i_driver: usize, seed: u64) -> (Value, BTreeMap<String, Vec<u8>>) {
    let mut desk = Desk::new();
    let mut session = session();
    session["takes"] = json!([]);
    let mass_kg = good_mass(&drivers()[i_driver]);
    let heavy = Mounting::AddedMass {
        added_mass_kg: mass_kg,
    };
    let mut with_mass = free_air("added-mass-1");
    with_mass["condition"] = "added-mass".into();
    with_mass["mass"] = json!({"value": mass_kg, "unit": "kg", "half_width": 0.01 * mass_kg});
    let mut files = BTreeMap::new();
    for (take, mounting) in [
        (free_air("free-air-1"), Mounting::FreeAir),
        (with_mass, heavy),
    ] {
        let level_dbfs = -24.0 - 3.0 * chance(seed, 7);
        let channels = desk.record(i_driver, &mounting, "take", level_dbfs, seed);
        let (made, blobs) = desk.take(&take, &channels, level_dbfs).unwrap();
        assert_eq!(made["damaged"], false, "{made}");
        let path = made["take"]["files"][0].as_str().unwrap().to_owned();
        session["takes"]
            .as_array_mut()
            .unwrap()
            .push(made["take"].clone());
        files.insert(path, blobs[0].clone());
    }
    (session, files)
}

#[test]
fn what_is_typed_is_read_as_on_the_command_line() {
    let mut core = Core::default();
    let mut quantity = |text: &str, kind: &str| {
        ask(
            &mut core,
            "quantity",
            &json!({"text": text, "kind": kind}),
            &[],
        )
        .map(|(value, _)| value)
    };
    let mass = quantity("5.2g+-0.05g", "mass").unwrap();
    assert_eq!(
        mass["stated"],
        json!({"value": 0.0052, "unit": "kg", "half_width": 0.000_05})
    );
    assert_eq!(mass["shown"], "5.2 ± 0.05 g");
    // One inch is 25.4 mm exactly (NIST Special Publication 811, B.6).
    let inch = quantity("3in", "length").unwrap();
    assert!((inch["stated"]["value"].as_f64().unwrap() / 0.0762 - 1.0).abs() < 1e-12);
    assert_eq!(inch["shown"], "76.2 mm");
    assert_eq!(quantity("71.6F", "temperature").unwrap()["shown"], "22 °C");
    assert!(quantity("5.2", "mass").unwrap_err().contains("5.2g"));
    assert!(quantity("5.2g", "length").is_err());
}

#[test]
fn a_take_is_kept_as_it_was_recorded_and_judged_as_natively() {
    let mut desk = Desk::new();
    let channels = desk.record(3, &Mounting::FreeAir, "take", -24.0, 5);
    let (made, blobs) = desk
        .take(&free_air("free-air-1"), &channels, -24.0)
        .unwrap();
    assert_eq!(
        (made["damaged"].as_bool(), made["exchanged"].as_bool()),
        (Some(false), Some(false))
    );
    let (take, _) = read_take(std::io::Cursor::new(&blobs[0]), None).unwrap();
    // Half a step of 24 bits.
    for (samples, bytes) in [(take.source(), &channels[0]), (take.driver(), &channels[1])] {
        let recorded = samples_of(bytes);
        let off = samples
            .iter()
            .zip(&recorded)
            .map(|(a, b)| (f64::from(*a) - b).abs());
        assert!(off.fold(0.0, f64::max) <= 0.51 / f64::from(1 << 23));
    }
    let hash: String = Sha256::digest(&blobs[0])
        .iter()
        .map(|b| format!("{b:02x}"))
        .collect();
    assert_eq!(made["take"]["sha256"], json!([hash]));
    assert_eq!(made["take"]["level"]["playback_dbfs"], -24.0);
    // The same file, brought by hand.
    let mut args = json!({"session": session(), "take": free_air("free-air-1"), "sound": desk.sound, "played_rate_hz": RATE_HZ, "level_dbfs": -24.0});
    let (dropped, _) = desk.ask("dropped", &args, &[&blobs[0]]).unwrap();
    assert_eq!(dropped["take"]["sha256"], made["take"]["sha256"]);
    assert_eq!(dropped["findings"], made["findings"]);
    args["sound"] = Value::Null;
    let (blind, _) = desk.ask("dropped", &args, &[&blobs[0]]).unwrap();
    assert_eq!(blind["damaged"], false, "{blind}");
    assert!(desk.ask("dropped", &args, &[b"RIFF????"]).is_err());
}

/// A recorder at a rate of its own, beside a player that takes the page's file as it is.
#[test]
fn a_recorder_may_have_another_rate_than_the_page() {
    let mut desk = Desk::new();
    let played: Vec<f32> = desk
        .playback("take", -24.0)
        .iter()
        .map(|&v| v as f32)
        .collect();
    for rate_hz in [44_100, 96_000] {
        let at_rate: Vec<f64> = resampled(&played, f64::from(rate_hz) / f64::from(RATE_HZ))
            .iter()
            .map(|&v| f64::from(v))
            .collect();
        let (circuit, values) = drivers()[3].set_up(&Mounting::FreeAir);
        let element = Element::Driver {
            circuit: &circuit,
            values: &values,
        };
        let bench = &desk.jig.bench;
        let mut wav = vec![];
        let mut record = |played: &[f64]| {
            let take = bench
                .record(&element, played, f64::from(rate_hz), 8)
                .unwrap();
            wav.clear();
            let channels: [&[f32]; 2] = [&take.source, &take.driver];
            write_wav(&mut wav, rate_hz, &channels, WavFormat::Pcm24).unwrap();
            wav.clone()
        };
        let good = record(&at_rate);
        // Eleven milliseconds are missing.
        let mut shorter = at_rate.clone();
        let half = shorter.len() / 2;
        shorter.drain(half..half + rate_hz as usize / 90);
        let lossy = record(&shorter);
        let args = json!({
            "session": session(), "take": free_air("free-air-1"), "sound": desk.sound, "played_rate_hz": RATE_HZ, "level_dbfs": -24.0,
        });
        let (answered, _) = desk.ask("dropped", &args, &[&good]).unwrap();
        assert_eq!(answered["damaged"], false, "{rate_hz}: {answered}");
        assert_eq!(answered["findings"], json!([]), "{rate_hz}");
        let (answered, _) = desk.ask("dropped", &args, &[&lossy]).unwrap();
        assert_eq!(
            answered["findings"][0]["code"], "frames-lost",
            "{rate_hz}: {answered}"
        );
    }
}

#[test]
fn faults_are_named_on_the_spot() {
    let mut desk = Desk::new();
    let whole = desk.record(3, &Mounting::FreeAir, "take", -24.0, 9);
    let codes = |made: &Value| -> Vec<String> {
        let findings = made["findings"].as_array().unwrap();
        findings
            .iter()
            .map(|f| f["code"].as_str().unwrap().to_owned())
            .collect()
    };
    let [source, driver] = whole.clone();
    // A block of zeros in the middle of the sweep, as sound servers insert them.
    let gap = |bytes: &[u8]| {
        let mut bytes = bytes.to_vec();
        let at = bytes.len() / 8 * 4;
        bytes.splice(at..at, vec![0; 4 * 503]);
        bytes
    };
    let (gapped, _) = desk
        .take(&free_air("b"), &[gap(&source), gap(&driver)], -24.0)
        .unwrap();
    assert_eq!(gapped["damaged"], true);
    assert!(
        codes(&gapped).contains(&"frames-lost".to_owned()),
        "{gapped}"
    );
    let silent = vec![0; source.len()];
    let (dead, _) = desk
        .take(&free_air("c"), &[source.clone(), silent.clone()], -24.0)
        .unwrap();
    assert_eq!(dead["damaged"], true);
    let (mono, _) = desk
        .take(&free_air("d"), &[source.clone(), source.clone()], -24.0)
        .unwrap();
    assert_eq!(mono["damaged"], true, "{mono}");
    let same = json!({"sample_rate_hz": RATE_HZ});
    let noise: Vec<f32> = (0..RATE_HZ as usize)
        .map(|i| 1e-3 * (chance(3, i as u64) as f32 - 0.5))
        .collect();
    let noise = bytes_of(&noise);
    let (quiet, _) = desk.ask("quiet", &same, &[&noise, &noise]).unwrap();
    assert_eq!(codes(&quiet), ["identical-channels"]);
}

#[test]
fn automatic_gain_shows_between_two_levels() {
    let mut desk = Desk::new();
    let low = desk.record(3, &Mounting::FreeAir, "burst", -34.0, 1);
    let high = desk.record(3, &Mounting::FreeAir, "burst", -24.0, 2);
    let args = json!({"sound": desk.sound, "sample_rate_hz": RATE_HZ, "low_dbfs": -34.0, "high_dbfs": -24.0});
    let mut raw = |high: &[Vec<u8>; 2]| {
        desk.ask("raw", &args, &[&low[0], &low[1], &high[0], &high[1]])
            .unwrap()
            .0
    };
    let steady = raw(&high);
    assert_eq!(steady["steady"], true, "{steady}");
    // A gain control that takes 1 dB off what is loud, on either channel.
    let turned = |bytes: &[u8]| {
        let samples: Vec<f32> = samples_of(bytes)
            .iter()
            .map(|v| (v * 0.891) as f32)
            .collect();
        bytes_of(&samples)
    };
    for channel in 0..2 {
        let mut gained = high.clone();
        gained[channel] = turned(&gained[channel]);
        let moved = raw(&gained);
        assert_eq!(moved["steady"], false, "{moved}");
        assert!(
            (moved["difference_db"][channel].as_f64().unwrap() + 1.0).abs() < 0.1,
            "{moved}"
        );
    }
}

#[test]
fn the_level_is_sought_as_on_the_command_line() {
    use farcone::desk::{LevelSearch, Step};
    let mut desk = Desk::new();
    let (start, _) = desk
        .ask(
            "level_start",
            &json!({"session": session(), "take": free_air("x"), "sound": desk.sound, "sample_rate_hz": RATE_HZ}),
            &[],
        )
        .unwrap();
    let jig = SessionFile::from_json(
        &{
            let mut s = session();
            s["takes"] = json!([]);
            s
        }
        .to_string(),
    )
    .unwrap()
    .jig
    .unwrap();
    let native = farcone::desk::Desk {
        jig,
        sound: farcone::coins::DriverClass::Small.sound(7.0, RATE_HZ),
        source_full_scale_v: None,
        amplifier: false,
    };
    let condition = farcone::session::Condition::FreeAir;
    let mut search = LevelSearch::new(&native, condition);
    let mut card = BenchCard::new(desk.jig.bench.clone(), &drivers()[3], RATE_HZ, 1.0, 1.0, 4);
    card.arrange(Arrangement::Driver(Mounting::FreeAir));
    let mut next = start["next"].clone();
    let mut n_bursts = 0;
    let chosen = loop {
        match search.next() {
            Step::Burst(level_dbfs) => {
                assert_eq!(next, json!({"burst": level_dbfs}));
                let played = desk.playback("burst", level_dbfs);
                let playback = Playback::new(&played, RATE_HZ, 0.0).unwrap();
                let recorded = card.record(&playback, &mut Unmonitored).unwrap();
                search.saw(&native, &playback, &recorded);
                let (source, driver) = (
                    bytes_of(recorded.take.source()),
                    bytes_of(recorded.take.driver()),
                );
                let args = json!({"search": start["search"], "n_reported_losses": 0});
                next = desk
                    .ask("level_burst", &args, &[&source, &driver])
                    .unwrap()
                    .0["next"]
                    .clone();
                n_bursts += 1;
            }
            Step::Use(chosen) => break chosen,
            other => panic!("{other:?}"),
        }
    };
    assert!(n_bursts > 1, "{n_bursts}");
    assert_eq!(next["use"]["playback_dbfs"], chosen.playback_dbfs);
    assert!(chosen.playback_dbfs < -18.0 + 1e-9 && chosen.playback_dbfs > -60.0);
    // Searches end.
    let args = json!({"search": start["search"], "n_reported_losses": 0});
    assert!(desk.ask("level_burst", &args, &[&[], &[]]).is_err());
}

#[test]
fn the_page_concludes_what_the_library_does() {
    let (session, files) = measured(3, 11);
    let mut core = Core::default();
    let paths: Vec<&String> = files.keys().collect();
    let blobs: Vec<&[u8]> = files.values().map(Vec::as_slice).collect();
    let args = json!({"session": session, "files": paths, "last": "added-mass-1"});
    let (looked, _) = ask(&mut core, "analyse", &args, &blobs).unwrap();
    let mut file = SessionFile::from_json(&session.to_string()).unwrap();
    file.n_draws = 1000;
    let sheet = analyse(
        assemble_in_memory(file, &files, &mut Unwatched).unwrap(),
        &mut Unwatched,
    )
    .unwrap();
    assert_eq!(looked["verdict"], sheet.verdict);
    // Whoever reads the page has no flags.
    let findings = looked["findings"].as_array().unwrap();
    assert_eq!(findings.len(), sheet.findings.len());
    for (told, own) in findings.iter().zip(&sheet.findings) {
        assert_eq!(told["code"], own.code);
        assert!(!told["advice"].as_str().unwrap().contains("--"), "{told}");
    }
    assert!(
        sheet
            .findings
            .iter()
            .any(|finding| finding.advice.contains("--"))
    );
    assert_eq!(looked["fs_hz"], sheet.parameters.fs.as_ref().unwrap().value);
    let truth = drivers()[3].truth();
    let mms_kg = looked["mms_kg"].as_f64().unwrap();
    assert!((mms_kg / truth.mms_kg - 1.0).abs() < 0.02, "{mms_kg}");
    assert!(
        looked["chat"]
            .as_str()
            .unwrap()
            .starts_with("farcone:1 [unit 3] after added-mass-1: fs=")
    );
    // What is drawn keeps the peak.
    let plot = &looked["plot"][0];
    let drawn = plot["measured_ohm"].as_array().unwrap();
    assert!(drawn.len() > 200 && drawn.len() <= 402, "{}", drawn.len());
    let highest = |values: &[f64]| values.iter().copied().fold(0.0, f64::max);
    let curve = &sheet.curves[0];
    let all: Vec<f64> = curve
        .measured_re_ohm
        .iter()
        .zip(&curve.measured_im_ohm)
        .map(|(a, b)| a.hypot(*b))
        .collect();
    let drawn: Vec<f64> = drawn.iter().map(|v| v.as_f64().unwrap()).collect();
    assert_eq!(highest(&drawn), highest(&all));
    // Exchanged inputs are put right, and said.
    let mut exchanged = files.clone();
    for wav in exchanged.values_mut() {
        let (take, _) = read_take(std::io::Cursor::new(&wav), None).unwrap();
        let mut turned = vec![];
        let channels = [take.driver(), take.source()];
        write_wav(&mut turned, RATE_HZ, &channels, WavFormat::Pcm24).unwrap();
        *wav = turned;
    }
    let mut of_exchanged = args.clone();
    for take in of_exchanged["session"]["takes"].as_array_mut().unwrap() {
        take.as_object_mut().unwrap().remove("sha256");
    }
    let blobs: Vec<&[u8]> = exchanged.values().map(Vec::as_slice).collect();
    let (put_right, _) = ask(&mut core, "analyse", &of_exchanged, &blobs).unwrap();
    assert!(
        put_right["chat"]
            .as_str()
            .unwrap()
            .contains("channels-swapped"),
        "{}",
        put_right["chat"]
    );
    assert!(
        (put_right["fs_hz"].as_f64().unwrap() / looked["fs_hz"].as_f64().unwrap() - 1.0).abs()
            < 1e-6
    );
    // A recording that somebody changed is no longer the one that was made.
    let mut changed = files.clone();
    let first = changed.values_mut().next().unwrap();
    let last = first.len() - 1;
    first[last] ^= 1;
    let blobs: Vec<&[u8]> = changed.values().map(Vec::as_slice).collect();
    assert!(ask(&mut core, "analyse", &args, &blobs).is_err());
}

/// The first mass was tried twice, so that takes are numbered otherwise than masses: what is wrong with the second mass has to lead to
/// its own take.
#[test]
fn findings_name_the_takes_that_they_are_about() {
    let mut desk = Desk::new();
    let driver = &drivers()[3];
    let mut session = session();
    session["takes"] = json!([]);
    let mut files = BTreeMap::new();
    for (name, mass_kg) in [
        ("free-air-1", None),
        ("added-mass-2", Some(good_mass(driver))),
        ("added-mass-3", Some(1.5 * good_mass(driver))),
    ] {
        let mut take = free_air(name);
        let mut mounting = Mounting::FreeAir;
        if let Some(added_mass_kg) = mass_kg {
            take["condition"] = "added-mass".into();
            take["mass"] =
                json!({"value": added_mass_kg, "unit": "kg", "half_width": 0.01 * added_mass_kg});
            mounting = Mounting::AddedMass { added_mass_kg };
        }
        let mut channels = desk.record(3, &mounting, "take", -24.0, 5);
        if name == "added-mass-3" {
            // The clips hold a resistor.
            let played = desk.playback("take", -24.0);
            let element = Element::Resistor(6.0);
            let take = desk
                .jig
                .bench
                .record(&element, &played, f64::from(RATE_HZ), 5)
                .unwrap();
            channels = [bytes_of(&take.source), bytes_of(&take.driver)];
        }
        let (made, blobs) = desk.take(&take, &channels, -24.0).unwrap();
        files.insert(
            made["take"]["files"][0].as_str().unwrap().to_owned(),
            blobs[0].clone(),
        );
        session["takes"]
            .as_array_mut()
            .unwrap()
            .push(made["take"].clone());
    }
    let paths: Vec<&String> = files.keys().collect();
    let blobs: Vec<&[u8]> = files.values().map(Vec::as_slice).collect();
    for (last, is_told) in [("added-mass-3", true), ("added-mass-2", false)] {
        let args = json!({"session": session, "files": paths, "last": last});
        let (seen, _) = desk.ask("analyse", &args, &blobs).unwrap();
        let findings = seen["findings"].as_array().unwrap();
        let serious: Vec<&Value> = findings
            .iter()
            .filter(|f| f["severity"] == "redo")
            .collect();
        assert!(!serious.is_empty(), "{seen}");
        for finding in serious {
            assert_eq!(finding["takes"], json!(["added-mass-3"]), "{finding}");
        }
        let about_last = seen["about_last"].as_array().unwrap();
        assert_eq!(!about_last.is_empty(), is_told, "{last}: {about_last:?}");
    }
}

/// A recording of one input with a known resistor, on a jig whose sense resistor is 51 ohm.
fn one_input_take(core: &mut Core, session: &Value, n_reported_losses: u32) -> (Value, Vec<u8>) {
    let sound = json!({"start_hz": 5.0, "length_s": 4.0, "ceiling_dbfs": -18.0});
    let args = json!({"sound": sound, "sample_rate_hz": RATE_HZ, "level_dbfs": -24.0});
    let (made, blobs) = ask(core, "one_input_sound", &args, &[]).unwrap();
    let clip = OneClip::new(1.3, 12.0, 6.0, 2);
    let bench = Jig::new(Wiring::AcrossDriver, 51.0).bench;
    let samples = bench
        .record_one_input(
            &Element::Resistor(22.0),
            &samples_of(&blobs[0]),
            &clip,
            f64::from(RATE_HZ),
            3,
        )
        .unwrap();
    let args = json!({
        "session": session, "sound": sound, "sample_rate_hz": RATE_HZ, "level_dbfs": -24.0,
        "take": {
            "name": "check-resistor-1", "condition": "check-resistor", "files": ["takes/check-resistor-1.wav"],
            "resistance": {"value": 22.0, "unit": "Ohm", "half_width": 0.22},
        },
        "period_frames": made["period_frames"], "n_reported_losses": n_reported_losses,
    });
    let (take, mut blobs) = ask(core, "one_input_take", &args, &[&bytes_of(&samples)]).unwrap();
    (take, blobs.remove(0))
}

#[test]
fn losses_that_the_browser_reported_are_told_of_one_input_too() {
    let mut core = Core::default();
    let (clean, _) = one_input_take(&mut core, &session(), 0);
    assert_eq!(clean["findings"], json!([]));
    let (lossy, _) = one_input_take(&mut core, &session(), 2);
    let finding = &lossy["findings"][0];
    assert_eq!(
        (&finding["code"], &finding["severity"]),
        (&json!("frames-lost"), &json!("note")),
        "{lossy}"
    );
    assert_eq!(finding["takes"], json!(["check-resistor-1"]));
    assert_eq!(lossy["damaged"], false);
}

/// 47 ohm typed for 51 must not be calibrated away.
#[test]
fn a_known_resistor_tests_the_jig_of_one_input() {
    let mut core = Core::default();
    for (typed_ohm, passes) in [(51.0, true), (47.0, false)] {
        let mut session = session();
        session["jig"]["sense"] =
            json!({"value": typed_ohm, "unit": "Ohm", "half_width": 0.01 * typed_ohm});
        let (made, wav) = one_input_take(&mut core, &session, 0);
        session["takes"] = json!([made["take"]]);
        let args = json!({"session": session, "files": made["take"]["files"]});
        let (read, _) = ask(&mut core, "jig", &args, &[&wav]).unwrap();
        assert_eq!(read["checks"][0]["passes"], passes, "{read}");
        let advised: Vec<&Value> = read["findings"]
            .as_array()
            .unwrap()
            .iter()
            .filter(|f| f["severity"] != "note")
            .collect();
        assert_eq!(advised.is_empty(), passes, "{read}");
        for finding in advised {
            assert_eq!(finding["takes"], json!(["check-resistor-1"]), "{finding}");
            assert!(!finding["advice"].as_str().unwrap().is_empty());
        }
    }
}

#[test]
fn every_coin_says_who_publishes_its_mass() {
    let (known, _) = ask(&mut Core::default(), "coins", &Value::Null, &[]).unwrap();
    for currency in known["currencies"].as_array().unwrap() {
        for coin in currency["coins"].as_array().unwrap() {
            assert!(
                coin["source"].as_str().is_some_and(|of| of.len() > 5),
                "{coin}"
            );
        }
    }
}

fn sha256(bytes: &[u8]) -> String {
    Sha256::digest(bytes)
        .iter()
        .map(|byte| format!("{byte:02x}"))
        .collect()
}

/// Bytes are not compared, since compilers differ; what they were made from is.
#[test]
fn the_compiled_library_is_up_to_date() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let built_from = fs::read_to_string(root.join("src/kit/core/built-from.txt")).unwrap();
    let mut stale = vec![];
    let mut n_sources = 0;
    for line in built_from.lines() {
        let (hash, path) = line.split_once("  ").unwrap();
        let now = if path == "cargo tree" {
            crates()
        } else {
            n_sources += 1;
            fs::read(root.join(path)).map_or_else(|_| "gone".to_owned(), |bytes| sha256(&bytes))
        };
        if now != hash {
            stale.push(path);
        }
    }
    assert!(n_sources > 150, "{n_sources}");
    assert!(
        stale.is_empty(),
        "the kit's page holds a library from before {stale:?} changed: src/kit/core/build.sh"
    );
}

/// The hash of the crates that the library for the browser is made of, with their features, as `build.sh` takes it.
fn crates() -> String {
    let output = Command::new(env!("CARGO"))
        .args([
            "tree",
            "--locked",
            "--no-default-features",
            "--target",
            "wasm32-unknown-unknown",
        ])
        .args(["-e", "normal", "--prefix", "none", "--format", "{p} {f}"])
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .output()
        .unwrap();
    assert!(
        output.status.success(),
        "{}",
        String::from_utf8_lossy(&output.stderr)
    );
    let text = String::from_utf8(output.stdout).unwrap();
    let mut lines: Vec<&str> = text.lines().skip(1).collect();
    lines.sort_unstable();
    lines.dedup();
    sha256((lines.join("\n") + "\n").as_bytes())
}

/// Twenty recordings, judged and concluded in both.
#[test]
#[ignore = "needs node; .ci/run has it"]
fn the_compiled_library_answers_alike() {
    if !common::outside::have(&["node"], "nodejs") {
        return;
    }
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let folder = tempfile::tempdir().unwrap();
    let mut native = vec![];
    for i in 0..10_u64 {
        let (session, files) = measured(i as usize % drivers().len(), 100 + i);
        let paths: Vec<&String> = files.keys().collect();
        let blobs: Vec<&[u8]> = files.values().map(Vec::as_slice).collect();
        let args = json!({"kit": "K-00000000", "driver": 0, "session": session, "files": paths, "browser": null, "log": []});
        let mut asked = vec![("bundle", args, blobs.clone())];
        for (blob, take) in blobs.iter().zip(session["takes"].as_array().unwrap()) {
            let mut take = take.clone();
            take.as_object_mut().unwrap().remove("sha256");
            let sound = json!({"start_hz": 5.0, "length_s": 7.0, "ceiling_dbfs": -18.0});
            let args = json!({"session": session, "take": take, "sound": sound, "played_rate_hz": RATE_HZ, "level_dbfs": take["level"]["playback_dbfs"]});
            asked.push(("dropped", args, vec![blob]));
        }
        for (j, (op, args, blobs)) in asked.into_iter().enumerate() {
            let bytes = request(op, &args, &blobs);
            fs::write(folder.path().join(format!("{i}-{j}.request")), &bytes).unwrap();
            native.push((
                format!("{i}-{j}.reply"),
                reply(&Core::default().answer(&bytes)),
            ));
        }
    }
    let output = Command::new("node")
        .arg(root.join("tests/page/answer.mjs"))
        .arg(root.join("src/kit/core/farcone.wasm.gz"))
        .arg(folder.path())
        .output()
        .unwrap();
    println!("{}", String::from_utf8_lossy(&output.stdout));
    assert!(
        output.status.success(),
        "{}",
        String::from_utf8_lossy(&output.stderr)
    );
    let mut n = 0;
    for (name, expected) in native {
        let (expected, expected_blobs) = expected.unwrap();
        let (found, blobs) = reply(&fs::read(folder.path().join(&name)).unwrap()).unwrap();
        if name.ends_with("-0.reply") {
            let [ours, theirs] = [&expected_blobs[0], &blobs[0]]
                .map(|zip| farcone::bundle::read(zip).unwrap().sheet.unwrap());
            let differ = farcone::compare::disagreements(&theirs, &ours);
            assert!(differ.is_empty(), "{name}: {differ:?}");
        } else {
            n += 1;
            assert_eq!(found["damaged"], expected["damaged"], "{name}");
            assert_eq!(found["take"], expected["take"], "{name}");
            let codes = |value: &Value| -> Vec<Value> {
                value["findings"]
                    .as_array()
                    .unwrap()
                    .iter()
                    .map(|f| f["code"].clone())
                    .collect()
            };
            assert_eq!(codes(&found), codes(&expected), "{name}");
        }
    }
    assert_eq!(n, 20);
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(200))]

    #[test]
    fn nonsense_gets_a_sentence(bytes in prop::collection::vec(any::<u8>(), 0..200)) {
        let said = reply(&Core::default().answer(&bytes)).unwrap_err();
        prop_assert!(!said.is_empty());
    }

    #[test]
    fn a_request_that_is_cut_or_wrong_gets_a_sentence(cut in 0_usize..1000, op in 0_usize..12) {
        let ops = ["sound", "playback", "quiet", "tapped", "raw", "level_start", "level_burst", "take", "dropped", "jig", "analyse", "?"];
        let args = json!({"class": "x", "sound": {"start_hz": -1.0, "length_s": 1e9, "ceiling_dbfs": 99.0}, "sample_rate_hz": 1, "kind": "take",
            "level_dbfs": 10.0, "session": {}, "take": null, "files": ["a"], "search": 3, "n_reported_losses": 0, "calibration": true,
            "low_dbfs": 0.0, "high_dbfs": 0.0});
        let whole = request(ops[op], &args, &[&[0; 8], &[0; 8]]);
        let said = reply(&Core::default().answer(&whole)).unwrap_err();
        prop_assert!(!said.is_empty());
        let cut = &whole[..cut % whole.len()];
        prop_assert!(reply(&Core::default().answer(cut)).is_err());
    }
}

/// The lowest level for each class of driver, found from what the bursts show.
#[test]
fn every_class_finds_a_level_that_serves() {
    use farcone::coins::DriverClass;
    use farcone::desk::{LevelSearch, Step};
    let mut known = session();
    known["takes"] = json!([]);
    let jig = SessionFile::from_json(&known.to_string())
        .unwrap()
        .jig
        .unwrap();
    for (class, suits) in [
        (DriverClass::Small, 60.0..150.0),
        (DriverClass::Woofer, 20.0..60.0),
        (DriverClass::Tweeter, 500.0..2000.0),
    ] {
        let driver = drivers()
            .iter()
            .find(|driver| suits.contains(&driver.truth().fs_hz))
            .unwrap();
        let native = farcone::desk::Desk {
            jig,
            sound: class.sound(7.0, RATE_HZ),
            source_full_scale_v: None,
            amplifier: false,
        };
        let desk = Desk::new();
        let mut card = BenchCard::new(desk.jig.bench, driver, RATE_HZ, 1.0, 1.0, 4);
        card.arrange(Arrangement::Driver(Mounting::FreeAir));
        let mut search = LevelSearch::new(&native, farcone::session::Condition::FreeAir);
        let mut lines = vec![];
        let chosen = loop {
            match search.next() {
                Step::Burst(level_dbfs) => {
                    let playback = native.sound.burst(level_dbfs).unwrap();
                    let recorded = card.record(&playback, &mut Unmonitored).unwrap();
                    let reading = search.saw(&native, &playback, &recorded);
                    lines.extend(reading.as_ref().map(farcone::desk::burst_line));
                }
                Step::Use(chosen) => break chosen,
                other => panic!("{class:?}: {other:?}"),
            }
        };
        println!(
            "{class:?}, fs {:.0} Hz: {lines:?} {chosen:?}",
            driver.truth().fs_hz
        );
        let u = chosen
            .relative_uncertainty
            .unwrap_or_else(|| panic!("{class:?}: {lines:?}"));
        assert!(u < 0.002, "{class:?}: {u}");
    }
}
