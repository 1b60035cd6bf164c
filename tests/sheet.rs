//! The sheet as a file: schema, round trip, versions.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    reason = "a test fails by panicking"
)]

mod common;

use std::collections::BTreeSet;

use common::{Jig, session, sweep, take};
use farcone::bench::{Mounting, Noise, demo_driver};
use farcone::jig::Wiring;
use farcone::progress::Unwatched;
use farcone::session::{Condition, analyse};
use farcone::sheet::{Sheet, SheetError};
use serde_json::Value;

fn sheet() -> Sheet {
    let mut jig = Jig::new(Wiring::AcrossDriver, 47.0);
    jig.bench.driver.noise = Noise::BelowSignalDb(60.0);
    let data = jig.driver(
        demo_driver(),
        &Mounting::FreeAir,
        &sweep(2.0, jig.rate_hz),
        3,
    );
    let takes = vec![take("free-air", Condition::FreeAir, data)];
    analyse(session(&jig, demo_driver().sd_m2, takes), &mut Unwatched).unwrap()
}

const SCHEMA_FILE: &str = "docs/farcone-driver-sheet-1.schema.json";

/// The committed schema is the one of the types. After a change: `UPDATE_SCHEMA=1 cargo test --test sheet`.
#[test]
fn the_published_schema_is_current() {
    let path = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join(SCHEMA_FILE);
    let current = Sheet::json_schema();
    if std::env::var_os("UPDATE_SCHEMA").is_some() {
        std::fs::write(&path, &current).unwrap();
    }
    let published = std::fs::read_to_string(&path)
        .unwrap()
        .replace("\r\n", "\n");
    // Not assert_eq: it would print both at full length.
    assert!(
        published == current,
        "{SCHEMA_FILE} is not the schema of the types: UPDATE_SCHEMA=1 cargo test --test sheet"
    );
}

#[test]
fn a_real_sheet_is_valid_and_reads_back_bit_for_bit() {
    let sheet = sheet();
    let text = sheet.to_json().unwrap();
    let value: Value = serde_json::from_str(&text).unwrap();
    let schema: Value = serde_json::from_str(&Sheet::json_schema()).unwrap();
    let validator = jsonschema::draft202012::new(&schema).unwrap();
    assert!(
        validator.is_valid(&value),
        "{:?}",
        validator.iter_errors(&value).next().map(|e| e.to_string())
    );
    let again = Sheet::from_json(&text).unwrap();
    assert_eq!(again, sheet);
    // Equal floats may differ in the sign of a zero; equal text may not, since what is written is the shortest that
    // reads back as the same bits.
    assert_eq!(again.to_json().unwrap(), text);
    // The check can fail: a sheet without its verdict is none.
    let mut broken = value.clone();
    broken.as_object_mut().unwrap().remove("verdict");
    assert!(!validator.is_valid(&broken));
}

/// Values that a reader which is not careful gets wrong by one bit, beside the extremes.
#[test]
fn floats_survive_to_the_last_bit() {
    let mut sheet = version_1();
    let mut state = 1_u64;
    let mut values = vec![
        -0.0,
        5e-324,
        f64::MIN_POSITIVE,
        f64::MAX,
        f64::EPSILON,
        0.1 + 0.2,
    ];
    while values.len() < 20_000 {
        // Knuth's multiplier; any bits will do as long as they are the same every time.
        state = state
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        let value = f64::from_bits(state);
        if value.is_finite() {
            values.push(value);
        }
    }
    sheet.curves[0].frequency_hz = values.clone();
    let read = Sheet::from_json(&sheet.to_json().unwrap()).unwrap();
    let bits = |values: &[f64]| values.iter().map(|v| v.to_bits()).collect::<Vec<_>>();
    assert_eq!(bits(&read.curves[0].frequency_hz), bits(&values));
}

#[test]
fn the_unknown_is_absent_or_null_and_never_zero() {
    let sheet = sheet();
    let value = serde_json::to_value(&sheet).unwrap();
    for absent in ["vas", "mms", "bl", "cms", "rms", "efficiency", "level_1w"] {
        assert!(
            value["parameters"].get(absent).is_none(),
            "{absent} cannot be known without a load"
        );
    }
    assert!(value["parameters"]["le_1khz"]["setup_uncertainty"].is_null());
    assert!(value["circuit"]["values"]["mms_kg"]["standard_uncertainty"].is_null());
    assert!(value["dimensions"].is_null());
}

#[test]
fn other_versions_and_other_files_are_refused_by_name() {
    let text = sheet()
        .to_json()
        .unwrap()
        .replace("farcone-driver-sheet/1", "farcone-driver-sheet/2");
    let error = Sheet::from_json(&text).unwrap_err();
    assert!(matches!(&error, SheetError::Version { found } if found == "farcone-driver-sheet/2"));
    assert!(
        error.to_string().contains("farcone-driver-sheet/1"),
        "{error}"
    );
    assert!(matches!(
        Sheet::from_json("{}"),
        Err(SheetError::Malformed { .. })
    ));
    assert!(matches!(
        Sheet::from_json("no json"),
        Err(SheetError::Malformed { .. })
    ));
}

/// The version is looked at before the rest: a later one may have other fields.
#[test]
fn a_later_version_is_refused_for_its_version_whatever_it_holds() {
    let text = r#"{"schema": "farcone-driver-sheet/2", "something": "else"}"#;
    let error = Sheet::from_json(text).unwrap_err();
    assert!(matches!(&error, SheetError::Version { found } if found == "farcone-driver-sheet/2"));
}

const VERSION_1: &str = include_str!("../fixtures/sheets/version-1.driver.json");

fn version_1() -> Sheet {
    Sheet::from_json(VERSION_1).unwrap()
}

/// Sheets of version 1 that are already out there stay readable, valid, and lose nothing when they are written again.
#[test]
fn a_sheet_of_version_1_is_read() {
    let sheet = version_1();
    assert_eq!(sheet.label, "Tidepool 3");
    assert_eq!(sheet.verdict, "good");
    let fs = sheet.parameters.fs.as_ref().unwrap();
    assert!((fs.value - 95.0).abs() < 0.5 && fs.standard_uncertainty.is_some());
    assert!(sheet.parameters.vas.is_some());

    let value: Value = serde_json::from_str(VERSION_1).unwrap();
    let schema: Value = serde_json::from_str(&Sheet::json_schema()).unwrap();
    assert!(jsonschema::draft202012::is_valid(&schema, &value));
    let written: Value = serde_json::from_str(&sheet.to_json().unwrap()).unwrap();
    assert_eq!(written, value);
}

/// What `docs/sheet.md` promises under "Versions".
#[test]
fn fields_may_be_added_but_no_parameter() {
    let mut value: Value = serde_json::from_str(VERSION_1).unwrap();
    value["added_later"] = 1.into();
    value["parameters"]["fs"]["added_later"] = 1.into();
    value["circuit"]["added_later"] = 1.into();
    assert_eq!(Sheet::from_json(&value.to_string()).unwrap(), version_1());

    value["parameters"]["fss"] = value["parameters"]["fs"].clone();
    let error = Sheet::from_json(&value.to_string()).unwrap_err();
    let SheetError::Malformed { source } = &error else {
        panic!("{error}")
    };
    assert!(source.to_string().contains("fss"), "{source}");
}

/// Every field of the schema is described on the page.
#[test]
fn the_page_names_every_field() {
    fn collect(schema: &Value, names: &mut BTreeSet<String>) {
        match schema {
            Value::Object(entries) => {
                if let Some(Value::Object(properties)) = entries.get("properties") {
                    names.extend(properties.keys().cloned());
                }
                entries.values().for_each(|entry| collect(entry, names));
            }
            Value::Array(entries) => entries.iter().for_each(|entry| collect(entry, names)),
            _ => {}
        }
    }
    let schema: Value = serde_json::from_str(&Sheet::json_schema()).unwrap();
    let mut names = BTreeSet::new();
    collect(&schema, &mut names);
    assert!(
        names.len() > 60,
        "only {} fields in the schema",
        names.len()
    );
    let page = include_str!("../docs/sheet.md");
    let missing: Vec<&String> = names
        .iter()
        .filter(|name| !page.contains(&format!("`{name}`")))
        .collect();
    assert!(missing.is_empty(), "docs/sheet.md lacks {missing:?}");
}

/// A unit in the page's table of parameters is the one in the sheet.
#[test]
fn the_page_states_the_units_of_the_sheet() {
    let page = include_str!("../docs/sheet.md");
    let value: Value = serde_json::from_str(VERSION_1).unwrap();
    for (name, entry) in value["parameters"].as_object().unwrap() {
        let unit = entry["unit"].as_str().unwrap();
        let row = page
            .lines()
            .find(|line| line.starts_with('|') && line.contains(&format!("`{name}`")))
            .unwrap();
        assert!(row.ends_with(&format!("| `{unit}` |")), "{name}: {row}");
    }
}
