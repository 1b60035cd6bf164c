//! `farcone test-box`.

use super::run;

const USUAL: &str = "test-box --volume 1.5L --cutout 92mm --flange 118mm --hollow 12ml";

fn with(more: &str, output: &std::path::Path) -> super::Ran {
    let output = output.to_str().unwrap();
    let words = USUAL.split_whitespace().chain(more.split_whitespace());
    run(words.chain(["-o", output]))
}

#[test]
fn a_box_is_written_once_and_described() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("box.stl");
    let done = with("--gasket 2mm --screw-circle 105mm --screws 4", &path);
    assert_eq!((done.code, done.err.as_str()), (0, ""));
    let bytes = std::fs::read(&path).unwrap();
    let n = u32::from_le_bytes(bytes[80..84].try_into().unwrap()) as usize;
    assert_eq!(bytes.len(), 84 + 50 * n);
    assert!(n > 1000);
    for part in [
        "1500.0 ml = cup 1474.7 ml + gasket 13.3 ml + cone's hollow 12.0 ml",
        "4 blind pilot holes",
        "100 % infill",
        "Varnish",
        "weigh the water: 1472 g",
        "Leak test",
        "Seal every hole",
        "no supports",
        "farcone kit --driver \"LABEL,small\" --method test-box --box 1.5000L+-",
    ] {
        assert!(done.out.contains(part), "{part}: {}", done.out);
    }
    let again = with("", &path);
    assert_eq!(again.code, 1);
    assert!(again.err.contains("box.stl"), "{}", again.err);
    assert_eq!(std::fs::read(&path).unwrap(), bytes);
}

/// The line to use afterwards is one that `fit` reads, and its doubt follows what was typed.
#[test]
fn the_volume_comes_with_its_doubt() {
    let folder = tempfile::tempdir().unwrap();
    let half_width = |name: &str, more: &str| {
        let done = with(more, &folder.path().join(name));
        assert_eq!(done.code, 0, "{}", done.err);
        let (_, rest) = done.out.split_once("--volume 1.5000L+-").unwrap();
        let (number, _) = rest.split_once('L').unwrap();
        number.parse::<f64>().unwrap()
    };
    let plain = half_width("a.stl", "");
    assert!((0.003..0.03).contains(&plain), "{plain}");
    let unsure = half_width("b.stl", "--gasket 4mm+-3mm");
    assert!(unsure > plain + 0.005, "{unsure} {plain}");
    let stated = format!("1.5000L+-{plain:.3}L");
    let missing = folder.path().join("x.wav");
    let missing = missing.to_str().unwrap();
    let fit = run([
        "fit",
        "--free-air",
        missing,
        "--test-box",
        missing,
        "--volume",
        &stated,
        "--sense",
        "47ohm+-1%",
        "--wiring",
        "across-driver",
    ]);
    // It is the missing file that is complained of, so the volume was read.
    assert!(fit.err.contains("x.wav"), "{}", fit.err);
    assert!(!fit.err.contains("--volume"), "{}", fit.err);
}

#[test]
fn the_hollow_is_asked_for() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("box.stl");
    let out = path.to_str().unwrap();
    let flags = "test-box --volume 0.5L --cutout 72mm --flange 93mm";
    let done = run(flags.split_whitespace().chain(["-o", out]));
    assert_eq!(done.code, 2);
    for part in ["hollow", "rice", "cling film", "--cone-depth"] {
        assert!(done.err.contains(part), "{part}: {}", done.err);
    }
    assert!(!path.exists());
    let worked_out = format!("{flags} --cone-depth 14mm --cone 62mm --dust-cap 22mm");
    let done = run(worked_out.split_whitespace().chain(["-o", out]));
    assert_eq!(done.code, 0, "{}", done.err);
    // π/12 · 14 · (62² + 62·22 + 22²) mm³.
    assert!(done.out.contains("cone's hollow 20.9 ml"), "{}", done.out);
}

#[test]
fn what_cannot_be_printed_is_refused() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("box.stl");
    for (more, part) in [
        ("--wall 1mm", "2 mm or more"),
        ("--bed 100x100x100mm", "--bed"),
        ("--bed 130x130x60mm", "--bed"),
        ("--bed 220x220mm", "220x220x250mm"),
        ("--screw-circle 95mm --screws 4", "97.5 mm to 115.5 mm"),
        ("--screws 4", "--screw-circle"),
        ("--gasket 2", "write 2mm"),
    ] {
        let done = with(more, &path);
        assert_eq!(done.code, 2, "{more}: {}", done.err);
        assert!(done.err.contains(part), "{more}: {}", done.err);
        assert!(!path.exists());
    }
    let flange = "test-box --volume 1.5L --cutout 92mm --flange 90mm --hollow 12ml";
    let done = run(flange.split_whitespace());
    assert_eq!(done.code, 2);
    assert!(done.err.contains("measure both again"), "{}", done.err);
    let small = "test-box --volume 90ml --cutout 92mm --flange 118mm --hollow 12ml";
    let done = run(small.split_whitespace());
    assert_eq!(done.code, 2);
    assert!(done.err.contains("0.112 L or more"), "{}", done.err);
}
