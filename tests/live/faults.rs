//! What goes wrong while a take is recorded: each fault ends in time, is named, and leaves no half-written file.

use std::fs;
use std::path::Path;
use std::thread::sleep;
use std::time::{Duration, Instant};

use farcone::recording::read_wav;

use crate::measure::{HOSTS, Host, MEASURE_LIMIT, RATE_HZ, check, measured};
use crate::program::{Ended, REPEATS, Running, SOUND_LIMIT, STEADY, signal};
use crate::server::{OUTPUT, Server, Setup, available};
use crate::truth::DRIVER;

/// How long after a fault, or after the end of a take whose data alone shows it, the program may still run.
const PROMISE: Duration = Duration::from_secs(5);

/// When the program has to have ended.
enum Shows {
    /// The devices stand still or are gone.
    AtOnce,
    /// The recording runs to its end and only then tells.
    InTheData,
}

/// Makes the fault.
type Inject = fn(&mut Server, &Running);

/// One take on a server, with a fault in the middle of it.
fn faulty_take(host: &Host, setup: &Setup, inject: Inject, shows: &Shows) -> Ended {
    let mut server = Server::start(setup);
    let folder = tempfile::tempdir().expect("a temporary folder");
    let session = folder.path().join("session");
    let mut running = Running::start(&server, host.record(&session, RATE_HZ));
    running.wait_for_sound(&server, STEADY);
    inject(&mut server, &running);
    let from = match shows {
        Shows::AtOnce => Instant::now(),
        Shows::InTheData => running.wait_for_silence(&server, SOUND_LIMIT),
    };
    running.end_or_repeat_within(PROMISE.saturating_sub(from.elapsed()));
    let answered = from.elapsed();
    // A take that is made again is another one; up to two follow.
    let ended = running.end_within(3 * SOUND_LIMIT);
    check_folder(&session);
    println!(
        "{}: answered after {answered:.1?}, code {:?}: {}",
        host.name,
        ended.code,
        ended.err.trim()
    );
    ended
}

/// Only whole files: the session, its lock and takes.
fn check_folder(session: &Path) {
    let mut left = vec![];
    collect(session, &mut left);
    for path in &left {
        let name = path
            .file_name()
            .and_then(|name| name.to_str())
            .expect("UTF-8");
        let whole = match path.extension().and_then(|extension| extension.to_str()) {
            Some("wav") => read_wav(fs::File::open(path).unwrap()).is_ok(),
            Some("json") => {
                serde_json::from_slice::<serde_json::Value>(&fs::read(path).unwrap()).is_ok()
            }
            _ => name == ".lock",
        };
        assert!(whole, "{} was left in {left:?}", path.display());
    }
}

fn collect(folder: &Path, files: &mut Vec<std::path::PathBuf>) {
    let Ok(entries) = fs::read_dir(folder) else {
        return;
    };
    for entry in entries {
        let path = entry.expect("an entry").path();
        if path.is_dir() {
            collect(&path, files);
        } else {
            files.push(path);
        }
    }
}

/// On both hosts: the exit code is not 0 or the take was made again, and one of the words is said.
fn check_fault(setup: &Setup, inject: Inject, shows: &Shows, words: &[&str]) {
    if !available() {
        return;
    }
    let mut wrong = vec![];
    for host in &HOSTS {
        let ended = faulty_take(host, setup, inject, shows);
        let said = format!("{}{}", ended.out, ended.err);
        let mut hold = |holds: bool, what: String| {
            if !holds {
                wrong.push(format!("{}: {what}", host.name));
            }
        };
        hold(
            ended.code.is_some_and(|code| code != 0) || ended.err.contains(REPEATS),
            format!("code {:?}", ended.code),
        );
        hold(
            words.iter().any(|word| said.contains(word)),
            format!("said none of {words:?}"),
        );
        hold(!said.contains("panicked"), "panicked".to_owned());
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}

#[test]
#[ignore = "needs a PulseAudio server; .ci/run has it"]
fn a_sink_suspended_for_good() {
    let suspend: Inject = |server, _| server.order(&["suspend-sink", "jigB", "1"]);
    check_fault(
        &Setup::new(DRIVER),
        suspend,
        &Shows::AtOnce,
        &["stands still"],
    );
}

#[test]
#[ignore = "needs a PulseAudio server; .ci/run has it"]
fn a_sink_suspended_for_a_second() {
    let pause: Inject = |server, _| {
        server.order(&["suspend-sink", "jigB", "1"]);
        sleep(Duration::from_secs(1));
        server.order(&["suspend-sink", "jigB", "0"]);
    };
    check_fault(
        &Setup::new(DRIVER),
        pause,
        &Shows::InTheData,
        &["frames", "stands still"],
    );
}

#[test]
#[ignore = "needs a PulseAudio server; .ci/run has it"]
fn a_sink_unloaded_while_another_exists() {
    // Streams move to the default sink.
    let to_spare: Inject = |server, _| {
        server.order(&["set-default-sink", "spare"]);
        server.unload("sink_name=jigA");
    };
    let setup = Setup {
        spare_sink: true,
        ..Setup::new(DRIVER)
    };
    let words = ["frames", "vanishes", "stopped with an error"];
    check_fault(&setup, to_spare, &Shows::InTheData, &words);
}

#[test]
#[ignore = "needs a PulseAudio server; .ci/run has it"]
fn the_driver_lost_in_the_middle() {
    // The stream moves to what the jig itself plays to: the source channel goes on, the driver's falls silent.
    let to_bare_output: Inject = |server, _| {
        server.order(&["set-default-sink", "jigB"]);
        server.unload("sink_name=jigA");
    };
    check_fault(
        &Setup::new(DRIVER),
        to_bare_output,
        &Shows::InTheData,
        &["driver", "frames", "stopped with an error"],
    );
}

#[test]
#[ignore = "needs a PulseAudio server; .ci/run has it"]
fn all_sinks_unloaded() {
    let unload: Inject = |server, _| server.unload("sink_name=jigB");
    check_fault(
        &Setup::new(DRIVER),
        unload,
        &Shows::AtOnce,
        &["stopped", "stands still"],
    );
}

#[test]
#[ignore = "needs a PulseAudio server; .ci/run has it"]
fn the_server_killed() {
    let kill: Inject = |server, _| server.kill();
    check_fault(
        &Setup::new(DRIVER),
        kill,
        &Shows::AtOnce,
        &["stopped", "stands still"],
    );
}

#[test]
#[ignore = "needs a PulseAudio server; .ci/run has it"]
fn the_server_frozen() {
    let freeze: Inject = |server, _| signal(server.pid(), "STOP");
    check_fault(
        &Setup::new(DRIVER),
        freeze,
        &Shows::AtOnce,
        &["stands still", "does not answer"],
    );
}

#[test]
#[ignore = "needs a PulseAudio server; .ci/run has it"]
fn the_volume_changed() {
    let quieter: Inject = |server, _| server.order(&["set-sink-volume", OUTPUT, "50%"]);
    check_fault(
        &Setup::new(DRIVER),
        quieter,
        &Shows::InTheData,
        &["level changed"],
    );
}

#[test]
#[ignore = "needs a PulseAudio server; .ci/run has it"]
fn the_output_muted() {
    let mute: Inject = |server, _| server.order(&["set-sink-mute", OUTPUT, "1"]);
    check_fault(&Setup::new(DRIVER), mute, &Shows::InTheData, &["vanishes"]);
}

#[test]
#[ignore = "needs a PulseAudio server; .ci/run has it"]
fn a_sink_at_another_rate() {
    for rate_hz in [44_100, 32_000] {
        let setup = Setup {
            rate_hz,
            ..Setup::new(DRIVER)
        };
        check_fault(&setup, |_, _| (), &Shows::InTheData, &["rate", "resampl"]);
    }
}

#[test]
#[ignore = "needs a PulseAudio server; .ci/run has it"]
fn the_program_stopped_for_half_a_second() {
    let stop: Inject = |_, running| {
        signal(running.pid(), "STOP");
        sleep(Duration::from_millis(500));
        signal(running.pid(), "CONT");
    };
    check_fault(
        &Setup::new(DRIVER),
        stop,
        &Shows::InTheData,
        &["frames", "stopped with an error"],
    );
}

/// What goes wrong once costs a take, not the measurement.
#[test]
#[ignore = "needs a PulseAudio server; .ci/run has it"]
fn a_damaged_take_is_made_again() {
    if !available() {
        return;
    }
    for host in &HOSTS {
        let server = Server::start(&Setup::new(DRIVER));
        let folder = tempfile::tempdir().expect("a temporary folder");
        let session = folder.path().join("session");
        let mut running = Running::start(&server, host.measure(&session));
        running.wait_for_sound(&server, STEADY);
        server.order(&["set-sink-volume", OUTPUT, "50%"]);
        sleep(Duration::from_millis(300));
        server.order(&["set-sink-volume", OUTPUT, "100%"]);
        let ended = running.end_within(MEASURE_LIMIT);
        assert_eq!(ended.code, Some(0), "{}\n{}", ended.out, ended.err);
        assert!(ended.err.contains(REPEATS), "{}", ended.err);
        check_folder(&session);
        check(&ended.sheet(), &DRIVER.discretised(f64::from(RATE_HZ)));
    }
}

/// After a fault the session goes on where it stood.
#[test]
#[ignore = "needs a PulseAudio server; .ci/run has it"]
fn a_session_goes_on_after_the_server_died() {
    if !available() {
        return;
    }
    for host in &HOSTS {
        let mut server = Server::start(&Setup::new(DRIVER));
        let folder = tempfile::tempdir().expect("a temporary folder");
        let session = folder.path().join("session");
        let mut running = Running::start(&server, host.measure(&session));
        running.wait_for_sound(&server, STEADY);
        server.kill();
        let ended = running.end_within(PROMISE);
        assert_eq!(ended.code, Some(1), "{}\n{}", ended.out, ended.err);
        check_folder(&session);
        let server = Server::start(&Setup::new(DRIVER));
        let ended = measured(&server, host, &session);
        assert_eq!(ended.code, Some(0), "{}\n{}", ended.out, ended.err);
        check(&ended.sheet(), &DRIVER.discretised(f64::from(RATE_HZ)));
    }
}
