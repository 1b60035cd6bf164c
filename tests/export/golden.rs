//! Each format as it is committed. After a change that is meant: `UPDATE_GOLDEN=1 cargo test --test export`.

use std::path::Path;

use farcone::export::{ExportError, Format, export};
use farcone::sheet::Sheet;

use super::literal::{self, Given};

fn goldens() -> Vec<(&'static str, Format, Given)> {
    let creeping = || Given {
        creep: Some((0.1, 42.0)),
        ..literal::semi_inductor()
    };
    vec![
        ("plain.cir", Format::Spice, literal::plain()),
        ("creeping-semi-inductor.cir", Format::Spice, creeping()),
        ("little-known.cir", Format::Spice, literal::little_known()),
        ("driver.s1p", Format::Touchstone, literal::lr2()),
        ("impedance.csv", Format::Csv, literal::lr2()),
        (
            "impedance-little-known.csv",
            Format::Csv,
            literal::little_known(),
        ),
        ("parameters.csv", Format::CsvParameters, literal::plain()),
        (
            "parameters-little-known.csv",
            Format::CsvParameters,
            literal::little_known(),
        ),
        ("driver.scad", Format::Openscad, literal::plain()),
        (
            "driver-little-known.scad",
            Format::Openscad,
            literal::little_known(),
        ),
        ("driver.json", Format::Json, literal::plain()),
    ]
}

/// Rounding: logarithms and powers differ in their last bits between systems.
const ROUNDING: f64 = 1e-12;

/// Whether two texts agree word by word, numbers within rounding.
fn agree(text: &str, golden: &str) -> bool {
    // Git may have turned line ends around; `any` holds those that matter.
    let words = |text: &str| -> Vec<String> {
        text.replace("\r\n", "\n")
            .split_inclusive([' ', ',', '\n', ';'])
            .map(str::to_owned)
            .collect()
    };
    let (a, b) = (words(text), words(golden));
    let same = |a: &String, b: &String| {
        let split = |word: &str| {
            let number = word.trim_end_matches([' ', ',', '\n', '\r', ';']);
            (number.parse::<f64>().ok(), word[number.len()..].to_owned())
        };
        match (split(a), split(b)) {
            ((Some(x), rest), (Some(y), other)) => {
                rest == other && (x - y).abs() <= ROUNDING * y.abs()
            }
            _ => a == b,
        }
    };
    a.len() == b.len() && a.iter().zip(&b).all(|(a, b)| same(a, b))
}

#[test]
fn every_format_is_as_committed() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/export");
    for (name, format, given) in goldens() {
        let text = export(&given.sheet(), format).unwrap();
        let path = folder.join(name);
        if std::env::var_os("UPDATE_GOLDEN").is_some() {
            std::fs::write(&path, &text).unwrap();
        }
        let golden = std::fs::read_to_string(&path).unwrap();
        assert!(
            agree(&text, &golden),
            "fixtures/export/{name} is not what is written now: UPDATE_GOLDEN=1 cargo test --test export\n{text}"
        );
    }
}

#[test]
fn goldens_are_compared() {
    assert!(agree("R1 a b 1.00000000000000001\n", "R1 a b 1.0\n"));
    for other in [
        "R1 a b 1.0001\n",
        "R1 a c 1.0\n",
        "R1 a b 1.0 \n",
        "R1 a b 1.0",
        "R1 a b 1.0\nx",
    ] {
        assert!(!agree("R1 a b 1.0\n", other), "{other}");
    }
}

/// The figures of a golden that can be checked by eye, so that a wrong golden is not simply committed.
#[test]
fn the_subcircuit_has_the_sheets_values() {
    let text = export(&literal::plain().sheet(), Format::Spice).unwrap();
    let first = text.lines().find(|line| !line.starts_with('*')).unwrap();
    assert_eq!(
        first,
        ".subckt driver_tidepool_3 plus minus velocity displacement volume_velocity"
    );
    for line in [
        "Rwire wire coil 5.5",
        "Lcoil coil emf 0.00031",
        "Eemf emf minus velocity 0 7.2",
        "Fforce 0 velocity Vcurrent 7.2",
        "Cmass velocity 0 0.0212",
        "Rspring spring 0 0.00065",
        "Evolume volume 0 velocity 0 0.0215",
    ] {
        assert!(text.lines().any(|l| l == line), "{line}\n{text}");
    }
}

#[test]
fn what_is_unknown_reads_as_unknown() {
    let sheet = literal::little_known().sheet();
    let spice = export(&sheet, Format::Spice).unwrap();
    assert!(
        spice.contains(".subckt driver_tidepool_3 plus minus\n"),
        "{spice}"
    );
    assert!(spice.contains("* No mechanical pins: "), "{spice}");
    let no_cone = Given {
        sd_m2: None,
        ..literal::plain()
    };
    let spice = export(&no_cone.sheet(), Format::Spice).unwrap();
    assert!(
        spice.contains("plus minus velocity displacement\n"),
        "{spice}"
    );
    assert!(
        spice.contains("* No pin volume_velocity: the cone's area is unknown."),
        "{spice}"
    );

    let scad = export(&sheet, Format::Openscad).unwrap();
    assert!(
        scad.contains("driver_vas_m3 = undef; // m3; unknown; "),
        "{scad}"
    );
    assert!(
        scad.contains(
            "driver_cutout_mm = assert(false, \"driver_cutout_mm: nobody typed it (hole in the panel)."
        ),
        "{scad}"
    );
    assert!(scad.contains("driver_cone_mm = assert("), "{scad}");

    let table = export(&sheet, Format::CsvParameters).unwrap();
    let vas = table.lines().find(|line| line.contains(",vas,")).unwrap();
    assert!(vas.trim_end().ends_with(",,m3,,,,,"), "{vas}");
    let table = export(&sheet, Format::Csv).unwrap();
    let row: Vec<&str> = table.lines().nth(1).unwrap().split(',').collect();
    assert_eq!(row[5..7], ["", ""], "{row:?}");
}

#[test]
fn what_a_sheet_lacks_is_named() {
    let mut sheet = literal::plain().sheet();
    sheet.circuit = None;
    for format in [Format::Spice, Format::Touchstone] {
        let said = export(&sheet, format).unwrap_err().to_string();
        assert!(
            said.contains("no circuit") && said.contains(format.as_str()),
            "{said}"
        );
    }
    sheet.curves.clear();
    assert!(matches!(
        export(&sheet, Format::Csv),
        Err(ExportError::NoFreeAir)
    ));
    for format in [Format::CsvParameters, Format::Openscad, Format::Json] {
        assert!(export(&sheet, format).is_ok(), "{format:?}");
    }
}

#[test]
fn what_cannot_be_is_refused() {
    let refused = |change: fn(&mut Sheet), format: Format, word: &str| {
        let mut sheet = literal::plain().sheet();
        change(&mut sheet);
        let said = export(&sheet, format).unwrap_err().to_string();
        assert!(said.contains(word), "{said}");
    };
    let mass = |sheet: &mut Sheet| {
        sheet
            .circuit
            .as_mut()
            .unwrap()
            .values
            .get_mut("mms_kg")
            .unwrap()
            .value = -1.0;
    };
    refused(mass, Format::Spice, "mms_kg = -1");
    refused(mass, Format::Touchstone, "mms_kg = -1");
    let no_bl = |sheet: &mut Sheet| {
        sheet.circuit.as_mut().unwrap().values.remove("bl_t_m");
    };
    refused(no_bl, Format::Spice, "bl_t_m");
    let coil = |sheet: &mut Sheet| sheet.circuit.as_mut().unwrap().coil = "triple".to_owned();
    refused(coil, Format::Spice, "\"triple\"");
    let short = |sheet: &mut Sheet| {
        sheet.curves[0].measured_im_ohm.pop();
    };
    refused(
        short,
        Format::Csv,
        "10 values of measured where it has 11 frequencies",
    );
    let narrow = |sheet: &mut Sheet| sheet.dimensions.as_mut().unwrap().flange_m = Some(0.1);
    refused(narrow, Format::Openscad, "smaller than flange");
}

#[test]
fn formats_have_names() {
    for &format in Format::ALL {
        assert_eq!(Format::parse(format.as_str()), Some(format));
    }
    assert_eq!(Format::parse("pdf"), None);
}
