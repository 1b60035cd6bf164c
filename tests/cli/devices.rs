//! `farcone devices`, on whatever machine this runs: with sound devices or without.

use std::time::Instant;

use serde_json::Value;

use super::{farcone, ran, run};

/// A listing is waited for at most five seconds; the rest is for starting the program on a busy machine.
const LONGEST_S: f64 = 10.0;

#[test]
fn the_listing_is_one_document_and_nothing_else() {
    let begun = Instant::now();
    let ran = run(["devices", "--json"]);
    assert!(begun.elapsed().as_secs_f64() < LONGEST_S);
    // Not a word from the sound system either.
    assert_eq!((ran.code, ran.err.as_str()), (0, ""));
    let list: Value = serde_json::from_str(&ran.out).unwrap();
    for host in list["hosts"].as_array().unwrap() {
        assert!(host["host"].is_string());
        for side in ["outputs", "inputs"] {
            for device in host[side].as_array().unwrap() {
                assert!(device["id"].is_string() && device["label"].is_string());
                assert_ne!(device["id"], "null");
                assert!(device["channels"].is_u64() && device["rates_hz"].is_array());
            }
        }
        for pair in host["pairs"].as_array().unwrap() {
            assert!(pair["suits"].is_boolean());
            assert!(pair["clock"] == "same device" || pair["clock"] == "unknown");
        }
    }
}

/// A server that is not there, and a configuration of ALSA without a device.
#[test]
fn without_devices_it_says_what_to_do() {
    let folder = tempfile::tempdir().unwrap();
    let config = folder.path().join("asound.conf");
    std::fs::write(&config, "pcm.nothing { type null }\n").unwrap();
    let mut command = farcone(["devices"]);
    command
        .env("ALSA_CONFIG_PATH", &config)
        .env("HOME", folder.path())
        .env("XDG_RUNTIME_DIR", folder.path())
        .env("PULSE_RUNTIME_PATH", folder.path())
        .env(
            "PULSE_SERVER",
            format!("unix:{}/none", folder.path().display()),
        );
    let ran = ran(&command.output().unwrap());
    assert_eq!((ran.code, ran.err.as_str()), (0, ""));
    // Other systems and machines with a real card name devices all the same.
    if !ran.out.contains("outputs\n    ") && !ran.out.contains("inputs\n    ") {
        assert!(ran.out.contains("What to do"), "{}", ran.out);
    }
}

#[test]
fn it_takes_no_folder() {
    let ran = run(["devices", "somewhere"]);
    assert_eq!((ran.code, ran.out.as_str()), (2, ""));
}
