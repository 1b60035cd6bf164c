//! `farcone record`, and what happens where a take cannot be made or kept.

use std::ffi::OsStr;
use std::fs::{self, File};
use std::path::Path;

use farcone::chat::ChatLine;

use super::measure::{Bench, assert_nothing_half_written, files};
use super::{Ran, run};

/// `farcone record` of the invented card; `more` comes last.
fn record(session: &Path, condition: &str, more: &[&str]) -> Ran {
    let common = [
        "--host",
        "bench",
        "--sense",
        "47ohm+-1%",
        "--wiring",
        "across-driver",
        "--length",
        "2s",
        "--level",
        "-40dBFS",
        "--condition",
        condition,
    ];
    let begin = [OsStr::new("record"), session.as_os_str()];
    let rest = common.iter().chain(more).map(OsStr::new);
    run(begin.into_iter().chain(rest))
}

#[test]
fn takes_are_added_one_by_one_and_can_be_fitted() {
    let bench = Bench::new();
    let session = bench.session();
    for (condition, more) in [
        ("same-node", &[][..]),
        ("free-air", &[]),
        ("free-air", &["--remounted"]),
        ("added-mass", &["--mass", "2.4g+-0.05g"]),
    ] {
        let ran = record(&session, condition, more);
        assert_eq!(ran.code, 0, "{}", ran.err);
        assert!(ran.err.contains("Kept: "), "{}", ran.err);
        // What the take came to can be pasted into a chat, and is read back; the jig's own takes come to no driver.
        if condition == "same-node" {
            assert_eq!(ran.out, "");
            continue;
        }
        let line = ChatLine::read(&ran.out).unwrap();
        let last = bench.names().pop();
        assert!(last.is_some() && line.take == last, "{}", ran.out);
        assert!(line.fs_hz.is_some() && line.qts.is_some(), "{}", ran.out);
        let shown = run(["show", ran.out.lines().last().unwrap()]);
        assert_eq!(shown.code, 0, "{}{}", shown.out, shown.err);
    }
    assert_eq!(
        bench.names(),
        ["same-node-1", "free-air-1", "free-air-2", "added-mass-1"]
    );
    let remounted: Vec<bool> = bench.takes().iter().map(|take| take.remounted).collect();
    assert_eq!(remounted, [false, false, true, false]);
    assert!(bench.takes().iter().all(|take| take.level.is_some()));
    // Once the jig is described, it need not be said again.
    let short = run([
        OsStr::new("record"),
        session.as_os_str(),
        "--condition".as_ref(),
        "open-leads".as_ref(),
        "--length".as_ref(),
        "2s".as_ref(),
    ]);
    assert_eq!(short.code, 0, "{}", short.err);
    let fit = run([
        OsStr::new("fit"),
        session.as_os_str(),
        "--json".as_ref(),
        "--draws".as_ref(),
        "1000".as_ref(),
    ]);
    assert_eq!(fit.code, 0, "{}", fit.err);
    assert!(fit.sheet().parameters.mms.is_some());
}

#[test]
fn a_take_that_is_not_described_is_refused() {
    let bench = Bench::new();
    for (condition, flag) in [
        ("added-mass", "--mass"),
        ("test-box", "--volume"),
        ("check-resistor", "--check-ohm"),
    ] {
        let ran = record(&bench.session(), condition, &[]);
        assert_eq!(ran.code, 2, "{condition}: {}", ran.err);
        assert!(ran.err.contains(flag), "{}", ran.err);
    }
    let near = record(
        &bench.session(),
        "check-resistor",
        &["--check-ohm", "47ohm"],
    );
    assert_eq!(near.code, 2, "{}", near.err);
    let loud = record(&bench.session(), "free-air", &["--ceiling", "-41dBFS"]);
    assert_eq!(loud.code, 2, "{}", loud.err);
    assert!(loud.err.contains("above the ceiling"), "{}", loud.err);
}

#[test]
fn refusing_leaves_a_session_that_goes_on() {
    let bench = Bench::new();
    let session = bench.session();
    let refused = record(&session, "free-air", &["--amplifier"]);
    assert_eq!(refused.code, 2, "{}", refused.err);
    assert!(bench.takes().is_empty());
    let absent = record(
        &session,
        "free-air",
        &["--full-scale", "1.8V", "--output", "nowhere"],
    );
    assert_eq!(absent.code, 1, "{}", absent.err);
    assert!(
        absent.err.contains("nowhere") && absent.err.contains("headphones"),
        "{}",
        absent.err
    );
    let known = record(&session, "free-air", &["--full-scale", "1.8V"]);
    assert_eq!(known.code, 0, "{}", known.err);
    assert_eq!(bench.names(), ["free-air-1"]);
}

#[test]
fn a_damaged_take_is_made_three_times_and_never_kept() {
    let bench = Bench::new();
    // So quiet that nothing of it is heard: that may be chance, and the next time better.
    let bench_take = ["record", bench.session().to_str().unwrap()].map(str::to_owned);
    let ran = run(bench_take.into_iter().chain(
        "--host bench --sense 47ohm+-1% --wiring across-driver --length 2s --level -99dBFS --condition free-air"
            .split(' ')
            .map(str::to_owned),
    ));
    assert_eq!(ran.code, 3, "{}", ran.err);
    assert_eq!(
        ran.err.matches("is damaged and is made again").count(),
        2,
        "{}",
        ran.err
    );
    assert!(bench.takes().is_empty());
    assert!(
        !files(&bench.session())
            .iter()
            .any(|name| name.ends_with(".wav"))
    );
    assert_nothing_half_written(&bench.session());
}

#[test]
fn a_take_that_cannot_be_written_ends_with_a_word_and_nothing_changed() {
    let bench = Bench::new();
    let session = bench.session();
    assert_eq!(record(&session, "same-node", &[]).code, 0);
    let kept = fs::read(session.join("session.json")).unwrap();
    // In the place of the folder of takes something that is no folder: even the superuser cannot write into it.
    fs::rename(session.join("takes"), bench.path("away")).unwrap();
    fs::write(session.join("takes"), "in the way").unwrap();
    let ran = record(&session, "free-air", &[]);
    assert_eq!(ran.code, 1, "{}", ran.err);
    assert!(
        ran.err.contains("left-unit/takes: cannot be written"),
        "{}",
        ran.err
    );
    assert_eq!(fs::read(session.join("session.json")).unwrap(), kept);
    assert_nothing_half_written(&session);

    fs::remove_file(session.join("takes")).unwrap();
    fs::rename(bench.path("away"), session.join("takes")).unwrap();
    assert_eq!(record(&session, "free-air", &[]).code, 0);
    assert_eq!(bench.names(), ["same-node-1", "free-air-1"]);
}

/// Full: no file may grow beyond a limit of the shell's, which stands for a disk without room.
#[cfg(target_os = "linux")]
#[test]
fn a_full_disk_ends_with_a_word_and_nothing_half_written() {
    let bench = Bench::new();
    let session = bench.session();
    assert_eq!(record(&session, "same-node", &[]).code, 0);
    let kept = fs::read(session.join("session.json")).unwrap();
    // Blocks of 512 or 1024 bytes, as the shell has it: a take has some 700 kB, the session file a few.
    let script = format!(
        "trap '' XFSZ; ulimit -f 100; exec '{}' record '{}' --condition free-air --length 2s --level -40dBFS",
        env!("CARGO_BIN_EXE_farcone"),
        session.display()
    );
    let output = std::process::Command::new("sh")
        .args(["-c", &script])
        .output()
        .expect("a shell starts");
    let ran = super::ran(&output);
    assert_eq!(ran.code, 1, "{}", ran.err);
    assert!(ran.err.contains("free-air-1.wav"), "{}", ran.err);
    assert_eq!(fs::read(session.join("session.json")).unwrap(), kept);
    assert_eq!(bench.names(), ["same-node-1"]);
    assert_nothing_half_written(&session);
    assert_eq!(
        files(&session),
        [".lock", "same-node-1.wav", "session.json"],
        "only what was there"
    );
}

/// Where the superuser runs the tests, permissions hold nobody back.
#[cfg(unix)]
#[test]
fn a_read_only_folder_ends_with_a_word_and_nothing_changed() {
    use std::os::unix::fs::PermissionsExt;
    let bench = Bench::new();
    let session = bench.session();
    assert_eq!(record(&session, "same-node", &[]).code, 0);
    let kept = fs::read(session.join("session.json")).unwrap();
    let allow = |mode| {
        for folder in [session.join("takes"), session.clone()] {
            fs::set_permissions(folder, fs::Permissions::from_mode(mode)).unwrap();
        }
    };
    allow(0o555);
    let held_back = File::create(session.join("takes/probe")).is_err();
    let ran = held_back.then(|| record(&session, "free-air", &[]));
    allow(0o755);
    if let Some(ran) = ran {
        assert_eq!(ran.code, 1, "{}", ran.err);
        assert_eq!(fs::read(session.join("session.json")).unwrap(), kept);
        assert_nothing_half_written(&session);
    }
}

#[test]
fn a_session_that_another_program_writes_into_is_left_alone() {
    let bench = Bench::new();
    let session = bench.session();
    assert_eq!(record(&session, "same-node", &[]).code, 0);
    let kept = fs::read(session.join("session.json")).unwrap();
    let lock = File::options()
        .write(true)
        .open(session.join(".lock"))
        .unwrap();
    lock.lock().unwrap();
    let ran = record(&session, "free-air", &[]);
    assert_eq!(ran.code, 1, "{}", ran.err);
    assert!(ran.err.contains("another program"), "{}", ran.err);
    assert_eq!(fs::read(session.join("session.json")).unwrap(), kept);
    drop(lock);
    assert_eq!(record(&session, "free-air", &[]).code, 0);
}

#[test]
fn a_folder_that_is_something_else_is_left_alone() {
    let bench = Bench::new();
    let folder = bench.session();
    fs::create_dir(&folder).unwrap();
    fs::write(folder.join("letter.txt"), "dear").unwrap();
    let ran = record(&folder, "free-air", &[]);
    assert_eq!(ran.code, 1, "{}", ran.err);
    assert!(ran.err.contains("not empty"), "{}", ran.err);
    assert_eq!(files(&folder), ["letter.txt"]);

    let file = bench.path("file");
    fs::write(&file, "dear").unwrap();
    let ran = record(&file, "free-air", &[]);
    assert_eq!(ran.code, 1, "{}", ran.err);
    assert_eq!(fs::read(&file).unwrap(), b"dear");

    let broken = bench.path("broken");
    fs::create_dir(&broken).unwrap();
    fs::write(broken.join("session.json"), "{").unwrap();
    let ran = record(&broken, "free-air", &[]);
    assert_eq!(ran.code, 1, "{}", ran.err);
    assert!(ran.err.contains("session.json"), "{}", ran.err);
    assert_eq!(fs::read(broken.join("session.json")).unwrap(), b"{");
}
