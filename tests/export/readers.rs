//! Exported files in real readers: Python's csv, scikit-rf, jsonschema, OpenSCAD.

use std::path::{Path, PathBuf};

use farcone::circuit::Circuit;
use farcone::export::{Format, export};
use farcone::parameters::Key;
use farcone::sheet::{Dimensions, Sheet};
use serde_json::Value;

use super::any::any_sheet;
use super::labels::HOSTILE;
use super::literal::{self, Given};
use super::outside::{have, python};
use super::tools::run;

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// What `fixtures/export/readers.py` makes of files.
fn read(python: &str, what: &str, files: &[PathBuf]) -> Value {
    let script = root().join("fixtures/export/readers.py");
    let mut arguments = vec![script.to_str().unwrap(), what];
    arguments.extend(files.iter().map(|file| file.to_str().unwrap()));
    let output = run(python, &arguments, root());
    let said = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{said}");
    serde_json::from_slice(&output.stdout).unwrap()
}

fn written(folder: &Path, sheets: &[Sheet], format: Format, extension: &str) -> Vec<PathBuf> {
    sheets
        .iter()
        .enumerate()
        .map(|(i, sheet)| {
            let path = folder.join(format!("{i}.{extension}"));
            std::fs::write(&path, export(sheet, format).unwrap()).unwrap();
            path
        })
        .collect()
}

fn sheets() -> Vec<Sheet> {
    let all = [
        literal::plain(),
        literal::lr2(),
        literal::power_law(),
        literal::semi_inductor(),
    ];
    let hostile = HOSTILE.iter().map(|label| Given {
        label: (*label).to_owned(),
        ..literal::little_known()
    });
    let mut sheets: Vec<Sheet> = all
        .into_iter()
        .chain(hostile)
        .map(|given| given.sheet())
        .collect();
    sheets.extend((1000..1020).map(any_sheet));
    sheets
}

fn floats(list: &Value) -> Vec<f64> {
    list.as_array()
        .unwrap()
        .iter()
        .map(|value| value.as_f64().unwrap())
        .collect()
}

#[test]
#[ignore = "needs Python with scikit-rf"]
fn scikit_rf_reads_the_impedance() {
    /// Method: what is promised; scikit-rf goes through reflection coefficients.
    const PROMISED: f64 = 1e-6;
    let Some(python) = python(&["skrf"], "scikit-rf, jsonschema") else {
        return;
    };
    let folder = tempfile::tempdir().unwrap();
    let sheets = sheets();
    let files = written(folder.path(), &sheets, Format::Touchstone, "s1p");
    let networks = read(&python, "touchstone", &files);
    let mut worst: f64 = 0.0;
    for (sheet, network) in sheets.iter().zip(networks.as_array().unwrap()) {
        let (circuit, values) = sheet.circuit.as_ref().unwrap().driver().unwrap();
        let f_hz = floats(&network["f_hz"]);
        assert!(f_hz.len() > 500);
        let (re, im) = (floats(&network["re_ohm"]), floats(&network["im_ohm"]));
        for ((&f_hz, &re), &im) in f_hz.iter().zip(&re).zip(&im) {
            let z_ohm = circuit.impedance(f_hz, &values);
            let error = (farcone::Complex64::new(re, im) - z_ohm).norm() / z_ohm.norm();
            worst = if error > worst { error } else { worst };
            assert!(error < PROMISED, "{f_hz} Hz: {re} {im} for {z_ohm}");
        }
    }
    println!("scikit-rf: Z within {worst:.1e} in {} files", files.len());
}

#[test]
#[ignore = "needs Python"]
fn pythons_csv_reads_the_tables() {
    let Some(python) = python(&["csv"], "scikit-rf, jsonschema") else {
        return;
    };
    let folder = tempfile::tempdir().unwrap();
    let sheets = sheets();
    let files = written(folder.path(), &sheets, Format::Csv, "impedance.csv");
    let tables = read(&python, "csv", &files);
    for (sheet, rows) in sheets.iter().zip(tables.as_array().unwrap()) {
        let (curve, rows) = (&sheet.curves[0], rows.as_array().unwrap());
        assert_eq!(rows.len(), curve.frequency_hz.len());
        let same = |row: &Value, name: &str, expected: Option<f64>| {
            assert_eq!(
                row[name].as_str().unwrap().parse::<f64>().ok(),
                expected,
                "{name}"
            );
        };
        for (i, row) in rows.iter().enumerate() {
            same(row, "frequency_hz", Some(curve.frequency_hz[i]));
            same(row, "re_ohm", Some(curve.measured_re_ohm[i]));
            same(row, "im_ohm", Some(curve.measured_im_ohm[i]));
            same(
                row,
                "u_im_ohm",
                curve.uncertainty_im_ohm.as_ref().map(|u| u[i]),
            );
            same(
                row,
                "fitted_re_ohm",
                curve.modelled_re_ohm.as_ref().map(|z| z[i]),
            );
        }
    }
    let files = written(folder.path(), &sheets, Format::CsvParameters, "csv");
    let tables = read(&python, "csv", &files);
    for (sheet, rows) in sheets.iter().zip(tables.as_array().unwrap()) {
        for (row, &key) in rows.as_array().unwrap().iter().zip(Key::ALL) {
            assert_eq!(row["parameter"], key.as_str());
            let value = row["value"].as_str().unwrap().parse::<f64>().ok();
            assert_eq!(value, sheet.parameters.get(key).map(|entry| entry.value));
        }
    }
}

#[test]
#[ignore = "needs Python with jsonschema"]
fn jsonschema_accepts_the_sheet() {
    let Some(python) = python(&["jsonschema"], "scikit-rf, jsonschema") else {
        return;
    };
    let folder = tempfile::tempdir().unwrap();
    let mut files = vec![root().join("docs/farcone-driver-sheet-1.schema.json")];
    files.extend(written(folder.path(), &sheets(), Format::Json, "json"));
    assert_eq!(
        read(&python, "schema", &files),
        Value::from(vec![true; files.len() - 1])
    );
    // The check can fail.
    let broken = folder.path().join("broken.json");
    let text = std::fs::read_to_string(&files[1]).unwrap();
    std::fs::write(&broken, text.replacen("\"verdict\"", "\"verdikt\"", 1)).unwrap();
    let files = [files.swap_remove(0), broken];
    assert_eq!(read(&python, "schema", &files), Value::from(vec![false]));
}

const PANEL: &str = include_str!("../../fixtures/export/panel.scad");

/// Renders the panel with a driver; `more` stands behind the include. The outlines in mm, or what OpenSCAD said.
fn render(driver: &Sheet, more: &str) -> Result<Vec<Vec<[f64; 2]>>, String> {
    let folder = tempfile::tempdir().unwrap();
    let path = |name: &str| folder.path().join(name);
    std::fs::write(
        path("driver.scad"),
        export(driver, Format::Openscad).unwrap(),
    )
    .unwrap();
    const INCLUDE: &str = "include <driver.scad>\n";
    assert!(PANEL.contains(INCLUDE));
    std::fs::write(
        path("panel.scad"),
        PANEL.replace(INCLUDE, &format!("{INCLUDE}{more}\n")),
    )
    .unwrap();
    let output = run(
        "openscad",
        &["-o", "panel.svg", "panel.scad"],
        folder.path(),
    );
    let said = String::from_utf8_lossy(&output.stderr).into_owned();
    if !output.status.success() {
        return Err(said);
    }
    assert!(!said.contains("WARNING"), "{said}");
    let svg = std::fs::read_to_string(path("panel.svg")).unwrap();
    let start = svg.find("d=\"").unwrap() + 3;
    let data = &svg[start..start + svg[start..].find('"').unwrap()];
    let outline = |part: &str| {
        part.split(['L', '\n', ' ', 'z'])
            .filter_map(|pair| pair.split_once(','))
            .map(|(x, y)| [x.parse().unwrap(), y.parse().unwrap()])
            .collect::<Vec<[f64; 2]>>()
    };
    Ok(data
        .split('M')
        .map(outline)
        .filter(|outline| !outline.is_empty())
        .collect())
}

fn centre(outline: &[[f64; 2]]) -> [f64; 2] {
    let n = outline.len() as f64;
    [0, 1].map(|axis| outline.iter().map(|point| point[axis]).sum::<f64>() / n)
}

fn reach(outline: &[[f64; 2]], from: [f64; 2]) -> f64 {
    let distances = outline
        .iter()
        .map(|p| (p[0] - from[0]).hypot(p[1] - from[1]));
    distances.fold(0.0, |a, b| if b > a { b } else { a })
}

#[test]
#[ignore = "needs OpenSCAD"]
fn a_panel_has_the_typed_cut_out_and_screws() {
    /// OpenSCAD writes SVG with six digits.
    const WRITTEN_MM: f64 = 1e-3;
    if !have(&["openscad"], "openscad") {
        return;
    }
    let sheet = literal::plain().sheet();
    let outlines = render(&sheet, "").unwrap();
    // The panel, the cut-out and six screws.
    assert_eq!(outlines.len(), 8);
    let mut by_reach: Vec<_> = outlines
        .iter()
        .map(|o| (reach(o, centre(o)), centre(o)))
        .collect();
    by_reach.sort_by(|a, b| b.0.total_cmp(&a.0));
    let (cutout_mm, middle) = by_reach[1];
    assert!((cutout_mm - 93.0).abs() < WRITTEN_MM, "{cutout_mm}");
    assert!(middle[0].hypot(middle[1]) < WRITTEN_MM);
    for (screw_mm, at) in &by_reach[2..] {
        assert!((screw_mm - 2.25).abs() < WRITTEN_MM, "{screw_mm}");
        assert!((at[0].hypot(at[1]) - 101.75).abs() < WRITTEN_MM, "{at:?}");
    }
    println!(
        "OpenSCAD: cut-out {} mm, screw circle {} mm",
        2.0 * cutout_mm,
        2.0 * by_reach[2].1[0].hypot(by_reach[2].1[1])
    );

    let few = Given {
        dimensions: Some(Dimensions {
            screw_circle_m: None,
            ..sheet.dimensions.unwrap()
        }),
        ..literal::plain()
    };
    let said = render(&few.sheet(), "").unwrap_err();
    assert!(
        said.contains("driver_screw_circle_mm: nobody typed it"),
        "{said}"
    );
    // The model may say it in the driver's place.
    let outlines = render(&few.sheet(), "driver_screw_circle_mm = 203.5;").unwrap();
    assert_eq!(outlines.len(), 8);
    let said = render(&literal::little_known().sheet(), "").unwrap_err();
    assert!(said.contains("nobody typed"), "{said}");
}

#[test]
#[ignore = "needs OpenSCAD"]
fn a_label_in_a_model_is_the_label() {
    if !have(&["openscad"], "openscad") {
        return;
    }
    let folder = tempfile::tempdir().unwrap();
    for label in HOSTILE {
        let given = Given {
            label: (*label).to_owned(),
            ..literal::plain()
        };
        let text = export(&given.sheet(), Format::Openscad).unwrap();
        let path = |name: &str| folder.path().join(name);
        std::fs::write(path("driver.scad"), text).unwrap();
        let letters = "include <driver.scad>\necho([for (c = driver_label) ord(c)], driver_vas_m3, is_undef(driver_mmd_kg), driver_cone_mm);\n";
        std::fs::write(path("label.scad"), letters).unwrap();
        let output = run(
            "openscad",
            &["-o", "label.echo", "label.scad"],
            folder.path(),
        );
        assert!(
            output.status.success(),
            "{}",
            String::from_utf8_lossy(&output.stderr)
        );
        let said = std::fs::read_to_string(path("label.echo")).unwrap();
        let letters: Vec<u32> = label
            .chars()
            .map(|c| {
                if c.is_control() && !"\n\r\t".contains(c) {
                    0xfffd
                } else {
                    c.into()
                }
            })
            .collect();
        let expected = format!("ECHO: {letters:?}, 0.0426389, true, 165.453");
        assert_eq!(said.trim_end(), expected, "{label:?}");
    }
}
