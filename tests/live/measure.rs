//! The whole measurement against the truth, on both hosts.

use std::path::Path;
use std::time::Duration;

use farcone::parameters::Key;
use farcone::sheet::Sheet;

use crate::program::{Ended, Running};
use crate::server::{Server, Setup, available};
use crate::truth::{DRIVER, Parameters};

/// How far a parameter may be off, relative: the project's promise.
const PROMISE: f64 = 5e-3;
/// The usual rate of the server and the program.
pub const RATE_HZ: u32 = 48_000;
/// Two takes of some twelve seconds with a search for the level; a damaged take is repeated twice.
pub const MEASURE_LIMIT: Duration = Duration::from_secs(180);

/// A way to the sound server.
#[derive(Clone, Copy, Debug)]
pub struct Host {
    pub name: &'static str,
    pub output: &'static str,
    pub input: &'static str,
}

pub const ALSA: Host = Host {
    name: "alsa",
    output: "jig_play",
    input: "jig_rec",
};
pub const NATIVE: Host = Host {
    name: "pulseaudio",
    output: "jigA",
    input: "jigB.monitor",
};
pub const HOSTS: [Host; 2] = [ALSA, NATIVE];

impl Host {
    /// The flags that say where the sound goes and what the jig is.
    pub fn flags(&self) -> Vec<String> {
        [
            "--host",
            self.name,
            "--output",
            self.output,
            "--input",
            self.input,
            "--sense",
            "47ohm",
            "--wiring",
            "across-driver",
        ]
        .map(str::to_owned)
        .to_vec()
    }

    /// `measure` without questions, the sheet alone on standard output.
    pub fn measure(&self, session: &Path) -> Vec<String> {
        let mut arguments = vec!["measure".to_owned(), path(session)];
        arguments.extend(["--yes", "--label", "live", "--json"].map(str::to_owned));
        arguments.extend(["--steps", "free-air,free-air"].map(str::to_owned));
        arguments.extend(self.flags());
        arguments
    }

    /// A single take at a level of its own, which leaves out the search.
    pub fn record(&self, session: &Path, rate_hz: u32) -> Vec<String> {
        let mut arguments = vec!["record".to_owned(), path(session)];
        arguments.extend(["--condition", "free-air", "--level", "-20dBFS"].map(str::to_owned));
        arguments.extend(["--rate".to_owned(), format!("{rate_hz}Hz")]);
        arguments.extend(self.flags());
        arguments
    }
}

pub fn path(path: &Path) -> String {
    path.to_str().expect("a UTF-8 path").to_owned()
}

pub fn measured(server: &Server, host: &Host, session: &Path) -> Ended {
    Running::start(server, host.measure(session)).end_within(MEASURE_LIMIT)
}

/// Holds a sheet's parameters against the truth.
pub fn check(sheet: &Sheet, truth: &Parameters) {
    let expected = [
        (Key::Fs, truth.fs_hz),
        (Key::Re, truth.re_ohm),
        (Key::Qms, truth.qms),
        (Key::Qes, truth.qes),
        (Key::Qts, truth.qts),
    ];
    let off: Vec<(Key, f64)> = expected
        .map(|(name, value)| {
            let found = sheet.parameters.get(name);
            let found =
                found.unwrap_or_else(|| panic!("no {name:?} in {}", sheet.to_json().unwrap()));
            (name, found.value / value - 1.0)
        })
        .to_vec();
    for (name, off) in &off {
        println!("{name:?} is off by {:.4} %", 100.0 * off);
    }
    assert!(
        off.iter().all(|(_, off)| off.abs() < PROMISE),
        "{off:?} of {truth:?}"
    );
}

fn n_runs() -> usize {
    std::env::var("FARCONE_LIVE_RUNS").map_or(3, |text| text.parse().expect("a number of runs"))
}

fn check_on_fresh_servers(host: &Host) {
    if !available() {
        return;
    }
    for run in 0..n_runs() {
        let server = Server::start(&Setup::new(DRIVER));
        let folder = tempfile::tempdir().expect("a temporary folder");
        let ended = measured(&server, host, &folder.path().join("session"));
        assert_eq!(
            ended.code,
            Some(0),
            "run {run}: {}\n{}",
            ended.out,
            ended.err
        );
        check(&ended.sheet(), &DRIVER.discretised(f64::from(RATE_HZ)));
    }
}

#[test]
#[ignore = "needs a PulseAudio server; .ci/run has it"]
fn finds_the_truth_through_alsa() {
    check_on_fresh_servers(&ALSA);
}

#[test]
#[ignore = "needs a PulseAudio server; .ci/run has it"]
fn finds_the_truth_through_the_native_host() {
    check_on_fresh_servers(&NATIVE);
}
