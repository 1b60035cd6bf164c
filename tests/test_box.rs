//! Printed test boxes from outside: the program's own file in trimesh, a library for meshes that shares nothing with us.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::print_stdout,
    clippy::disallowed_methods,
    reason = "a test fails by panicking, prints what it measured, and this one runs programs"
)]

#[path = "common/outside.rs"]
mod outside;

use std::path::Path;
use std::process::Command;

use outside::python;
use serde_json::Value;

/// What trimesh says of a box made with these flags.
fn judged(python: &str, folder: &Path, name: &str, flags: &str) -> Value {
    let path = folder.join(name);
    let made = Command::new(env!("CARGO_BIN_EXE_farcone"))
        .arg("test-box")
        .args(flags.split_whitespace())
        .arg("-o")
        .arg(&path)
        .output()
        .unwrap();
    let said = String::from_utf8_lossy(&made.stderr);
    assert!(made.status.success(), "{flags}: {said}");
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/test-box/solid.py");
    let output = Command::new(python).arg(script).arg(path).output().unwrap();
    let said = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{said}");
    serde_json::from_slice(&output.stdout).unwrap()
}

#[test]
#[ignore = "needs Python with trimesh"]
fn trimesh_finds_boxes_closed_and_their_air_exact() {
    /// What is promised.
    const PROMISED: f64 = 1e-3;
    let Some(python) = python(&["trimesh", "scipy"], "trimesh, scipy") else {
        return;
    };
    let folder = tempfile::tempdir().unwrap();
    // Flags; the volume wanted, what of it is not the cup's, the number of screws.
    let boxes = [
        (
            "--volume 1.5L --cutout 92mm --flange 118mm --screw-circle 105mm --screws 4 --hollow 12ml --gasket 2mm",
            1.5e6,
            12e3 + std::f64::consts::PI * 46.0 * 46.0 * 2.0,
            4.0,
        ),
        (
            "--volume 0.4L --cutout 92mm --flange 118mm --screw-circle 105mm --screws 7 --hollow -3ml",
            0.4e6,
            -3e3,
            7.0,
        ),
        (
            "--volume 3.5L --cutout 146mm --flange 166mm --wall 5mm --hollow 90ml",
            3.5e6,
            90e3,
            0.0,
        ),
        (
            "--volume 100ml --cutout 28mm --flange 46mm --hollow 0ml --bed 100x100x60mm",
            0.1e6,
            0.0,
            0.0,
        ),
    ];
    for (i, (flags, wanted, beside_cup, n_screws)) in boxes.into_iter().enumerate() {
        let found = judged(&python, folder.path(), &format!("{i}.stl"), flags);
        for what in ["watertight", "winding_consistent", "is_volume"] {
            assert_eq!(found[what], true, "{flags}: {what}: {found}");
        }
        assert_eq!(found["bodies"], 1, "{flags}: {found}");
        assert_eq!(found["degenerate"], 0, "{flags}: {found}");
        // A ball with dents: no hole goes through.
        assert_eq!(found["euler"], 2, "{flags}: {found}");
        let number = |what: &str| found[what].as_f64().unwrap();
        assert!(number("solid_mm3") > 0.0);
        // Pilot holes of 2.5 mm, 8 mm deep, 24 facets.
        let pilots = n_screws * 12.0 * 1.25_f64.powi(2) * 15.0_f64.to_radians().sin() * 8.0;
        for what in ["air_by_hull_mm3", "air_by_cuts_mm3"] {
            let off = (number(what) - pilots + beside_cup) / wanted - 1.0;
            println!("{flags}: {what} off by {off:.1e}");
            assert!(off.abs() < PROMISED, "{flags}: {what}: {off:e}");
        }
    }
}
