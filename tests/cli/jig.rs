//! `farcone jig`: profiles made, shown, used, and calibrated in volts.

use std::ffi::OsStr;
use std::fs;
use std::path::PathBuf;

use super::measure::{Bench, assert_nothing_half_written, files};
use super::{Ran, farcone, ran};

/// Peak volts of the invented card's output and inputs at full scale, and what its output has inside, ohm.
const OUT_V: f64 = 1.4;
const IN_V: f64 = 1.8;
/// Method: the voltage drop across the output's own 2 ohm at 100 Hz, and noise, relative.
const VOLTS: f64 = 0.05;

impl Bench {
    /// The program with a configuration folder of its own.
    fn with_configuration(&self, arguments: &[&str]) -> Ran {
        let output = farcone(arguments.iter().map(OsStr::new))
            .env("XDG_CONFIG_HOME", self.path("configuration"))
            .output()
            .expect("the program starts");
        ran(&output)
    }

    fn jigs(&self) -> PathBuf {
        self.path("configuration").join("farcone/jigs")
    }

    fn new_jig(&self, name: &str, more: &[&str]) -> Ran {
        let common = [
            "jig",
            "new",
            name,
            "--yes",
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
        ];
        self.with_configuration(&[&common[..], more].concat())
    }

    /// A take with a jig profile; the session's path is passed as it is.
    fn measure_with(&self, jig: &str, more: &[&str]) -> Ran {
        let session = self.session();
        let common = [
            "measure",
            session.to_str().expect("UTF-8"),
            "--yes",
            "--label",
            "left unit",
            "--jig",
            jig,
            "--steps",
            "free-air",
            "--length",
            "2s",
            "--json",
        ];
        self.with_configuration(&[&common[..], more].concat())
    }
}

const CALIBRATED: &[&str] = &[
    "--steps",
    "same-node,open-leads,shorted-leads,check-resistor",
    "--check-ohm",
    "22ohm+-1%",
];

// The folder for configuration has another name and no variable elsewhere.
#[cfg(target_os = "linux")]
#[test]
fn a_profile_is_made_once_shown_and_used() {
    let bench = Bench::new();
    let none = bench.with_configuration(&["jig", "show"]);
    assert_eq!(none.code, 0, "{}", none.err);
    assert!(none.out.contains("no jig profiles yet"), "{}", none.out);

    let made = bench.new_jig("desk", CALIBRATED);
    assert_eq!(made.code, 0, "{}", made.err);
    assert!(made.out.contains("--jig desk"), "{}", made.out);
    assert_nothing_half_written(&bench.jigs());
    assert_eq!(
        files(&bench.jigs()),
        [
            "check-resistor-1.wav",
            "desk.jig.json",
            "open-leads-1.wav",
            "same-node-1.wav",
            "shorted-leads-1.wav"
        ]
    );

    let before = fs::read(bench.jigs().join("desk.jig.json")).unwrap();
    let twice = bench.new_jig("desk", &[]);
    assert_eq!(twice.code, 1, "{}", twice.err);
    assert!(twice.err.contains("never overwritten"), "{}", twice.err);
    assert_eq!(
        fs::read(bench.jigs().join("desk.jig.json")).unwrap(),
        before
    );

    let list = bench.with_configuration(&["jig", "show"]);
    assert!(
        list.out.contains("desk: 47 ohm, across-driver"),
        "{}",
        list.out
    );
    let shown = bench.with_configuration(&["jig", "show", "desk"]);
    assert_eq!(shown.code, 0, "{}", shown.err);
    for words in [
        "GROUND NODE",
        "plays on headphones, records from line, 48000 Hz",
        "not known in volts",
        "calibrated by same-node, open-leads, shorted-leads, check-resistor",
        "22 ohm reads 22.0",
        "good",
    ] {
        assert!(shown.out.contains(words), "no \"{words}\" in {}", shown.out);
    }
    // Nothing to warn about on its first day.
    assert!(!shown.out.contains("caution"), "{}", shown.out);

    let used = bench.measure_with("desk", &[]);
    assert_eq!(used.code, 0, "{}", used.err);
    assert_eq!(
        bench.names(),
        [
            "same-node-1",
            "open-leads-1",
            "shorted-leads-1",
            "check-resistor-1",
            "free-air-1"
        ]
    );
    for name in ["same-node-1.wav", "check-resistor-1.wav"] {
        assert_eq!(
            fs::read(bench.session().join("takes").join(name)).unwrap(),
            fs::read(bench.jigs().join("desk.takes").join(name)).unwrap(),
            "{name}"
        );
    }
    let jig = bench.file().jig.expect("a jig");
    assert!((jig.sense_ohm.value - 47.0).abs() < f64::EPSILON);
    // A second call copies nothing again.
    assert_eq!(bench.measure_with("desk", &[]).code, 0);
    assert_eq!(bench.names().len(), 5);
}

#[test]
fn a_profile_may_be_a_path_and_gets_volts() {
    let bench = Bench::new();
    let path = bench.path("bench-jig.jig.json");
    let path = path.to_str().unwrap();
    let made = bench.new_jig(path, &["--steps", "same-node"]);
    assert_eq!(made.code, 0, "{}", made.err);
    let before = fs::read_to_string(path).unwrap();

    // Behind an amplifier it is of no use yet.
    let blind = bench.measure_with(path, &["--amplifier"]);
    assert_eq!(blind.code, 2, "{}", blind.err);
    assert!(blind.err.contains("jig volts"), "{}", blind.err);

    // What a meter at the source node reads of a tone at -20 dBFS peak.
    let meter_v = OUT_V * 10f64.powf(-20.0 / 20.0) / std::f64::consts::SQRT_2;
    let reading = format!("{meter_v:.4}V+-0.001V");
    let volts = bench.with_configuration(&[
        "jig",
        "volts",
        path,
        "--reading",
        &reading,
        "--level",
        "-20dBFS",
    ]);
    assert_eq!(volts.code, 0, "{}", volts.err);
    assert_ne!(fs::read_to_string(path).unwrap(), before);
    let shown = bench.with_configuration(&["jig", "show", path]);
    let stated_v: f64 = shown
        .out
        .split("input shows ")
        .nth(1)
        .and_then(|rest| rest.split(' ').next())
        .expect("volts are shown")
        .parse()
        .expect("a number");
    assert!((stated_v / IN_V - 1.0).abs() < VOLTS, "{stated_v}");

    let known = bench.measure_with(path, &["--amplifier"]);
    assert_eq!(known.code, 0, "{}", known.err);
    let takes = bench.takes();
    let level = takes.last().and_then(|take| take.level).expect("a level");
    assert!(
        level.driver_peak_v.is_some_and(|v| v > 0.0 && v < 0.3),
        "{level:?}"
    );
}

#[test]
fn volts_want_a_level_a_profile_and_a_tone() {
    let bench = Bench::new();
    let path = bench.path("bench-jig.jig.json");
    let path = path.to_str().unwrap();
    let absent = bench.with_configuration(&[
        "jig",
        "volts",
        path,
        "--reading",
        "1V",
        "--level",
        "-30dBFS",
    ]);
    assert_eq!(absent.code, 1, "{}", absent.err);
    assert!(absent.err.contains("no such jig profile"), "{}", absent.err);
    assert_eq!(bench.new_jig(path, &[]).code, 0);
    let before = fs::read(path).unwrap();
    for (more, code, words) in [
        (&["--reading", "1V"][..], 2, "--level"),
        (
            &["--reading", "1V", "--level", "-10dBFS"],
            2,
            "above the ceiling",
        ),
        (&["--reading", "1ohm", "--level", "-30dBFS"], 2, "1ohm"),
        // The tone drowns in the inputs' noise.
        (
            &["--reading", "1V", "--level", "-110dBFS"],
            3,
            "no clean tone",
        ),
        // Nobody is there to be asked.
        (&[], 2, "terminal"),
    ] {
        let ran = bench.with_configuration(&[&["jig", "volts", path], more].concat());
        assert_eq!(ran.code, code, "{more:?}: {}", ran.err);
        assert!(ran.err.contains(words), "{more:?}: {}", ran.err);
        assert_eq!(fs::read(path).unwrap(), before, "{more:?}");
    }
}

#[test]
fn old_and_failing_profiles_are_cautions() {
    let bench = Bench::new();
    let path = bench.path("bench-jig.jig.json");
    let path = path.to_str().unwrap();
    assert_eq!(bench.new_jig(path, CALIBRATED).code, 0);
    let text = fs::read_to_string(path).unwrap();
    let made_at = text.find("\"made\": \"").expect("a date") + "\"made\": \"".len();
    let mut old = text.clone();
    old.replace_range(made_at..made_at + 4, "2020");
    let failing = text.replace("\"passed\": true", "\"passed\": false");
    assert_ne!(failing, text);
    for (text, code, words) in [
        (old, "jig-old", "ago"),
        (failing, "jig-check-failed", "check resistor"),
    ] {
        fs::write(path, text).unwrap();
        let shown = bench.with_configuration(&["jig", "show", path]);
        assert_eq!(shown.code, 0, "{code}: {}", shown.err);
        assert!(
            shown.out.contains("caution") && shown.out.contains(words),
            "{code}: {}",
            shown.out
        );
        let used = bench.measure_with(path, &["--level", "-40dBFS"]);
        assert!(
            used.out.contains(&format!("\"{code}\"")),
            "in the sheet too: {}",
            used.out
        );
        assert!(
            used.err.contains("caution") && used.err.contains(words),
            "{code}: {}",
            used.err
        );
    }
}

/// A profile serves recordings that were made elsewhere, or later, and its age counts there too.
#[test]
fn a_profile_calibrates_recordings() {
    let bench = Bench::new();
    let path = bench.path("bench-jig.jig.json");
    let path = path.to_str().unwrap();
    assert_eq!(bench.new_jig(path, CALIBRATED).code, 0);
    let used = bench.measure_with(path, &["--level", "-40dBFS"]);
    assert_eq!(used.code, 0, "{}", used.err);
    let take = bench.session().join("takes/free-air-1.wav");
    let take = take.to_str().unwrap();
    let fit = |more: &[&str]| {
        let common = [
            "fit",
            "--free-air",
            take,
            "--jig",
            path,
            "--json",
            "--draws",
            "1000",
        ];
        bench.with_configuration(&[&common[..], more].concat())
    };
    let fresh = fit(&[]);
    assert_eq!(fresh.code, 0, "{}", fresh.err);
    let sheet = fresh.sheet();
    let conditions: Vec<&str> = sheet
        .origin
        .takes
        .iter()
        .map(|t| t.condition.as_str())
        .collect();
    for wanted in [
        "free-air",
        "same-node",
        "open-leads",
        "shorted-leads",
        "check-resistor",
    ] {
        assert!(conditions.contains(&wanted), "{conditions:?}");
    }
    let codes = |ran: &Ran| -> Vec<String> {
        let sheet = ran.sheet();
        sheet
            .findings
            .iter()
            .map(|f| format!("{} {}", f.code, f.severity))
            .collect()
    };
    for absent in ["jig-old caution", "channels-uncalibrated note"] {
        assert!(
            !codes(&fresh).contains(&absent.to_owned()),
            "{:?}",
            codes(&fresh)
        );
    }
    // The same as the session that was measured with it.
    let re = |ran: &Ran| ran.sheet().parameters.re.as_ref().unwrap().value;
    const ROUNDING: f64 = 1e-6;
    assert!((re(&fresh) / re(&used) - 1.0).abs() < ROUNDING);
    let text = fs::read_to_string(path).unwrap();
    let made_at = text.find("\"made\": \"").expect("a date") + "\"made\": \"".len();
    let mut old = text.clone();
    old.replace_range(made_at..made_at + 4, "2020");
    fs::write(path, old).unwrap();
    let stale = fit(&[]);
    assert!(
        codes(&stale).contains(&"jig-old caution".to_owned()),
        "{:?}",
        codes(&stale)
    );
    assert_eq!(stale.sheet().verdict, "usable");
    let twice = fit(&["--same-node", take]);
    assert_eq!(twice.code, 2, "{}", twice.err);
}

#[test]
fn a_jig_is_no_driver() {
    let bench = Bench::new();
    let path = bench.path("bench-jig.jig.json");
    let path = path.to_str().unwrap();
    for (more, code, words) in [
        (&["--steps", "free-air"][..], 2, "about a driver"),
        (&["--steps", "check-resistor"], 2, "--check-ohm"),
        (
            &["--steps", "check-resistor", "--check-ohm", "40ohm"],
            2,
            "hide a wrong wiring",
        ),
        (&["--amplifier"], 2, "calibrated in volts"),
        (&["--output", "monitored"], 3, "monitoring-on"),
        (&["--input", "mono"], 3, "identical-channels"),
    ] {
        let ran = bench.new_jig(path, more);
        assert_eq!(ran.code, code, "{more:?}: {}", ran.err);
        assert!(ran.err.contains(words), "{more:?}: {}", ran.err);
        assert!(!fs::exists(path).unwrap(), "{more:?}");
    }
}
