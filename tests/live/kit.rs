//! The kit in the closed loop: a real browser goes through the page, the page's sound goes through the simulated jig, and what it
//! saves is received. Run by `.ci/run`; `FARCONE_KIT_RUNS` is the number of times (3 if not set, one of each of the first [`RUNS`]).

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::thread;

use farcone::sheet::Sheet;

use crate::server::{Server, Setup, available};
use crate::truth::{Circuit, DRIVER};

/// Relative, for fs, Re and Qs: what is asked of a browser whose capture is resampled at worst.
const CLOSE: f64 = 0.005;
/// Likewise with one input.
const CLOSE_ONE_INPUT: f64 = 0.01;
/// Of the moving mass: what was typed about mass and resistor allows more.
const CLOSE_MASS: f64 = 0.02;

/// What the simulated cone weighs, kg; the weight that is stuck on it lowers its resonance by a quarter.
const MMS_KG: f64 = 8.0e-3;
const ADDED_KG: f64 = 6.0e-3;

/// Nothing at all: both inputs then see the source node.
const OPEN: Circuit = Circuit {
    re_ohm: 1e9,
    res_ohm: 0.0,
    le_h: 0.0,
    ..DRIVER
};

/// The known resistor.
const CHECK: Circuit = Circuit {
    re_ohm: 22.0,
    ..OPEN
};

/// √(1 + ADDED_KG/MMS_KG), by which the weight lowers the resonance and raises its Q.
const LOWER: f64 = 1.322_875_655_532_295_3;

const HEAVY: Circuit = Circuit {
    f0_hz: DRIVER.f0_hz / LOWER,
    qms: DRIVER.qms * LOWER,
    ..DRIVER
};

const PLACES: &[(&str, Circuit)] = &[("open", OPEN), ("check", CHECK), ("heavy", HEAVY)];

/// One way through the page.
#[derive(Clone, Copy, Debug)]
struct Run {
    browser: &'static str,
    /// Where the page comes from: `disk` or `localhost`.
    place: &'static str,
    /// `two` or `one`.
    inputs: &'static str,
}

impl Run {
    fn has_one_input(self) -> bool {
        self.inputs == "one"
    }
}

/// In this order, and then from the beginning. Pages come from mail, so that most are opened from disk.
const RUNS: [Run; 6] = [
    Run {
        browser: "chromium",
        place: "disk",
        inputs: "two",
    },
    Run {
        browser: "firefox",
        place: "disk",
        inputs: "two",
    },
    Run {
        browser: "firefox",
        place: "localhost",
        inputs: "one",
    },
    Run {
        browser: "chromium",
        place: "localhost",
        inputs: "two",
    },
    Run {
        browser: "firefox",
        place: "localhost",
        inputs: "two",
    },
    Run {
        browser: "chromium",
        place: "disk",
        inputs: "one",
    },
];
/// Each browser once, each way of recording, and each place.
const N_USUAL: usize = 3;

fn have(program: &str) -> bool {
    Command::new(program)
        .arg("--version")
        .output()
        .is_ok_and(|output| output.status.success())
}

/// Whether browser and Node are there; in continuous integration they have to be.
fn browser_available() -> bool {
    for (program, package) in [
        ("chromium", "chromium"),
        ("firefox-esr", "firefox-esr"),
        ("node", "nodejs"),
        ("npm", "npm"),
    ] {
        if !have(program) {
            assert!(
                std::env::var_os("CI").is_none_or(|ci| ci != "true"),
                "{program} is missing: install the package {package}"
            );
            println!("skipped: {program} is missing (package {package})");
            return false;
        }
    }
    true
}

/// The folder with what the scripts need, installed once.
fn scripts(work: &Path) -> PathBuf {
    let from = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests");
    for (folder, name) in [
        ("report", "package.json"),
        ("report", "package-lock.json"),
        ("page", "closed_loop.mjs"),
    ] {
        fs::copy(from.join(folder).join(name), work.join(name)).expect("a file can be copied");
    }
    let output = Command::new("npm")
        .args(["ci", "--no-audit", "--no-fund", "--ignore-scripts"])
        .current_dir(work)
        .output()
        .expect("npm starts");
    assert!(
        output.status.success(),
        "npm: {}",
        String::from_utf8_lossy(&output.stderr)
    );
    work.join("closed_loop.mjs")
}

fn farcone(arguments: &[&str]) -> (i32, String) {
    let output = Command::new(env!("CARGO_BIN_EXE_farcone"))
        .args(arguments)
        .output()
        .expect("the program starts");
    let said = format!(
        "{}{}",
        String::from_utf8_lossy(&output.stdout),
        String::from_utf8_lossy(&output.stderr)
    );
    (output.status.code().unwrap_or(-1), said)
}

#[test]
fn the_weight_is_what_the_circuit_was_made_for() {
    assert!(((1.0 + ADDED_KG / MMS_KG).sqrt() - LOWER).abs() < 1e-12);
}

#[test]
#[ignore = "needs a PulseAudio server, a browser and --release; .ci/run has them"]
fn a_browser_goes_through_the_kit() {
    if !available() || !browser_available() {
        return;
    }
    let work = tempfile::tempdir().expect("a temporary folder");
    let script = scripts(work.path());
    let kit = work.path().join("kit.html");
    let kit = kit.to_str().expect("UTF-8");
    let (code, said) = farcone(&["kit", "--driver", "unit 3,woofer", "-o", kit]);
    assert_eq!(code, 0, "{said}");
    let n_runs =
        std::env::var("FARCONE_KIT_RUNS").map_or(N_USUAL, |n| n.parse().expect("a number"));
    let runs: Vec<(usize, Run)> = RUNS.into_iter().cycle().take(n_runs).enumerate().collect();
    // With one input every sample counts for 47 s, so nothing else sounds beside it.
    let (alone, paired): (Vec<_>, Vec<_>) =
        runs.into_iter().partition(|(_, run)| run.has_one_input());
    for (n, run) in alone {
        once(n, run, &script, kit);
    }
    // The others go side by side, each with a server of its own.
    let walk = |odd: usize| {
        for (n, run) in paired.iter().skip(odd).step_by(2) {
            once(*n, *run, &script, kit);
        }
    };
    thread::scope(|scope| {
        let lanes = [0, 1].map(|odd| scope.spawn(move || walk(odd)));
        let failed = lanes
            .into_iter()
            .filter_map(|lane| lane.join().err())
            .count();
        assert_eq!(failed, 0, "see above");
    });
}

fn once(n: usize, run: Run, script: &Path, kit: &str) {
    // The pictures stay, to be looked at.
    let pictures = Path::new(env!("CARGO_TARGET_TMPDIR")).join("kit");
    let out = pictures.join(format!("run-{n}"));
    let _ = fs::remove_dir_all(&out);
    fs::create_dir_all(&out).expect("a folder can be made");
    let server = Server::start(&Setup {
        for_a_browser: PLACES,
        one_input: run.has_one_input(),
        ..Setup::new(DRIVER)
    });
    let mut command = Command::new("node");
    server.surround(&mut command);
    // In files, so that what is happening can be seen meanwhile, and two runs do not talk at once.
    let [said, complaints] = ["said.txt", "complaints.txt"].map(|name| out.join(name));
    let file = |path: &Path| fs::File::create(path).expect("a file can be written");
    let status = command
        .arg(script)
        .args([kit, out.to_str().expect("UTF-8")])
        .args([run.browser, run.place, run.inputs])
        .current_dir(script.parent().expect("a folder"))
        .stdout(file(&said))
        .stderr(file(&complaints))
        .status()
        .expect("node starts");
    let text = |path: &Path| fs::read_to_string(path).expect("UTF-8");
    println!("run {n}, {run:?}\n{}", text(&said));
    assert!(
        status.success(),
        "run {n}, {run:?}: {}\n{}",
        text(&complaints),
        server.log()
    );
    drop(server);
    received(n, run, &out, kit);
}

/// Receives what the page saved, and compares it with the simulated driver.
fn received(n: usize, run: Run, out: &Path, kit: &str) {
    let bundle = out.join("bundle.zip");
    let unpacked = out.join("received");
    let (code, said) = farcone(&[
        "receive",
        bundle.to_str().expect("UTF-8"),
        "--kit",
        kit,
        "-o",
        unpacked.to_str().expect("UTF-8"),
    ]);
    assert_eq!(code, 0, "run {n}, {run:?}: {said}");
    let sheet = sheet_below(&unpacked);
    let truth = DRIVER.discretised(48_000.0);
    let parameters = &sheet.parameters;
    let close = if run.has_one_input() {
        CLOSE_ONE_INPUT
    } else {
        CLOSE
    };
    let wanted = [
        ("fs", &parameters.fs, truth.fs_hz, close),
        ("Re", &parameters.re, truth.re_ohm, close),
        ("Qms", &parameters.qms, truth.qms, close),
        ("Qes", &parameters.qes, truth.qes, close),
        ("Qts", &parameters.qts, truth.qts, close),
        ("Mms", &parameters.mms, MMS_KG, CLOSE_MASS),
    ];
    for (name, found, expected, close) in wanted {
        let found = found
            .as_ref()
            .unwrap_or_else(|| panic!("run {n}, {run:?}: {name} is missing"))
            .value;
        let off = found / expected - 1.0;
        println!("run {n}, {run:?}: {name} is off by {:.4} %", 100.0 * off);
        assert!(
            off.abs() < close,
            "run {n}, {run:?}: {name}: {found} for {expected}"
        );
    }
    assert_ne!(sheet.verdict, "redo", "run {n}, {run:?}");
}

fn sheet_below(folder: &Path) -> Sheet {
    let mut found = vec![];
    let mut folders = vec![folder.to_owned()];
    while let Some(folder) = folders.pop() {
        for entry in fs::read_dir(&folder).expect("a folder") {
            let path = entry.expect("an entry").path();
            let name = path
                .file_name()
                .unwrap_or_default()
                .to_string_lossy()
                .into_owned();
            if path.is_dir() {
                folders.push(path);
            } else if name.ends_with(".driver.json") && name != "page.driver.json" {
                found.push(path);
            }
        }
    }
    assert_eq!(found.len(), 1, "{found:?}");
    Sheet::from_json(&fs::read_to_string(&found[0]).expect("a sheet")).expect("a sheet")
}
