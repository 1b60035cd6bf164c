//! The whole instrument against what it does not share code with: an independent circuit simulator, the half-power
//! method, and one route to the moving mass against the other.
//!
//! `tests/cli/simulator.rs` reads the simulator's recordings up to 10 kHz. Here nothing is held back: the full band, all
//! takes at once, and the tables, which have no time step and hence no warping.
#![cfg(feature = "cli")]
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::print_stdout,
    reason = "a test fails by panicking and prints the figures it measured"
)]

mod common;

use std::path::Path;
use std::process::Command;

use common::{AIR, Jig, exact, good_mass, session, sweep, take};
use farcone::Complex64;
use farcone::bench::{InventedDriver, Mounting, drivers};
use farcone::circuit::{Circuit, CoilFamily, Load, driver};
use farcone::fit::resonance;
use farcone::impedance::ImpedanceCurve;
use farcone::jig::Wiring;
use farcone::parameters::Key;
use farcone::progress::Unwatched;
use farcone::quantity::FrequencyGrid;
use farcone::session::{Condition, Data, analyse};
use farcone::sheet::Sheet;
use serde_json::Value;

/// Method: what is promised against the simulator's constants (`fixtures/ngspice/README.md`).
const SIMULATED: f64 = 2e-3;
/// Method: what is promised of one route to the moving mass against the other.
const ROUTES: f64 = 1e-3;

fn value(sheet: &Sheet, key: Key) -> f64 {
    sheet
        .parameters
        .get(key)
        .unwrap_or_else(|| panic!("{} is missing: {:?}", key.as_str(), sheet.findings))
        .value
}

fn number(value: &Value, path: &[&str]) -> f64 {
    path.iter()
        .fold(value, |value, key| &value[*key])
        .as_f64()
        .unwrap()
}

/// Which takes of the simulator go in.
#[derive(Clone, Copy, Debug)]
struct Given {
    tables: bool,
    mass: bool,
    test_box: bool,
}

const ROUTES_GIVEN: [(bool, bool); 3] = [(true, false), (false, true), (true, true)];

/// The real program on the simulator's files, with a value for every doubt that a user can state. The worst parameter
/// has to be within `SIMULATED` of the netlist.
fn simulated(name: &str, given: Given) {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/ngspice");
    let expected: Value =
        serde_json::from_str(&std::fs::read_to_string(folder.join("expected.json")).unwrap())
            .unwrap();
    let truth = &expected["drivers"][name];
    // The netlist knows its values exactly.
    let sure = |path: &[&str], unit: &str| {
        let value = number(truth, path);
        format!("{value}{unit}+-u{}{unit}", value * 1e-6)
    };
    let file = |condition: &str| {
        let path = if given.tables {
            format!("{name}/ac-{condition}.csv")
        } else {
            format!("{name}/takes/{condition}.wav")
        };
        folder.join(path).to_str().unwrap().to_owned()
    };
    let mut flags = vec![
        ("--free-air", file("free-air")),
        ("--area", sure(&["constants", "sd_m2"], "m2")),
        (
            "--air",
            "20C+-u0.001C,1013.25hPa+-u0.001hPa,50%+-u0.01%".to_owned(),
        ),
    ];
    if given.mass {
        flags.push(("--added-mass", file("added-mass")));
        flags.push(("--mass", sure(&["added_mass_kg"], "kg")));
    }
    if given.test_box {
        flags.push(("--test-box", file("test-box")));
        flags.push(("--volume", sure(&["box_volume_m3"], "m3")));
    }
    if !given.tables {
        flags.push(("--sense", sure(&["jig", "sense_ohm"], "ohm")));
        let wiring = truth["jig"]["wiring"].as_str().unwrap().to_owned();
        flags.push(("--wiring", wiring));
        // The netlist has neither leads nor inputs that load it; both amount to less than 1e-6 of Re here.
        flags.push(("--lead", "0.001mohm+-u0.0005mohm".to_owned()));
        flags.push(("--input-load", "1000Mohm+-u1Mohm".to_owned()));
    }
    let output = Command::new(env!("CARGO_BIN_EXE_farcone"))
        .args(["fit", "--json"])
        .args(flags.iter().flat_map(|(flag, value)| [*flag, value]))
        .output()
        .unwrap();
    let text = String::from_utf8(output.stdout).unwrap();
    let complaint = String::from_utf8(output.stderr).unwrap();
    assert!(output.status.success(), "{name} {given:?}: {complaint}");
    let sheet = Sheet::from_json(&text).unwrap();

    let mut line = format!("{name:6} {given:?} {}", sheet.verdict);
    let mut missed = vec![];
    for (key, path) in [
        (Key::Fs, ["derived", "fs_hz"]),
        (Key::Re, ["constants", "re_ohm"]),
        (Key::Qms, ["derived", "qms"]),
        (Key::Qes, ["derived", "qes"]),
        (Key::Qts, ["derived", "qts"]),
        (Key::Vas, ["derived", "vas_m3"]),
        (Key::Mms, ["constants", "mms_kg"]),
        (Key::Cms, ["constants", "cms_m_per_n"]),
        (Key::Rms, ["constants", "rms_kg_per_s"]),
        (Key::Bl, ["constants", "bl_t_m"]),
    ] {
        let off = value(&sheet, key) / number(truth, &path) - 1.0;
        line += &format!(" {} {:+.4}%", key.as_str(), 100.0 * off);
        if off.abs() > SIMULATED {
            missed.push(key.as_str());
        }
    }
    println!("{line}");
    // Tables without uncertainties may leave a circuit undetermined; a clean recording must not raise a doubt.
    assert!(given.tables || sheet.verdict == "good", "{line}");
    for finding in &sheet.findings {
        println!("       {} {}", finding.code, finding.message);
    }
    assert!(missed.is_empty(), "{line}: {missed:?}");
}

fn simulated_by_every_route(name: &str, tables: bool) {
    for (mass, test_box) in ROUTES_GIVEN {
        let given = Given {
            tables,
            mass,
            test_box,
        };
        simulated(name, given);
    }
}

#[test]
fn simulated_woofer_recorded_across_the_driver() {
    simulated_by_every_route("woofer", false);
}

#[test]
fn simulated_small_driver_recorded_across_the_resistor() {
    simulated_by_every_route("small", false);
}

#[test]
fn tables_of_both_simulated_drivers() {
    simulated_by_every_route("woofer", true);
    simulated_by_every_route("small", true);
}

/// An invented woofer without any coil: Re, Bl, Mms, Cms, Rms. Its fs, Qms and Qes follow from their definitions.
const REFERENCE: [f64; 5] = [5.5, 7.2, 21.2e-3, 0.65e-3, 1.35];
const REFERENCE_FS_HZ: f64 = 42.874_150;
const REFERENCE_QMS: f64 = 4.230_361_5;
const REFERENCE_QES: f64 = 0.605_911_2;
/// |Z|max/Re = 1 + Bl²/(Rms·Re) = 43.9/5.5.
const REFERENCE_R0: f64 = 7.981_818_2;

/// Its impedance with an ideal inductor of `le_h` in series, from 5 Hz to 20 kHz in equal steps of ln f.
fn reference(le_h: f64, step: f64) -> ImpedanceCurve {
    let [re, bl, mms, cms, rms] = REFERENCE;
    let circuit = driver(CoilFamily::Plain, None, Load::Free);
    let n = (4000.0_f64.ln() / step) as usize + 1;
    let grid = FrequencyGrid::logarithmic(5.0, 20_000.0, n).unwrap();
    let values = [re, le_h, bl, mms, cms, rms];
    let z: Vec<Complex64> = grid
        .as_slice()
        .iter()
        .map(|&f| circuit.impedance(f, &values))
        .collect();
    ImpedanceCurve::new(grid, z, None).unwrap()
}

/// fs, Qms and Qes by the fit.
fn fitted(curve: ImpedanceCurve) -> [f64; 3] {
    let jig = Jig::new(Wiring::AcrossDriver, 47.0);
    let takes = vec![take("free-air", Condition::FreeAir, Data::Table(curve))];
    let mut session = session(&jig, 0.0215, takes);
    session.jig = None;
    let sheet = analyse(session, &mut Unwatched).unwrap();
    [Key::Fs, Key::Qms, Key::Qes].map(|key| value(&sheet, key))
}

/// Steps of ln f: fine for the half-power method, which only reads points; coarse for the fit.
const FINE: f64 = 1.0 / 2000.0;
const COARSE: f64 = 1.0 / 100.0;
/// Method: what is promised of fs and of the Qs without noise.
const FIT: [f64; 3] = [5e-4, 1e-3, 1e-3];

/// Method errors of the half-power method as read from a grid, relative, for fs, Qms and Qes. Own derivation, from
/// (f2 − f1)/f0 = √((r0² − r1²)/(r1² − 1))/Qms at the level r1·Re (Small, JAES 20(5), 1972; from memory).
///
/// - fs: the crossings are interpolated linearly in steps of `FINE`; f1·f2 = fs² at any level. Some times FINE².
/// - Re is read where Z is most nearly real, ten resonances up or further; there the motional branch still adds the part
///   e = (r0 − 1)/(1 + Qms²·(10 − 1/10)²). It moves Qms by e/(r0 − 1), Qes by e·(r0 + 1)/(r0 − 1).
/// - The peak is read as the middle of five points, up to 1.5 steps off, too low by the part p = ½·(2·Qms·1.5·FINE)². It
///   moves Qms by p·r0/(r0 − 1), and Qes by nothing.
///
/// A fifth on top for terms of second order.
fn half_power_errors() -> [f64; 3] {
    let (q, r0) = (REFERENCE_QMS, REFERENCE_R0);
    let e = (r0 - 1.0) / (1.0 + (q * (10.0 - 0.1)).powi(2));
    let p = 0.5 * (2.0 * q * 1.5 * FINE).powi(2);
    [
        10.0 * FINE * FINE,
        1.2 * (e + p * r0) / (r0 - 1.0),
        1.2 * (e * (r0 + 1.0) + p) / (r0 - 1.0),
    ]
}

#[test]
fn the_half_power_method_agrees_where_there_is_no_coil() {
    let seen = resonance(&reference(0.0, FINE)).unwrap();
    let fitted = fitted(reference(0.0, COARSE));
    let truth = [REFERENCE_FS_HZ, REFERENCE_QMS, REFERENCE_QES];
    let errors = half_power_errors();
    for (i, seen) in [seen.fs_hz, seen.qms, seen.qes].into_iter().enumerate() {
        let off = [seen / truth[i] - 1.0, fitted[i] / truth[i] - 1.0];
        println!(
            "{}: half-power {:+.5} % (up to {:.5} %), fit {:+.5} %",
            ["fs", "Qms", "Qes"][i],
            100.0 * off[0],
            100.0 * errors[i],
            100.0 * off[1]
        );
        assert!(off[0].abs() < errors[i]);
        assert!(off[1].abs() < FIT[i]);
        assert!((seen / fitted[i] - 1.0).abs() < errors[i] + FIT[i]);
    }
}

/// Mms, Cms, Rms, Bl and Vas of a driver by its mass and by its box. The box brings an air load that has to cancel.
fn by_mass_and_by_box(driver: &InventedDriver, wiring: Wiring, sense_ohm: f64) {
    let jig = Jig::new(wiring, sense_ohm);
    let stimulus = sweep(6.0, jig.rate_hz);
    let free = jig.driver(driver, &Mounting::FreeAir, &stimulus, 1);
    let mass_kg = good_mass(driver);
    let volume_m3 = 0.6 * driver.truth().vas_m3(AIR.bulk_modulus_pa());
    let weighed = Mounting::AddedMass {
        added_mass_kg: mass_kg,
    };
    let boxed = Mounting::TestBox {
        volume_m3,
        rho_c2_pa: AIR.bulk_modulus_pa(),
        air_load_kg: 0.02 * driver.mms_kg,
        inverse_ql: 0.0,
    };
    let weighed = take(
        "added-mass",
        Condition::AddedMass {
            mass_kg: exact(mass_kg),
        },
        jig.driver(driver, &weighed, &stimulus, 2),
    );
    let boxed = take(
        "test-box",
        Condition::TestBox {
            volume_m3: exact(volume_m3),
        },
        jig.driver(driver, &boxed, &stimulus, 3),
    );
    let [by_mass, by_box] = [weighed, boxed].map(|loaded| {
        let free = take("free-air", Condition::FreeAir, free.clone());
        analyse(
            session(&jig, driver.sd_m2, vec![free, loaded]),
            &mut Unwatched,
        )
        .unwrap()
    });
    let mut line = format!("{:14} {:15}", driver.label, wiring.as_str());
    let mut missed = vec![];
    for key in [Key::Mms, Key::Cms, Key::Rms, Key::Bl, Key::Vas] {
        let apart = value(&by_mass, key) / value(&by_box, key) - 1.0;
        line += &format!(" {} {:+.4}%", key.as_str(), 100.0 * apart);
        if apart.abs() > ROUTES {
            missed.push(key.as_str());
        }
    }
    println!("{line}");
    assert!(missed.is_empty(), "{line}: {missed:?}");
}

#[test]
fn added_mass_and_test_box_agree() {
    for label in ["Turnstone 3", "Shingle 6"] {
        let driver = drivers().iter().find(|d| d.label == label).unwrap();
        by_mass_and_by_box(driver, Wiring::AcrossDriver, 47.0);
        by_mass_and_by_box(driver, Wiring::AcrossResistor, 1.5);
    }
}
