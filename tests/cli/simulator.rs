//! Takes and tables of an independent circuit simulator (ngspice, see `fixtures/ngspice`) through the whole program.

use std::path::{Path, PathBuf};

use farcone::circuit::{Circuit, CoilFamily, Load, TestBox, driver};
use farcone::impedance::table::read_csv;
use farcone::parameters::Key;
use farcone::sheet::Sheet;
use serde_json::Value;

use crate::run;

/// What is promised against the simulator's constants.
const PROMISED: f64 = 2e-3;

fn fixture(path: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("fixtures/ngspice")
        .join(path)
}

fn expected() -> Value {
    serde_json::from_str(&std::fs::read_to_string(fixture("expected.json")).unwrap()).unwrap()
}

fn number(value: &Value, path: &[&str]) -> f64 {
    path.iter()
        .fold(value, |value, key| &value[*key])
        .as_f64()
        .unwrap()
}

/// How far each parameter is from the netlist's constants.
fn compare(sheet: &Sheet, driver: &Value, what: &str) {
    let constants = |key: &str| number(driver, &["constants", key]);
    let derived = |key: &str| number(driver, &["derived", key]);
    let truth = [
        (Key::Fs, derived("fs_hz")),
        (Key::Re, constants("re_ohm")),
        (Key::Qms, derived("qms")),
        (Key::Qes, derived("qes")),
        (Key::Qts, derived("qts")),
        (Key::Vas, derived("vas_m3")),
        (Key::Mms, constants("mms_kg")),
        (Key::Cms, constants("cms_m_per_n")),
        (Key::Rms, constants("rms_kg_per_s")),
        (Key::Bl, constants("bl_t_m")),
    ];
    for (key, truth) in truth {
        let entry = sheet
            .parameters
            .get(key)
            .unwrap_or_else(|| panic!("{what}: {} {:?}", key.as_str(), sheet.findings));
        let off = entry.value / truth - 1.0;
        assert!(
            off.abs() < PROMISED,
            "{what}: {} is off by {off:e}; {:?}",
            key.as_str(),
            sheet.findings
        );
    }
}

fn fit(name: &str, tables: bool, weighed: bool, boxed: bool) {
    let expected = expected();
    let driver = &expected["drivers"][name];
    let take = |condition: &str| {
        let path = if tables {
            format!("{name}/ac-{condition}.csv")
        } else {
            format!("{name}/takes/{condition}.wav")
        };
        fixture(&path).to_str().unwrap().to_owned()
    };
    // The netlist knows its values exactly.
    let sure = |value: f64, unit: &str| format!("{value}{unit}+-u{}{unit}", value * 1e-6);
    let mut words = vec![
        "fit".to_owned(),
        "--json".to_owned(),
        "--free-air".to_owned(),
        take("free-air"),
    ];
    let mut add = |flag: &str, value: String| words.extend([flag.to_owned(), value]);
    if weighed {
        add("--added-mass", take("added-mass"));
        add("--mass", sure(number(driver, &["added_mass_kg"]), "kg"));
    }
    if boxed {
        add("--test-box", take("test-box"));
        add("--volume", sure(number(driver, &["box_volume_m3"]), "m3"));
    }
    add(
        "--area",
        sure(number(driver, &["constants", "sd_m2"]), "m2"),
    );
    add(
        "--air",
        "20C+-u0.001C,1013.25hPa+-u0.001hPa,50%+-u0.01%".to_owned(),
    );
    if !tables {
        add(
            "--sense",
            sure(number(driver, &["jig", "sense_ohm"]), "ohm"),
        );
        add(
            "--wiring",
            driver["jig"]["wiring"].as_str().unwrap().to_owned(),
        );
    }
    // The trapezoidal rule's frequency warping reaches 1e-4 above this, far more than the noise of takes without any.
    add("--band", "6Hz..10kHz".to_owned());
    let ran = run(&words);
    assert_eq!(ran.code, 0, "{}{}", ran.out, ran.err);
    compare(
        &ran.sheet(),
        driver,
        &format!("{name} tables {tables} mass {weighed} box {boxed}"),
    );
}

#[test]
fn recordings_of_simulated_transients() {
    for name in ["woofer", "small"] {
        fit(name, false, true, false);
        fit(name, false, false, true);
        fit(name, false, true, true);
    }
}

#[test]
fn tables_of_simulated_sweeps() {
    for name in ["woofer", "small"] {
        fit(name, true, true, false);
        fit(name, true, false, true);
    }
}

/// Our circuits against the simulator's small-signal analysis of a netlist with mass, spring and damper of its own.
#[test]
fn circuits_agree_with_the_simulator() {
    let expected = expected();
    let rho_c2_pa = number(&expected, &["air", "rho_c2_pa"]);
    for (name, family, coil) in [
        ("woofer", CoilFamily::Lr2, &["le_h", "l2_h", "r2_ohm"][..]),
        ("small", CoilFamily::Plain, &["le_h"][..]),
    ] {
        let truth = &expected["drivers"][name];
        let constant = |key: &str| number(truth, &["constants", key]);
        let mut values = vec![constant("re_ohm")];
        values.extend(coil.iter().map(|key| number(truth, &["coil", key])));
        values.extend(["bl_t_m", "mms_kg", "cms_m_per_n", "rms_kg_per_s"].map(constant));
        let test_box = TestBox::new(
            rho_c2_pa,
            constant("sd_m2"),
            number(truth, &["box_volume_m3"]),
        );
        let loads = [
            ("free-air", Load::Free),
            (
                "added-mass",
                Load::AddedMass {
                    added_mass_kg: number(truth, &["added_mass_kg"]),
                },
            ),
            ("test-box", Load::TestBox(test_box)),
        ];
        for (condition, load) in loads {
            let file = std::fs::File::open(fixture(&format!("{name}/ac-{condition}.csv"))).unwrap();
            let curve = read_csv(file).unwrap();
            let circuit = driver(family, None, load);
            for (&f_hz, z) in curve.frequency_hz().iter().zip(curve.z_ohm()) {
                const ROUNDING: f64 = 1e-9;
                let ours = circuit.impedance(f_hz, &values);
                assert!(
                    (ours - z).norm() < ROUNDING * z.norm(),
                    "{name} {condition} {f_hz} Hz: {ours} {z}"
                );
            }
        }
    }
}
