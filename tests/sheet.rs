//! The sheet as a file: schema, round trip, versions.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    reason = "a test fails by panicking"
)]

mod common;

use common::{Jig, session, sweep, take};
use farcone::bench::{Mounting, Noise, demo_driver};
use farcone::jig::Wiring;
use farcone::progress::Unwatched;
use farcone::session::{Condition, analyse};
use farcone::sheet::{Sheet, SheetError};

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
    assert_eq!(published, current, "{SCHEMA_FILE} is stale");
}

#[test]
fn a_real_sheet_is_valid_and_reads_back_bit_for_bit() {
    let sheet = sheet();
    let text = sheet.to_json().unwrap();
    let value: serde_json::Value = serde_json::from_str(&text).unwrap();
    let schema: serde_json::Value = serde_json::from_str(&Sheet::json_schema()).unwrap();
    let validator = jsonschema::draft202012::new(&schema).unwrap();
    assert!(
        validator.is_valid(&value),
        "{:?}",
        validator.iter_errors(&value).next().map(|e| e.to_string())
    );
    assert_eq!(Sheet::from_json(&text).unwrap(), sheet);
    // The check can fail: a sheet without its verdict is none.
    let mut broken = value.clone();
    broken.as_object_mut().unwrap().remove("verdict");
    assert!(!validator.is_valid(&broken));
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

/// Sheets of version 1 that are already out there stay readable.
#[test]
fn a_sheet_of_version_1_is_read() {
    let path = std::path::Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("fixtures/sheets/version-1.driver.json");
    let sheet = Sheet::from_json(&std::fs::read_to_string(path).unwrap()).unwrap();
    assert_eq!(sheet.label, "Tidepool 3");
    assert_eq!(sheet.verdict, "good");
    let fs = sheet.parameters.fs.unwrap();
    assert!((fs.value - 95.0).abs() < 0.5 && fs.standard_uncertainty.is_some());
    assert!(sheet.parameters.vas.is_some());
}
