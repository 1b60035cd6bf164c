//! `farcone export`.

use farcone::export::Format;
use farcone::sheet::Sheet;

use super::{run, write};

const SHEET: &str = include_str!("../../fixtures/sheets/version-1.driver.json");

#[test]
fn every_format_goes_to_standard_output() {
    let folder = tempfile::tempdir().unwrap();
    let sheet = write(folder.path(), "x.driver.json", SHEET);
    for (format, mark) in [
        (
            "spice",
            ".subckt driver_tidepool_3 plus minus velocity displacement volume_velocity\n",
        ),
        ("touchstone", "# HZ Z RI R 1.0\n"),
        ("csv", "frequency_hz,magnitude_ohm,phase_deg,"),
        ("csv-parameters", "Tidepool 3,good,fs,"),
        ("json", "\"label\": \"Tidepool 3\""),
        ("openscad", "driver_label = \"Tidepool 3\";"),
    ] {
        let done = run(["export", &sheet, "--to", format]);
        assert_eq!((done.code, done.err.as_str()), (0, ""), "{format}");
        assert!(done.out.contains(mark), "{format}: {}", done.out);
    }
    let json = run(["export", &sheet, "--to", "json"]).sheet();
    assert_eq!(json, Sheet::from_json(SHEET).unwrap());
}

#[test]
fn a_file_is_written_once() {
    let folder = tempfile::tempdir().unwrap();
    let sheet = write(folder.path(), "x.driver.json", SHEET);
    let path = folder.path().join("x.cir");
    let out = path.to_str().unwrap();
    let done = run(["export", &sheet, "--to", "spice", "-o", out]);
    assert_eq!((done.code, done.out.as_str()), (0, ""), "{}", done.err);
    let first = std::fs::read_to_string(&path).unwrap();
    assert!(first.ends_with(".ends driver_tidepool_3\n"));
    let again = run(["export", &sheet, "--to", "csv", "-o", out]);
    assert_eq!(again.code, 1);
    assert!(again.err.contains("x.cir"), "{}", again.err);
    assert_eq!(std::fs::read_to_string(&path).unwrap(), first);
}

#[test]
fn what_goes_wrong_is_named() {
    let folder = tempfile::tempdir().unwrap();
    let sheet = write(folder.path(), "x.driver.json", SHEET);
    let done = run(["export", &sheet, "--to", "pdf"]);
    assert_eq!(done.code, 2);
    assert!(
        Format::ALL
            .iter()
            .all(|format| done.err.contains(format.as_str())),
        "{}",
        done.err
    );
    assert_eq!(run(["export", &sheet]).code, 2);
    assert_eq!(
        run(["export", folder.path().to_str().unwrap(), "--to", "csv"]).code,
        2
    );

    let mut without: serde_json::Value = serde_json::from_str(SHEET).unwrap();
    without["circuit"] = serde_json::Value::Null;
    let without = write(folder.path(), "y.driver.json", &without.to_string());
    let done = run(["export", &without, "--to", "spice"]);
    assert_eq!((done.code, done.out.as_str()), (1, ""));
    assert!(done.err.contains("no circuit"), "{}", done.err);
    let none = write(folder.path(), "z.driver.json", "{}");
    assert_eq!(run(["export", &none, "--to", "json"]).code, 1);
}

#[test]
fn the_help_names_the_formats() {
    let done = run(["export", "--help"]);
    assert_eq!(done.code, 0);
    for format in Format::ALL {
        assert!(
            done.out.contains(format.as_str()) && done.out.contains(format.meaning()),
            "{format:?}"
        );
    }
}
