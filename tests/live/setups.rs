//! Set-ups that are wrong from the start, as people have them: the right sheet, or a stop that says what to change, before
//! anything loud was played.

use crate::measure::{Host, MEASURE_LIMIT, NATIVE, RATE_HZ, check};
use crate::program::Running;
use crate::server::{Faults, Server, Setup, available};
use crate::sounds::Listener;
use crate::truth::DRIVER;

/// Louder than this is loud, relative to full scale: takes play near -20 dBFS.
const LOUD_DBFS: f64 = -30.0;

/// Measures; where it stops, one of the words has to be in what it says.
fn right_or_stopped(name: &str, faults: Faults, host: &Host, words: &[&str]) {
    if !available() {
        return;
    }
    let mut setup = Setup::new(DRIVER);
    setup.faults = faults;
    let server = Server::start(&setup);
    let listener = Listener::start(&server, RATE_HZ);
    let folder = tempfile::tempdir().expect("a temporary folder");
    let running = Running::start(&server, host.measure(&folder.path().join("session")));
    let ended = running.end_within(MEASURE_LIMIT);
    let [left, _] = listener.stop();
    let said = format!("{}{}", ended.out, ended.err);
    if ended.code == Some(0) {
        println!("{name}: measured");
        check(&ended.sheet(), &DRIVER.discretised(f64::from(RATE_HZ)));
        return;
    }
    let peak = left.iter().fold(0.0, |peak: f32, v| peak.max(v.abs()));
    let peak_dbfs = 20.0 * f64::from(peak).log10();
    println!(
        "{name}: code {:?} after {peak_dbfs:.1} dBFS: {}",
        ended.code,
        ended.err.trim()
    );
    assert!(
        words.iter().any(|word| said.contains(word)),
        "none of {words:?} in: {said}"
    );
    assert!(
        peak_dbfs < LOUD_DBFS,
        "{peak_dbfs} dBFS was played before: {said}"
    );
}

#[test]
#[ignore = "needs a PulseAudio server; .ci/run has it"]
fn direct_monitoring_on() {
    let faults = Faults {
        feedback: 0.5,
        ..Faults::default()
    };
    right_or_stopped("direct monitoring", faults, &NATIVE, &["monitoring"]);
}

#[test]
#[ignore = "needs a PulseAudio server; .ci/run has it"]
fn an_output_without_current() {
    // 0.1 V peak where 20 mA would be 1 V: the simulated full scale is 1 V.
    let faults = Faults {
        limit_a: 0.1e-3,
        ..Faults::default()
    };
    right_or_stopped(
        "weak output",
        faults,
        &NATIVE,
        &["cannot deliver", "clip", "distort"],
    );
}

#[test]
#[ignore = "needs a PulseAudio server; .ci/run has it"]
fn one_input_only() {
    let mono = Host {
        input: "mono",
        ..NATIVE
    };
    right_or_stopped(
        "one input",
        Faults::default(),
        &mono,
        &["channel", "two inputs"],
    );
}
