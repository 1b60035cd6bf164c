//! Impedance tables: CSV and Touchstone, well-formed and hostile.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    reason = "a test fails by panicking"
)]

use farcone::Complex64;
use farcone::impedance::ImpedanceCurve;
use farcone::impedance::table::{
    TableError, TableFormat, read_csv, read_touchstone, write_csv, write_touchstone,
};
use farcone::quantity::{Covariance2, FrequencyGrid};
use proptest::prelude::*;
use proptest::test_runner::RngSeed;

/// Rounding: a conversion of format and normalisation, in this program and in the one that wrote the file.
const CONVERSION: f64 = 1e-13;
/// Rounding of one operation or two.
const ROUNDING: f64 = 4.0 * f64::EPSILON;

fn fixture(name: &str) -> Vec<u8> {
    let path = format!("{}/fixtures/tables/{name}", env!("CARGO_MANIFEST_DIR"));
    std::fs::read(&path).unwrap_or_else(|error| panic!("{path}: {error}"))
}

fn assert_close(got: Complex64, wanted: Complex64, relative: f64, what: &str) {
    assert!(
        (got - wanted).norm() <= relative * wanted.norm(),
        "{what}: {got} against {wanted}"
    );
}

/// A good table in rows, to be spoilt in one place.
fn csv_with(header: &str, rows: &[&str]) -> String {
    let good = (1..=8).map(|i| format!("{},{},{}", 10 * i, 5 + i, 3 - i));
    let mut lines = vec![header.to_owned()];
    lines.extend(good);
    lines.extend(rows.iter().map(|&row| row.to_owned()));
    lines.join("\n")
}

fn csv_refusal(text: &str) -> String {
    read_csv(text.as_bytes()).expect_err(text).to_string()
}

/// Files written by scikit-rf 2.2.0 (`fixtures/tables/generate_touchstone.py`) against the curve they were made from.
#[test]
fn one_port_files_of_another_program_come_out_in_ohm() {
    let truth = read_csv(&fixture("truth.csv")[..]).unwrap();
    assert_eq!(truth.n_points(), 40);
    for name in ["z_ri_50", "z_ma_8", "z_db_50", "y_ri_10", "s_ma_50"] {
        let curve = TableFormat::Touchstone
            .read(&fixture(&format!("{name}.s1p"))[..])
            .unwrap();
        assert_eq!(curve.n_points(), truth.n_points(), "{name}");
        assert!(curve.covariance().is_none());
        for i in 0..truth.n_points() {
            let (f, wanted) = (curve.frequency_hz()[i], truth.frequency_hz()[i]);
            assert!(
                (f / wanted - 1.0).abs() <= ROUNDING,
                "{name}: {f} Hz against {wanted}"
            );
            // S loses digits where it is close to 1: by |1 - S|, at worst a factor of a few here.
            assert_close(curve.z_ohm()[i], truth.z_ohm()[i], 10.0 * CONVERSION, name);
        }
    }
    let error = read_touchstone(&fixture("z_version_2.s1p")[..]).unwrap_err();
    assert!(
        matches!(error, TableError::TouchstoneVersion2 { line: 2 }),
        "{error}"
    );
    assert!(error.to_string().contains("export it again as version 1"));
}

/// The synthetic reference driver's impedance at its resonance, 43.9 ohm without a coil (computed independently),
/// normalised to 50 ohm by hand: 0.878.
#[test]
fn version_1_is_normalised_to_the_reference_resistance() {
    let rows =
        "1 .1 0\n2 .1 0\n3 .1 0\n4 .1 0\n5 .1 0\n6 .1 0\n7 .1 0\n42.87415 0.878 0 ! resonance\n";
    for (option_line, scale) in [
        ("# Hz Z RI R 50", 1.0),
        ("#z ri hz r 50", 1.0),
        ("# R 25 RI Z HZ", 0.5),
        ("# Z RI Hz", 1.0),
    ] {
        let curve = read_touchstone(format!("! text\n{option_line}\n{rows}").as_bytes()).unwrap();
        assert_close(
            curve.z_ohm()[7],
            Complex64::new(43.9 * scale, 0.0),
            ROUNDING,
            option_line,
        );
        assert_eq!(curve.frequency_hz()[7], 42.87415);
    }
    // Defaults: GHz S MA R 50. A magnitude of zero is a match, 50 ohm; 0.5 at 180 degrees is a third of that.
    let rows = "1 0 0\n2 .5 180\n3 0 0\n4 0 0\n5 0 0\n6 0 0\n7 0 0\n8 0 0\n";
    let curve = read_touchstone(format!("#\n{rows}").as_bytes()).unwrap();
    assert_eq!(
        (curve.frequency_hz()[0], curve.z_ohm()[0]),
        (1e9, Complex64::new(50.0, 0.0))
    );
    assert_close(
        curve.z_ohm()[1],
        Complex64::new(50.0 / 3.0, 0.0),
        ROUNDING,
        "defaults",
    );
}

#[test]
fn touchstone_refusals_name_the_line() {
    let good = "10 .1 .1\n20 .1 .1\n30 .1 .1\n40 .1 .1\n50 .1 .1\n60 .1 .1\n70 .1 .1\n80 .1 .1\n";
    let cases: &[(&str, String, &str)] = &[
        (
            "no option line",
            good.to_owned(),
            "line 1: numbers without an option line",
        ),
        (
            "version keyword",
            format!("[Version] 2.0\n# Hz Z RI R 50\n{good}"),
            "line 1: the file is Touchstone version 2",
        ),
        (
            "unknown option",
            format!("# THz Z RI\n{good}"),
            "line 1: \"THz\" is not an option",
        ),
        (
            "several references",
            format!("# Hz Z RI R 50 75\n{good}"),
            "\"75\" is not an option",
        ),
        (
            "no reference",
            format!("# Hz Z RI R\n{good}"),
            "R needs a reference resistance above zero",
        ),
        (
            "zero reference",
            format!("# Hz Z RI R 0\n{good}"),
            "R needs a reference",
        ),
        (
            "nan reference",
            format!("# Hz Z RI R nan\n{good}"),
            "R needs a reference",
        ),
        (
            "hybrid",
            format!("# Hz H RI\n{good}"),
            "parameter H belongs to two-ports",
        ),
        (
            "two ports",
            format!("# Hz S RI\n10 1 2 3 4 5 6 7 8\n{good}"),
            "line 2 has 9 numbers",
        ),
        (
            "one number short",
            format!("# Hz Z RI\n{good}90 1\n"),
            "line 10 has 2 numbers",
        ),
        (
            "text",
            format!("# Hz Z RI\n{good}90 one 2\n"),
            "line 10, first number: \"one\" is not a number",
        ),
        (
            "nan",
            format!("# Hz Z RI\n{good}90 1 nan\n"),
            "line 10, second number: the number is not finite",
        ),
        (
            "duplicate",
            format!("# Hz Z RI\n{good}80 1 2\n"),
            "line 10: the frequency 80 Hz does not exceed the 80 Hz",
        ),
        (
            "zero frequency",
            format!("# Hz Z RI\n0 1 2\n{good}"),
            "line 2: the frequency 0 Hz is not above zero",
        ),
        (
            "open circuit",
            format!("# Hz S RI\n{good}90 1 0\n"),
            "line 10, impedance or frequency: the number is not finite",
        ),
        (
            "zero admittance",
            format!("# Hz Y RI\n{good}90 0 0\n"),
            "the number is not finite",
        ),
        (
            "few points",
            String::from("# Hz Z RI\n1 2 3\n"),
            "1 points; at least 8",
        ),
        (
            "nothing",
            String::from("! nothing\n# Hz Z RI\n"),
            "the table is empty",
        ),
    ];
    for (what, text, part) in cases {
        let message = read_touchstone(text.as_bytes())
            .expect_err(what)
            .to_string();
        assert!(message.contains(part), "{what}: {message}");
    }
    // A second option line is ignored, and a comment may be in any encoding.
    let mut bytes = format!("# Hz Z RI R 50\n# GHz S MA R 1\n{good}").into_bytes();
    bytes.extend(b"! M\xfcller\n");
    assert_eq!(
        read_touchstone(&bytes[..]).unwrap().z_ohm()[0],
        Complex64::new(5.0, 5.0)
    );
}

#[test]
fn columns_are_found_by_name_and_converted_by_unit() {
    let curve = read_csv(&fixture("parts_with_covariance.csv")[..]).unwrap();
    assert_eq!(curve.n_points(), 8);
    assert_eq!(curve.z_ohm()[3], Complex64::new(43.9, 0.16));
    let covariance = curve.covariance().unwrap()[3];
    assert!((covariance.re_re - 1e-4).abs() <= ROUNDING * 1e-4);
    assert!((covariance.im_im - 4e-4).abs() <= ROUNDING * 4e-4);
    assert_eq!(covariance.re_im, -1e-4);

    let curve = TableFormat::from_name("a/b.CSV")
        .unwrap()
        .read(&fixture("polar_decimal_comma.csv")[..])
        .unwrap();
    assert_eq!(curve.n_points(), 8);
    assert!((curve.frequency_hz()[3] - 42.87).abs() <= ROUNDING * 42.87);
    let (z, covariance) = (curve.z_ohm()[4], curve.covariance().unwrap()[4]);
    assert_close(
        z,
        Complex64::from_polar(18.9, (-54.5_f64).to_radians()),
        ROUNDING,
        "polar",
    );
    let (u_magnitude, u_phase) = covariance.magnitude_phase(z);
    assert!((u_magnitude - 0.01).abs() < 1e-12 && (u_phase - 0.1_f64.to_radians()).abs() < 1e-12);

    for header in [
        "frequency_hz,re_ohm,im_ohm",
        "f (Hz),real (Ω),imag (Ω)",
        "Freq [HZ],Resistance Ohm,Reactance Ohm",
    ] {
        let curve = read_csv(csv_with(header, &[]).as_bytes())
            .unwrap_or_else(|error| panic!("{header}: {error}"));
        assert_eq!(
            (curve.frequency_hz()[0], curve.z_ohm()[0]),
            (10.0, Complex64::new(6.0, 2.0)),
            "{header}"
        );
    }
    let tabbed = csv_with("frequency_hz,re_ohm,im_ohm", &[]).replace(',', "\t");
    assert_eq!(read_csv(tabbed.as_bytes()).unwrap().n_points(), 8);
    assert_eq!(
        TableFormat::from_name("driver.s1p"),
        Some(TableFormat::Touchstone)
    );
    assert_eq!(TableFormat::from_name("driver.wav"), None);
    assert_eq!(TableFormat::from_name("driver"), None);
}

/// With both forms in one table, the one that has uncertainties is taken.
#[test]
fn the_form_with_uncertainties_wins() {
    let rows: Vec<String> = (1..=8)
        .map(|i| format!("{i},1,2,30,0.5,0.01,0.02"))
        .collect();
    let body = rows.join("\n");
    let polar = format!("f_hz,re_ohm,im_ohm,mag_ohm,phase_rad,u_mag_ohm,u_phase_rad\n{body}");
    assert_close(
        read_csv(polar.as_bytes()).unwrap().z_ohm()[0],
        Complex64::from_polar(30.0, 0.5),
        ROUNDING,
        "polar",
    );
    let parts = format!("f_hz,re_ohm,im_ohm,mag_ohm,phase_rad,u_re_ohm,u_im_ohm\n{body}");
    assert_eq!(
        read_csv(parts.as_bytes()).unwrap().z_ohm()[0],
        Complex64::new(1.0, 2.0)
    );
}

#[test]
fn empty_uncertainties_are_unknown() {
    // The doubts of odd lines, of even lines and of the last two.
    let table = |doubts: [&str; 3]| {
        let mut text = String::from("f_hz,re_ohm,im_ohm,u_re_ohm,u_im_ohm\n");
        for i in 1..=8 {
            let doubt = doubts[if i < 7 { 1 - i % 2 } else { 2 }];
            text.push_str(&format!("{i},1,2,{doubt}\n"));
        }
        read_csv(text.as_bytes())
    };
    assert_eq!(table([","; 3]).unwrap().covariance(), None);
    assert!(table(["0.1,0.2"; 3]).unwrap().covariance().is_some());
    // What only some lines state would be lost, and half of a pair says nothing.
    let said = table(["0.1,0.2", "0.1,0.2", ","]).unwrap_err().to_string();
    assert!(
        said.contains("line 8") && said.contains("both in every line"),
        "{said}"
    );
    let said = table(["0.1,", "0.1,", "0.1,"]).unwrap_err().to_string();
    assert!(
        said.contains("u_im_ohm") && said.contains("not a number"),
        "{said}"
    );
}

#[test]
fn csv_refusals_name_the_line_and_the_column() {
    let cases: &[(&str, &str)] = &[
        ("", "the table is empty"),
        ("# only a comment\n\n", "the table is empty"),
        ("10,5,3\n20,5,3\n", "line 1 holds numbers where the names"),
        (
            "frequency,re_ohm,im_ohm\n",
            "the column \"frequency\" has no unit; write for example frequency [Hz]",
        ),
        (
            "frequency_hz,re,im_ohm\n",
            "the column \"re\" has no unit; write for example re [ohm]",
        ),
        (
            "frequency [MHz],re_ohm,im_ohm\n",
            "the column \"frequency\" cannot be in \"MHz\"; units: Hz, kHz",
        ),
        (
            "frequency_hz,magnitude [dB],phase [deg]\n",
            "the column \"magnitude\" cannot be in \"dB\"",
        ),
        ("frequency_hz,re [Mohm],im_ohm\n", "cannot be in \"Mohm\""),
        (
            "\n# c\nfrequency_hz,re_ohm\n",
            "line 3: no column for the imaginary part",
        ),
        ("frequency_hz,magnitude_ohm\n", "no column for the phase"),
        ("frequency_hz;phase_deg\n", "no column for the magnitude"),
        ("re_ohm,im_ohm\n", "no column for the frequency"),
        (
            "name,value\n",
            "no column for the frequency; the header \"name,value\"",
        ),
        (
            "frequency_hz,frequency_khz,re_ohm,im_ohm\n",
            "two columns for the frequency",
        ),
        (
            "frequency_hz,re_ohm,im_ohm,u_re_ohm\n",
            "both u_re_ohm and u_im_ohm",
        ),
        (
            "frequency_hz,re_ohm,im_ohm,cov_re_im_ohm2\n",
            "both u_re_ohm and u_im_ohm",
        ),
        (
            "frequency_hz,re_ohm,im_ohm,u_magnitude_ohm,u_phase_deg\n",
            "u_re_ohm and u_im_ohm with re and im",
        ),
        (
            "frequency_hz,magnitude_ohm,phase_deg,u_re_ohm,u_im_ohm\n",
            "u_magnitude_ohm and u_phase_deg with",
        ),
        (
            "frequency_hz,re_ohm,im_ohm,u_z_ohm\n",
            "\"u_z_ohm\" looks like an uncertainty",
        ),
        (
            "frequency_hz,re_ohm,im_ohm,u_u_re_ohm\n",
            "looks like an uncertainty",
        ),
    ];
    for (text, part) in cases {
        let message = csv_refusal(text);
        assert!(message.contains(part), "{text:?}: {message}");
    }

    let header = "frequency_hz,re_ohm,im_ohm";
    for (row, part) in [
        ("90,1", "line 10 has 2 columns where the header has 3"),
        (
            "90,1,5,2,5",
            "line 10 has 5 columns where the header has 3; if its numbers have decimal commas",
        ),
        ("90,one,2", "line 10, re_ohm: \"one\" is not a number"),
        ("90,,2", "line 10, re_ohm: \"\" is not a number"),
        ("90,1,NaN", "line 10, im_ohm: the number is not finite"),
        ("90,1,1e999", "line 10, im_ohm: the number is not finite"),
        (
            "80,1,2",
            "line 10: the frequency 80 Hz does not exceed the 80 Hz before it",
        ),
        (
            "75,1,2",
            "line 10: the frequency 75 Hz does not exceed the 80 Hz before it",
        ),
        ("-1,1,2", "line 10: the frequency -1 Hz is not above zero"),
    ] {
        let message = csv_refusal(&csv_with(header, &[row]));
        assert!(message.contains(part), "{row}: {message}");
        // Comments, empty lines and CR LF do not shift the line.
        let shifted = csv_with(header, &["", "# comment", row]).replace('\n', "\r\n");
        let message = csv_refusal(&shifted);
        assert!(
            message.contains(&part.replace("line 10", "line 12")),
            "{row}: {message}"
        );
    }
    assert!(
        csv_refusal("frequency_hz,re_ohm,im_ohm\n0,1,2\n").contains("line 2: the frequency 0 Hz")
    );
    assert!(
        csv_refusal("frequency_hz,re_ohm,im_ohm\n1,1,2\n")
            .contains("1 points; at least 8 are needed")
    );
    assert!(
        csv_refusal("f_hz;re_ohm;im_ohm\n1;1.234,5;2\n").contains("\"1.234,5\" is not a number")
    );
    assert!(csv_refusal("f_hz;re_ohm;im_ohm\n1;1,234,5;2\n").contains("is not a number"));
    assert!(
        csv_refusal("f_hz,mag_ohm,phase_deg\n1,-3,2\n").contains("line 2: the magnitude -3 ohm")
    );

    let header = "f_hz,re_ohm,im_ohm,u_re_ohm,u_im_ohm,cov_re_im_ohm2\n";
    for (row, part) in [
        (
            "1,1,2,0,1,0",
            "u_re_ohm: an uncertainty has to be above zero",
        ),
        (
            "1,1,2,1,-1,0",
            "u_im_ohm: an uncertainty has to be above zero",
        ),
        ("1,1,2,1,,0", "\"\" is not a number"),
        ("1,1,2,1,2,2", "line 2: these uncertainties cannot be"),
        ("1,1,2,1e200,2,0", "line 2: these uncertainties cannot be"),
    ] {
        let message = csv_refusal(&format!("{header}{row}\n"));
        assert!(message.contains(part), "{row}: {message}");
    }

    let error = read_csv(&b"frequency_hz,re_ohm,im_ohm\n1,\xff,2\n"[..]).unwrap_err();
    assert!(matches!(error, TableError::NotText { line: 2 }), "{error}");
}

#[test]
fn a_failing_reader_or_writer_is_an_error() {
    struct Broken;
    impl std::io::Read for Broken {
        fn read(&mut self, _: &mut [u8]) -> std::io::Result<usize> {
            Err(std::io::Error::other("broken"))
        }
    }
    assert!(matches!(read_csv(Broken), Err(TableError::Read(_))));
    assert!(matches!(read_touchstone(Broken), Err(TableError::Read(_))));
    let curve = read_csv(&fixture("truth.csv")[..]).unwrap();
    let mut too_small = [0_u8; 16];
    assert!(matches!(
        write_csv(&curve, &mut too_small[..]),
        Err(TableError::Write(_))
    ));
    assert!(matches!(
        write_touchstone(&curve, 50.0, &mut too_small[..]),
        Err(TableError::Write(_))
    ));
    for reference_ohm in [0.0, -1.0, f64::NAN, f64::INFINITY] {
        let error = write_touchstone(&curve, reference_ohm, Vec::new()).unwrap_err();
        assert!(matches!(error, TableError::ReferenceToWrite { .. }));
    }
    let n = curve.n_points();
    let grid = FrequencyGrid::new(curve.frequency_hz().to_vec()).unwrap();
    let sure = ImpedanceCurve::new(
        grid,
        curve.z_ohm().to_vec(),
        Some(vec![Covariance2::default(); n]),
    )
    .unwrap();
    assert!(matches!(
        write_csv(&sure, Vec::new()),
        Err(TableError::CovarianceToWrite { .. })
    ));
}

/// What is written is fixed to the byte: other programs read it.
#[test]
fn what_is_written() {
    let grid = FrequencyGrid::new(vec![10.0, 1e5]).unwrap();
    let z = vec![Complex64::new(5.5, -0.1), Complex64::new(1e-7, 37.7)];
    let covariance = Covariance2 {
        re_re: 0.25,
        re_im: -0.01,
        im_im: 4.0,
    };
    let curve = ImpedanceCurve::new(grid, z, Some(vec![covariance; 2])).unwrap();
    let mut bytes = Vec::new();
    write_csv(&curve, &mut bytes).unwrap();
    assert_eq!(
        String::from_utf8(bytes).unwrap(),
        "frequency_hz,re_ohm,im_ohm,u_re_ohm,u_im_ohm,cov_re_im_ohm2\n10.0,5.5,-0.1,0.5,2.0,-0.01\n100000.0,1e-7,37.7,0.5,2.0,-0.01\n"
    );
    let mut bytes = Vec::new();
    write_touchstone(&curve, 2.0, &mut bytes).unwrap();
    assert_eq!(
        String::from_utf8(bytes).unwrap(),
        "! One-port impedance, normalised to 2.0 ohm as Touchstone version 1 wants it\n# HZ Z RI R 2.0\n10.0 2.75 -0.05\n100000.0 5e-8 18.85\n"
    );
}

fn any_curve() -> impl Strategy<Value = ImpedanceCurve> {
    let point = (
        1e-3..1e3_f64,
        -1e4..1e4_f64,
        -1e4..1e4_f64,
        1e-6..1e2_f64,
        1e-6..1e2_f64,
        -0.9..0.9_f64,
    );
    (prop::collection::vec(point, 8..40), any::<bool>()).prop_map(|(points, is_stated)| {
        let mut f = 0.0;
        let frequency_hz = points.iter().map(|p| {
            f += p.0;
            f
        });
        let grid = FrequencyGrid::new(frequency_hz.collect()).unwrap();
        let z = points.iter().map(|p| Complex64::new(p.1, p.2)).collect();
        let covariance = points.iter().map(|p| Covariance2 {
            re_re: p.3 * p.3,
            re_im: p.3 * p.4 * p.5,
            im_im: p.4 * p.4,
        });
        ImpedanceCurve::new(grid, z, is_stated.then(|| covariance.collect())).unwrap()
    })
}

proptest! {
    #![proptest_config(ProptestConfig { rng_seed: RngSeed::Fixed(20_260_929), failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn a_curve_survives_csv(curve in any_curve()) {
        let mut bytes = Vec::new();
        write_csv(&curve, &mut bytes).unwrap();
        let read = read_csv(&bytes[..]).unwrap();
        prop_assert_eq!(read.frequency_hz(), curve.frequency_hz());
        prop_assert_eq!(read.z_ohm(), curve.z_ohm());
        prop_assert_eq!(read.covariance().is_some(), curve.covariance().is_some());
        for (got, wanted) in read.covariance().into_iter().flatten().zip(curve.covariance().into_iter().flatten()) {
            prop_assert!((got.re_re - wanted.re_re).abs() <= ROUNDING * wanted.re_re);
            prop_assert!((got.im_im - wanted.im_im).abs() <= ROUNDING * wanted.im_im);
            prop_assert_eq!(got.re_im, wanted.re_im);
        }
    }

    #[test]
    fn a_curve_survives_touchstone(curve in any_curve(), reference_ohm in 0.1..1e3_f64) {
        let mut bytes = Vec::new();
        write_touchstone(&curve, reference_ohm, &mut bytes).unwrap();
        let read = read_touchstone(&bytes[..]).unwrap();
        prop_assert_eq!(read.frequency_hz(), curve.frequency_hz());
        for (got, wanted) in read.z_ohm().iter().zip(curve.z_ohm()) {
            prop_assert!((got - wanted).norm() <= ROUNDING * wanted.norm());
        }
        bytes.clear();
        write_touchstone(&curve, 1.0, &mut bytes).unwrap();
        let exact = read_touchstone(&bytes[..]).unwrap();
        prop_assert_eq!(exact.z_ohm(), curve.z_ohm());
    }

    #[test]
    fn no_bytes_panic(bytes in prop::collection::vec(any::<u8>(), 0..400)) {
        let _ = read_csv(&bytes[..]);
        let _ = read_touchstone(&bytes[..]);
    }

    #[test]
    fn no_nearly_right_text_panics(header in "[a-zA-Z_,;\\[\\]() #°Ω\"\t]{0,40}", body in "[0-9eE.,;+\\-\t\r\n!#\\[\" anif]{0,200}") {
        for header in [header.as_str(), "frequency_hz,re_ohm,im_ohm", "f_hz;mag [ohm];phase (deg);u_mag_ohm;u_phase_deg", "# Hz Z RI R 50", "#"] {
            let text = format!("{header}\n{body}");
            let _ = read_csv(text.as_bytes());
            let _ = read_touchstone(text.as_bytes());
        }
    }
}
