//! `farcone fit`: the ways in, and what the exit code says.

use std::fs::{self, File};
use std::io::BufReader;

use farcone::Complex64;
use farcone::impedance::ImpedanceCurve;
use farcone::impedance::table::write_csv;
use farcone::quantity::FrequencyGrid;
use farcone::recording::{Take, WavFormat, read_take, write_wav};

use super::{demo, quick_fit, run, write};

fn free_air() -> Take {
    let file = File::open(demo().take("free-air-1")).unwrap();
    read_take(BufReader::new(file), None).unwrap().0
}

#[test]
fn recordings_give_what_their_session_gives() {
    let demo = demo();
    let take = |name| demo.take(name);
    let quick = ["--coil", "semi-inductor", "--no-creep", "--draws", "1000"];
    let (free_1, free_2) = (take("free-air-1"), take("free-air-2"));
    let (mass, in_box, check) = (
        take("added-mass-1"),
        take("test-box-1"),
        take("check-resistor-1"),
    );
    let flags = [
        "fit",
        "--free-air",
        &free_1,
        &free_2,
        "--test-box",
        &in_box,
        "--volume",
        "1.00L+-0.01L",
        "--added-mass",
        &mass,
        "--mass",
        "2.00g+-0.02g",
        "--check-resistor",
        &check,
        "--check-ohm",
        "22.0ohm+-0.05ohm",
        "--sense",
        "47.0ohm+-0.47ohm",
        "--wiring",
        "across-driver",
        "--lead",
        "0.05ohm+-0.02ohm",
        "--cone",
        "64mm+-1mm",
        "--air",
        "23C+-1C,975hPa+-2hPa,45%+-5%",
        "--label",
        "Tidepool 3",
        "--json",
    ];
    let by_flags = run(flags.iter().chain(&quick));
    assert_eq!(by_flags.code, 0, "{}", by_flags.err);
    let path = demo.path();
    let by_session = run(["fit", path.to_str().unwrap(), "--json"]
        .iter()
        .chain(&quick));
    assert_eq!(by_flags.sheet(), by_session.sheet());
}

#[test]
fn two_mono_files_are_one_take() {
    let (whole, take) = (
        quick_fit(&demo().take("free-air-1"), &["--json"]),
        free_air(),
    );
    let folder = tempfile::tempdir().unwrap();
    let mono = |name: &str, samples: &[f32]| {
        let path = folder.path().join(name);
        let file = File::create(&path).unwrap();
        write_wav(file, take.sample_rate_hz(), &[samples], WavFormat::Float32).unwrap();
        path.to_str().unwrap().to_owned()
    };
    let pair = format!(
        "{},{}",
        mono("s.wav", take.source()),
        mono("d.wav", take.driver())
    );
    let halves = quick_fit(&pair, &["--json"]);
    assert_eq!(halves.code, 0, "{}", halves.err);
    assert_eq!(halves.sheet().parameters, whole.sheet().parameters);
    assert_eq!(halves.sheet().origin.takes[0].sha256.len(), 2);

    let picked = quick_fit(&pair, &["--channels", "2,1"]);
    assert_eq!(picked.code, 2, "{}", picked.err);
}

#[test]
fn channels_are_picked_and_swapped() {
    let path = demo().take("free-air-1");
    let plain = quick_fit(&path, &["--json"]).sheet();
    let twice = quick_fit(&path, &["--json", "--channels", "2,1", "--swap-channels"]).sheet();
    assert_eq!(plain.parameters, twice.parameters);
    let beyond = quick_fit(&path, &["--channels", "1,5"]);
    assert_eq!(beyond.code, 1);
    assert!(beyond.err.contains("channel 5"), "{}", beyond.err);
}

#[test]
fn a_table_is_fitted_and_refuses_a_jig() {
    let sheet = quick_fit(&demo().take("free-air-1"), &["--json"]).sheet();
    let curve = &sheet.curves[0];
    let parts = curve.measured_re_ohm.iter().zip(&curve.measured_im_ohm);
    let grid = FrequencyGrid::new(curve.frequency_hz.clone()).unwrap();
    let z_ohm = parts.map(|(&re, &im)| Complex64::new(re, im)).collect();
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("free.csv");
    write_csv(
        &ImpedanceCurve::new(grid, z_ohm, None).unwrap(),
        File::create(&path).unwrap(),
    )
    .unwrap();
    let path = path.to_str().unwrap();

    let quick = [
        "--coil",
        "semi-inductor",
        "--no-creep",
        "--draws",
        "1000",
        "--json",
    ];
    let fitted = run(["fit", "--free-air", path].iter().chain(&quick));
    assert_eq!(fitted.code, 0, "{}", fitted.err);
    let (fs, expected) = (
        fitted.sheet().parameters.fs.unwrap(),
        sheet.parameters.fs.unwrap(),
    );
    // Method: without covariance every point weighs differently; fs hardly depends on it.
    const METHOD: f64 = 1e-3;
    assert!((fs.value / expected.value - 1.0).abs() < METHOD);

    for (flag, value) in [
        ("--sense", "47ohm"),
        ("--wiring", "across-driver"),
        ("--input-load", "10kohm"),
        ("--same-node", path),
    ] {
        let refused = run(["fit", "--free-air", path, flag, value]);
        assert_eq!((refused.code, refused.out.as_str()), (2, ""));
        assert!(refused.err.contains(flag), "{}", refused.err);
    }
    let take = demo().take("free-air-2");
    let mixed = run(["fit", "--free-air", path, &take]);
    assert_eq!(mixed.code, 2);
    assert!(mixed.err.contains("free-air-2.wav"), "{}", mixed.err);
}

#[test]
fn redo_is_exit_3_with_the_sheet_still_there() {
    let ran = quick_fit(&demo().take("check-resistor-1"), &["--json"]);
    assert_eq!(ran.code, 3, "{}", ran.err);
    assert_eq!(ran.sheet().verdict, "redo");
    assert!(ran.sheet().parameters.fs.is_none());
}

#[test]
fn what_cannot_be_read_is_exit_1_and_named() {
    let folder = tempfile::tempdir().unwrap();
    let bytes = fs::read(demo().take("free-air-1")).unwrap();
    let cut = folder.path().join("cut-off.wav");
    fs::write(&cut, &bytes[..bytes.len() / 2]).unwrap();
    let noise = write(folder.path(), "no-recording.wav", "dear diary");
    let table = write(folder.path(), "bad.csv", "frequency_hz,re_ohm\n1,2\n");
    let missing = folder.path().join("missing.wav");
    for (path, says) in [
        (cut.to_str().unwrap(), "cut off"),
        (&noise, "not a WAV file"),
        (missing.to_str().unwrap(), "cannot be opened"),
    ] {
        let ran = quick_fit(path, &[]);
        assert_eq!((ran.code, ran.out.as_str()), (1, ""), "{path}");
        assert!(
            ran.err.contains(path) && ran.err.contains(says),
            "{}",
            ran.err
        );
    }
    let ran = run(["fit", "--free-air", &table]);
    assert_eq!(ran.code, 1);
    assert!(ran.err.contains("bad.csv"), "{}", ran.err);
}

#[test]
fn a_session_folder_is_checked() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().to_str().unwrap();
    let ran = run(["fit", path]);
    assert_eq!(ran.code, 1);
    assert!(ran.err.contains("session.json"), "{}", ran.err);

    // A take that is no longer the one that was recorded.
    fs::create_dir(folder.path().join("takes")).unwrap();
    let session = fs::read_to_string(demo().path().join("session.json")).unwrap();
    write(folder.path(), "session.json", &session);
    for name in [
        "free-air-1",
        "free-air-2",
        "added-mass-1",
        "test-box-1",
        "check-resistor-1",
    ] {
        fs::copy(
            demo().take("free-air-1"),
            folder.path().join(format!("takes/{name}.wav")),
        )
        .unwrap();
    }
    let ran = run(["fit", path]);
    assert_eq!(ran.code, 1);
    assert!(
        ran.err.contains("free-air-2.wav") && ran.err.contains("SHA-256"),
        "{}",
        ran.err
    );

    write(
        folder.path(),
        "session.json",
        &session.replace("\"label\"", "\"lable\""),
    );
    let ran = run(["fit", path]);
    assert_eq!(ran.code, 1);
    assert!(ran.err.contains("lable"), "{}", ran.err);
}

#[test]
fn flags_outrank_the_session() {
    let path = demo().path();
    let sheet = run([
        "fit",
        path.to_str().unwrap(),
        "--label",
        "other",
        "--band",
        "20Hz..5kHz",
        "--seed",
        "9",
        "--coil",
        "plain",
        "--no-creep",
        "--draws",
        "1000",
        "--json",
    ])
    .sheet();
    assert_eq!(sheet.label, "other");
    assert_eq!(sheet.conditions.band_hz, [20.0, 5000.0]);
    assert_eq!((sheet.origin.seed, sheet.origin.draws), (9, 1000));
    assert!(
        sheet
            .circuit
            .unwrap()
            .candidates
            .iter()
            .all(|one| one.coil == "plain" && !one.creep)
    );
}

#[test]
fn remounted_takes_measure_the_set_up() {
    let take = demo().take("free-air-2");
    let ran = quick_fit(
        &demo().take("free-air-1"),
        &["--free-air", &take, "--remounted", "--json"],
    );
    assert_eq!(ran.code, 0, "{}", ran.err);
    let remounted = ran
        .sheet()
        .origin
        .takes
        .into_iter()
        .map(|take| take.remounted);
    assert_eq!(remounted.collect::<Vec<_>>(), [false, true]);
}

#[test]
fn dimensions_and_photos_go_into_the_sheet() {
    let folder = tempfile::tempdir().unwrap();
    let photo = folder.path().join("bench.jpg");
    fs::write(&photo, "no real picture").unwrap();
    let named = format!("wiring={}", photo.display());
    let list = "flange=118mm,cutout=9.2cm,screws=4";
    let take = demo().take("free-air-1");
    let out = quick_fit(&take, &["--json", "--dimensions", list, "--photo", &named]);
    let sheet = out.sheet();
    let dimensions = sheet.dimensions.expect("dimensions");
    assert_eq!(dimensions.flange_m, Some(0.118));
    assert_eq!(dimensions.n_screws, Some(4));
    assert_eq!(dimensions.depth_m, None);
    let photo = &sheet.origin.photos[0];
    assert_eq!(
        (photo.of.as_str(), photo.file.as_str()),
        ("wiring", "bench.jpg")
    );
    // sha256sum of the file's text.
    let hash = photo.sha256.as_deref().expect("a hash");
    assert!(hash.starts_with("404976e991587354"), "{hash}");

    let wrong = quick_fit(&take, &["--dimensions", "cutout=130mm,flange=118mm"]);
    assert_eq!(wrong.code, 2);
    assert!(
        wrong.err.contains("cutout is 130 mm and flange 118 mm"),
        "{}",
        wrong.err
    );
    // A folder says itself what belongs to it.
    let path = demo().path();
    let refused = run(["fit", path.to_str().unwrap(), "--photo", &named]);
    assert_eq!(refused.code, 2);
    assert!(refused.err.contains("photos"), "{}", refused.err);
}
