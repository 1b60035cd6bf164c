//! `farcone measure` without questions, on the invented sound card: the whole way, the set-ups that go wrong, the limits.

use std::ffi::OsStr;
use std::fs;
use std::path::{Path, PathBuf};

use farcone::bench::{Truth, demo_driver};
use farcone::session::{Condition, SessionFile, TakeFile};
use farcone::sheet::{Sheet, ValueEntry};

use super::{Ran, run};

/// Every calibration and both kinds of a driver's takes.
const STEPS: &str =
    "same-node,open-leads,shorted-leads,check-resistor,free-air,free-air,added-mass";
const STATED: &[&str] = &[
    "--mass",
    "2.4g+-0.01g",
    "--check-ohm",
    "22ohm+-0.1%",
    "--cone",
    "78mm+-1mm",
];
/// Method: noise, hum and coupling of the invented card in takes of 3 s; nothing else stands between sheet and truth.
const ACCURACY: f64 = 1e-3;
/// Method: likewise where something is wrong with the set-up, relative. What is true depends on the voltage, which is read from the
/// recording as if the input were a line input: one of half the full scale is 6 dB off, which are half a percent. The sheets
/// themselves agree with those of line inputs within their uncertainties.
const MISUSED: f64 = 6e-3;
/// Peak of the invented card's inputs at full scale, V, and the gain of its driver channel.
const IN_V: f64 = 1.8;
const DRIVER_GAIN: f64 = 1.004;

/// A folder that goes away with the test.
pub struct Bench {
    folder: tempfile::TempDir,
}

impl Bench {
    pub fn new() -> Self {
        Self {
            folder: tempfile::tempdir().expect("a temporary folder"),
        }
    }

    pub fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    /// The session's folder.
    pub fn session(&self) -> PathBuf {
        self.path("left-unit")
    }

    /// `farcone measure` with everything that never changes; `more` comes last.
    pub fn measure(&self, more: &[&str]) -> Ran {
        let common = [
            "--yes",
            "--label",
            "left unit",
            "--host",
            "bench",
            "--sense",
            "47ohm+-0.1%",
            "--wiring",
            "across-driver",
            "--length",
            "3s",
            "--json",
        ];
        let session = self.session();
        let begin = [OsStr::new("measure"), session.as_os_str()];
        let rest = common.iter().chain(more).map(OsStr::new);
        run(begin.into_iter().chain(rest))
    }

    /// What the folder's session file says.
    pub fn file(&self) -> SessionFile {
        let text = fs::read_to_string(self.session().join("session.json")).expect("a session");
        SessionFile::from_json(&text).expect("a session that can be read")
    }

    pub fn takes(&self) -> Vec<TakeFile> {
        let exists = self.session().join("session.json").exists();
        if exists { self.file().takes } else { vec![] }
    }

    pub fn names(&self) -> Vec<String> {
        self.takes().into_iter().map(|take| take.name).collect()
    }
}

/// Names of files in a folder, however deep.
pub fn files(folder: &Path) -> Vec<String> {
    let mut found = vec![];
    for entry in fs::read_dir(folder).expect("a folder") {
        let path = entry.expect("an entry").path();
        if path.is_dir() {
            found.extend(files(&path));
        } else {
            found.push(path.file_name().unwrap().to_string_lossy().into_owned());
        }
    }
    found.sort();
    found
}

/// No file that was not finished.
pub fn assert_nothing_half_written(folder: &Path) {
    let files = files(folder);
    assert!(
        !files.iter().any(|name| name.contains(".part")),
        "{files:?}"
    );
}

/// The largest voltage across the driver in a take, V, from its own samples.
fn driver_peak_v(wav: &Path) -> f64 {
    let mut reader = hound::WavReader::open(wav).expect("a WAV");
    let peak = reader
        .samples::<i32>()
        .skip(1)
        .step_by(2)
        .map(|sample| sample.expect("a sample").unsigned_abs())
        .max()
        .expect("samples");
    f64::from(peak) / f64::from(1 << 23) * IN_V / DRIVER_GAIN
}

/// The invented driver as its suspension is at this voltage: 1 % softer for each 12 dB above 20 mV.
fn truth_at(peak_v: f64) -> Truth {
    let truth = demo_driver().truth();
    let factor = 0.99_f64.powf(20.0 * (peak_v / 0.02).log10() / 12.0);
    // At constant mass and resistance the Qs go with fs.
    Truth {
        fs_hz: truth.fs_hz * factor,
        qms: truth.qms * factor,
        qes: truth.qes * factor,
        qts: truth.qts * factor,
        ..truth
    }
}

fn assert_near(what: &str, found: f64, expected: f64, tolerance: f64) {
    let off = found / expected - 1.0;
    assert!(
        off.abs() < tolerance,
        "{what}: {found} instead of {expected}, off by {:.3} %",
        100.0 * off
    );
}

/// Holds fs, Re and the Qs of a sheet against the truth at the level of the first free-air take.
fn assert_true(sheet: &Sheet, session: &Path, tolerance: f64) {
    let truth = truth_at(driver_peak_v(&session.join("takes/free-air-1.wav")));
    let parameters = &sheet.parameters;
    for (what, entry, expected) in [
        ("fs", &parameters.fs, truth.fs_hz),
        ("Re", &parameters.re, truth.re_ohm),
        ("Qms", &parameters.qms, truth.qms),
        ("Qes", &parameters.qes, truth.qes),
        ("Qts", &parameters.qts, truth.qts),
    ] {
        let found = entry.as_ref().expect(what).value;
        assert_near(what, found, expected, tolerance);
    }
}

fn with_steps<'a>(steps: &'a str, stated: &[&'a str], more: &[&'a str]) -> Vec<&'a str> {
    [&["--steps", steps], stated, more].concat()
}

#[test]
fn the_whole_way_leads_to_the_truth_and_is_not_walked_twice() {
    let bench = Bench::new();
    let all = with_steps(STEPS, STATED, &[]);
    let ran = bench.measure(&all);
    assert_eq!(ran.code, 0, "{}", ran.err);
    // Nothing but the sheet on standard output.
    let sheet = ran.sheet();
    assert_eq!(
        (sheet.label.as_str(), sheet.verdict.as_str()),
        ("left unit", "good")
    );
    assert_true(&sheet, &bench.session(), ACCURACY);
    // Good takes are not complained about; that the card hums is said once, not with each of them.
    let said = ["  note ", "  caution ", "  redo "].map(|word| ran.err.matches(word).count());
    assert_eq!(said, [1, 0, 0], "{}", ran.err);
    assert!(ran.err.contains("Mains hum of 50.0 Hz"), "{}", ran.err);
    // The mass is what it was said to be, so Mms is as good as the shift of fs tells it.
    let mms = sheet.parameters.mms.as_ref().expect("Mms");
    assert_near("Mms", mms.value, demo_driver().truth().mms_kg, MISUSED);

    let kinds: Vec<String> = bench
        .takes()
        .iter()
        .map(|take| take.condition.as_str().to_owned())
        .collect();
    assert_eq!(kinds.join(","), STEPS);
    let takes = bench.takes();
    for take in &takes {
        let level = take.level.expect("a take carries its level");
        assert!(
            (-60.0..=-15.0).contains(&level.playback_dbfs),
            "{}: {level:?}",
            take.name
        );
        // Without a calibration in volts none is stated.
        assert_eq!(level.driver_peak_v, None);
    }
    let written = files(&bench.session());
    assert_nothing_half_written(&bench.session());

    let again = bench.measure(&all);
    assert_eq!(again.code, 0, "{}", again.err);
    assert_eq!(bench.takes(), takes);
    assert!(!again.err.contains("Burst"), "{}", again.err);
    let same = again.sheet();
    assert_eq!(
        same.parameters.fs.as_ref().map(|fs| fs.value),
        sheet.parameters.fs.as_ref().map(|fs| fs.value)
    );
    // A second sheet beside the first, which may have been sent around.
    let mut expected = written;
    expected.push("left-unit-2.driver.json".to_owned());
    expected.sort();
    assert_eq!(files(&bench.session()), expected);
}

#[test]
fn a_session_left_halfway_goes_on() {
    let bench = Bench::new();
    let first = bench.measure(&with_steps("same-node,shorted-leads", &[], &[]));
    assert_eq!(first.code, 0, "{}", first.err);
    assert!(first.out.is_empty(), "no sheet yet: {}", first.out);
    assert!(first.err.contains("no free-air take yet"), "{}", first.err);
    let before = bench.takes();
    assert_eq!(bench.names(), ["same-node-1", "shorted-leads-1"]);

    let ran = bench.measure(&with_steps("same-node,shorted-leads,free-air", &[], &[]));
    assert_eq!(ran.code, 0, "{}", ran.err);
    assert_eq!(
        bench.names(),
        ["same-node-1", "shorted-leads-1", "free-air-1"]
    );
    assert_eq!(bench.takes()[..2], before);
    assert_true(&ran.sheet(), &bench.session(), MISUSED);
}

#[test]
fn three_levels_show_how_the_driver_moves() {
    let bench = Bench::new();
    let ran = bench.measure(&with_steps("same-node,free-air", &[], &["--levels", "3"]));
    assert_eq!(ran.code, 0, "{}", ran.err);
    let takes = bench.takes();
    let aside: Vec<&TakeFile> = takes.iter().filter(|take| take.aside).collect();
    assert_eq!((takes.len(), aside.len()), (4, 2));
    let sheet = ran.sheet();
    assert_eq!(sheet.levels.len(), 3);
    for pair in sheet.levels.windows(2) {
        let step_db = pair[1].playback_dbfs - pair[0].playback_dbfs;
        assert!((step_db - 6.0).abs() < 1e-6, "{step_db} dB");
        // 6 dB of 1 % for each 12 dB; noise of the quietest take.
        const STATISTICAL: f64 = 1e-3;
        let moved = pair[1].fs.value / pair[0].fs.value;
        assert!((moved - 0.99_f64.sqrt()).abs() < STATISTICAL, "{moved}");
    }
    // The sheet's own fs is that of its own take, not an average over the levels.
    let own = sheet.parameters.fs.as_ref().expect("fs").value;
    assert_near("fs", own, sheet.levels[0].fs.value, ACCURACY);
    let shown = super::run([
        OsStr::new("fit"),
        bench.session().as_os_str(),
        "--draws".as_ref(),
        "1000".as_ref(),
    ]);
    assert!(
        shown.out.contains("The driver at several levels"),
        "{}",
        shown.out
    );
    let q = |value: &ValueEntry| value.value;
    assert!(sheet.levels.iter().all(|entry| q(&entry.qts) > 0.0));
}

/// What has to come of a set-up.
enum Expected {
    /// A sheet near the truth.
    Sheet,
    /// An end with this code, before a take of the driver; the words are in the message.
    Stop(u8, &'static [&'static str]),
}

#[test]
fn every_set_up_ends_right_or_stops_early() {
    use Expected::{Sheet, Stop};
    /// Where the search for the level is not the question, it only takes time.
    const QUIET: &[&str] = &["--level", "-45dBFS"];
    const MONITOR: &[&str] = &["monitoring-on", "Turn off direct monitoring"];
    const HOWL: &[&str] = &["loud-before-sound", "direct monitoring"];
    const MONO: &[&str] = &["identical-channels", "two separate line inputs"];
    const GATED: &[&str] = &["(gated)", "noise suppression"];
    const MIXED: &[&str] = &["(channels-mixed)", "mono mixes"];
    const ONE: &[&str] = &["1 channel", "interface with two inputs"];
    const SWAPPED: &[&str] = &["exchanged", "--input-channels 2,1", "new folder"];
    for (output, input, more, expected) in [
        ("weak", "line", QUIET, Sheet),
        // Far more than it can deliver.
        ("weak", "line", &["--level", "-15dBFS"], Sheet),
        ("headphones", "microphone", QUIET, Sheet),
        ("headphones", "knobs", QUIET, Sheet),
        ("weak", "knobs", QUIET, Sheet),
        ("weak", "microphone", QUIET, Sheet),
        ("monitored", "line", &[], Stop(3, MONITOR)),
        ("monitored", "microphone", &[], Stop(3, MONITOR)),
        ("monitored", "knobs", &[], Stop(3, MONITOR)),
        ("howling", "line", &[], Stop(3, HOWL)),
        ("howling", "mono", &[], Stop(3, &["before any sound"][..0])),
        ("headphones", "mono", &[], Stop(3, MONO)),
        ("headphones", "one", &[], Stop(1, ONE)),
        ("headphones", "gated", QUIET, Stop(3, GATED)),
        ("headphones", "mixed", QUIET, Stop(3, MIXED)),
        ("monitored", "one", &[], Stop(1, ONE)),
        ("headphones", "swapped", &[], Stop(3, SWAPPED)),
        (
            "headphones",
            "swapped",
            &["--input-channels", "2,1", "--level", "-45dBFS"],
            Sheet,
        ),
    ] {
        let what = format!("{output} {input} {more:?}");
        let bench = Bench::new();
        let card = [&["--output", output, "--input", input], more].concat();
        let ran = bench.measure(&with_steps(
            "same-node,open-leads,shorted-leads,free-air",
            &[],
            &card,
        ));
        match expected {
            Sheet => {
                assert_eq!(ran.code, 0, "{what}: {}", ran.err);
                assert_true(&ran.sheet(), &bench.session(), MISUSED);
            }
            Stop(code, words) => {
                assert_eq!(ran.code, i32::from(code), "{what}: {}", ran.err);
                assert!(ran.out.is_empty(), "{what}");
                let told = ran.err.replace("\n           ", " ");
                for word in words {
                    assert!(told.contains(word), "{what}: no \"{word}\" in {told}");
                }
                // Exchanged plugs, and channels that are mixed, show once the leads differ; nothing of the driver is kept in any case.
                let kept = bench.takes();
                assert!(
                    kept.iter().all(|take| take.condition.is_calibration()),
                    "{what}: {kept:?}"
                );
                if !["swapped", "mixed"].contains(&input) {
                    assert_eq!(kept.len(), 0, "{what}");
                }
                assert_nothing_half_written(&bench.session());
            }
        }
    }
}

#[test]
fn exchanged_plugs_are_found_by_whatever_comes_first() {
    for (steps, stated, kept) in [
        ("free-air", &[][..], 0),
        ("same-node,free-air", &[], 1),
        (
            "same-node,check-resistor,free-air",
            &["--check-ohm", "22ohm+-1%"],
            // A resistor read with exchanged plugs is turned round and read right.
            2,
        ),
    ] {
        let bench = Bench::new();
        let ran = bench.measure(&with_steps(steps, stated, &["--input", "swapped"]));
        assert_eq!(ran.code, 3, "{steps}: {}", ran.err);
        assert!(ran.err.contains("--input-channels 2,1"), "{}", ran.err);
        assert_eq!(bench.takes().len(), kept, "{steps}");
    }
}

#[test]
fn no_burst_and_no_take_is_above_the_ceiling() {
    let bench = Bench::new();
    let ran = bench.measure(&with_steps(
        "same-node,free-air",
        &[],
        &["--ceiling", "-50dBFS", "--levels", "3"],
    ));
    assert_eq!(ran.code, 0, "{}", ran.err);
    assert!(
        ran.err.contains("because of the ceiling of -50 dBFS"),
        "{}",
        ran.err
    );
    let levels = |text: &str| -> Vec<f64> {
        text.lines()
            .filter_map(|line| line.strip_prefix("Burst at "))
            .map(|rest| rest.split(' ').next().unwrap().parse().unwrap())
            .collect()
    };
    let bursts = levels(&ran.err);
    assert!(
        !bursts.is_empty() && bursts.iter().all(|&level| level <= -50.0),
        "{bursts:?}"
    );
    let takes = bench.takes();
    assert_eq!(takes.len(), 4);
    for take in takes {
        let level = take.level.expect("a level").playback_dbfs;
        assert!(level <= -50.0 + 1e-9, "{}: {level}", take.name);
    }
}

#[test]
fn a_level_above_the_ceiling_is_refused_before_anything_is_made() {
    for (level, ceiling) in [("-14dBFS", "-15dBFS"), ("-29dBFS", "-30dBFS")] {
        let bench = Bench::new();
        let ran = bench.measure(&with_steps(
            "free-air",
            &[],
            &["--level", level, "--ceiling", ceiling],
        ));
        assert_eq!(ran.code, 2, "{}", ran.err);
        assert!(ran.err.contains("above the ceiling"), "{}", ran.err);
        assert!(!bench.session().exists());
    }
    let bench = Bench::new();
    let raised = bench.measure(&with_steps(
        "free-air",
        &[],
        &["--level", "-14dBFS", "--ceiling", "-14dBFS"],
    ));
    assert_eq!(raised.code, 0, "{}", raised.err);
    let level = bench.takes()[0].level.expect("a level");
    assert!((level.playback_dbfs + 14.0).abs() < 1e-9, "{level:?}");
}

#[test]
fn behind_an_amplifier_volts_come_first() {
    let bench = Bench::new();
    let blind = bench.measure(&with_steps("free-air", &[], &["--amplifier"]));
    assert_eq!(blind.code, 2, "{}", blind.err);
    assert!(blind.err.contains("farcone jig volts"), "{}", blind.err);
    assert!(!blind.err.contains("Burst"), "{}", blind.err);
    assert!(!bench.session().exists(), "a refusal leaves nothing behind");

    let known = bench.measure(&with_steps(
        "free-air",
        &[],
        &["--amplifier", "--full-scale", "1.8V+-0.01V"],
    ));
    assert_eq!(known.code, 0, "{}", known.err);
    // The folder remembers both: a session that only says that there is an amplifier is refused without the flag as well.
    let file = bench.session().join("session.json");
    let text = std::fs::read_to_string(&file).expect("it was written");
    assert!(text.contains("\"amplifier\": true"), "{text}");
    let mut session: serde_json::Value = serde_json::from_str(&text).expect("JSON");
    let volts = session
        .as_object_mut()
        .expect("an object")
        .remove("source_full_scale");
    assert!(volts.is_some());
    std::fs::write(&file, session.to_string()).expect("it can be written");
    let again = bench.measure(&with_steps("free-air,free-air", &[], &[]));
    assert_eq!(again.code, 2, "{}", again.err);
    std::fs::write(&file, text).expect("it can be written");
    let take = &bench.takes()[0];
    let peak_v = take
        .level
        .and_then(|level| level.driver_peak_v)
        .expect("volts");
    let wav = bench.session().join("takes/free-air-1.wav");
    // Stated at the resonance, which is where a sweep through 47 ohm has its largest voltage below the coil's rise.
    assert!(
        peak_v > 0.0 && peak_v <= 1.1 * driver_peak_v(&wav),
        "{peak_v}"
    );
    assert!(peak_v < 0.3);
}

#[test]
fn a_check_resistor_near_the_sense_resistor_is_refused() {
    for ohm in ["47ohm", "24ohm", "93ohm"] {
        let bench = Bench::new();
        let ran = bench.measure(&with_steps("check-resistor", &["--check-ohm", ohm], &[]));
        assert_eq!(ran.code, 2, "{ohm}: {}", ran.err);
        assert!(ran.err.contains("hide a wrong wiring"), "{}", ran.err);
        assert!(bench.takes().is_empty());
    }
    for ohm in ["23.5ohm", "94ohm"] {
        let bench = Bench::new();
        let ran = bench.measure(&with_steps(
            "check-resistor",
            &["--check-ohm", ohm],
            &["--level", "-40dBFS"],
        ));
        assert_eq!(ran.code, 0, "{ohm}: {}", ran.err);
        assert!(matches!(
            bench.takes()[0].condition,
            Condition::CheckResistor { .. }
        ));
    }
}

#[test]
fn steps_need_what_they_state() {
    for (steps, stated, words) in [
        ("free-air,added-mass", &[][..], "--mass"),
        ("test-box", &[], "--volume"),
        ("check-resistor", &[], "--check-ohm"),
        ("free-air", &["--mass", "2g"], "more --mass"),
    ] {
        let bench = Bench::new();
        let ran = bench.measure(&with_steps(steps, stated, &[]));
        assert_eq!(ran.code, 2, "{steps}: {}", ran.err);
        assert!(ran.err.contains(words), "{}", ran.err);
        assert!(!bench.session().exists());
    }
}

#[test]
fn a_multisine_finds_the_truth_where_it_is_long_enough() {
    let steps = "same-node,shorted-leads,free-air";
    let short = Bench::new();
    let ran = short.measure(&with_steps(steps, &[], &["--multisine"]));
    assert_eq!(ran.code, 2, "{}", ran.err);
    assert!(ran.err.contains("--length 6s"), "{}", ran.err);
    let bench = Bench::new();
    let session = bench.session();
    let ran = run("measure SESSION --yes --label x --host bench --sense 47ohm+-0.1% --wiring across-driver --multisine \
                   --length 6s --json --steps same-node,shorted-leads,free-air"
        .split_whitespace()
        .map(|word| match word {
            "SESSION" => session.as_os_str(),
            other => OsStr::new(other),
        }));
    assert_eq!(ran.code, 0, "{}", ran.err);
    assert_true(&ran.sheet(), &session, MISUSED);
}
