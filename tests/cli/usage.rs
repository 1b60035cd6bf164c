//! What is misuse, and that the way out is named.

use super::{demo, run};

/// Runs, expects exit 2 and nothing on standard output, and gives what was said.
fn refused(arguments: &[&str]) -> String {
    let ran = run(arguments);
    assert_eq!(
        (ran.code, ran.out.as_str()),
        (2, ""),
        "{arguments:?}: {}",
        ran.err
    );
    ran.err
}

#[test]
fn a_bare_number_is_refused_with_a_hint() {
    let said = refused(&[
        "fit",
        "--free-air",
        "a.wav",
        "--sense",
        "47",
        "--wiring",
        "across-driver",
    ]);
    assert!(said.contains("--sense") && said.contains("47ohm"), "{said}");
    let said = refused(&["stimulus", "sweep", "-o", "x.wav", "--start", "20"]);
    assert!(said.contains("20Hz"), "{said}");
}

#[test]
fn each_take_has_its_own_quantity() {
    let jig = ["--sense", "47ohm", "--wiring", "across-driver"];
    let fit = |more: &[&str]| {
        let first = ["fit", "--free-air", "a.wav"];
        refused(
            &first
                .iter()
                .chain(&jig)
                .chain(more)
                .copied()
                .collect::<Vec<_>>(),
        )
    };
    let said = fit(&["--added-mass", "b.wav"]);
    assert!(
        said.contains("no --mass") && said.contains("hint"),
        "{said}"
    );
    let said = fit(&["--mass", "5g", "--added-mass", "b.wav"]);
    assert!(said.contains("before any"), "{said}");
    let said = fit(&["--added-mass", "b.wav", "--mass", "5g", "--mass", "6g"]);
    assert!(said.contains("twice"), "{said}");
    let said = fit(&["--test-box", "b.wav", "--mass", "5g"]);
    assert!(said.contains("before any --added-mass"), "{said}");
    let said = fit(&[
        "--test-box",
        "b.wav",
        "--test-box",
        "c.wav",
        "--volume",
        "2L",
    ]);
    assert!(
        said.contains("take 1 of --test-box has no --volume"),
        "{said}"
    );
    let said = fit(&["--check-resistor", "b.wav"]);
    assert!(said.contains("--check-ohm"), "{said}");
}

#[test]
fn recordings_need_a_jig() {
    let said = refused(&["fit", "--free-air", "a.wav", "--wiring", "across-driver"]);
    assert!(said.contains("--sense 47.0ohm"), "{said}");
    let said = refused(&["fit", "--free-air", "a.wav", "--sense", "47ohm"]);
    assert!(said.contains("--wiring across-driver"), "{said}");
    let said = refused(&["fit", "--sense", "47ohm", "--wiring", "across-driver"]);
    assert!(said.contains("--free-air"), "{said}");
    refused(&[
        "fit",
        "--free-air",
        "a.wav",
        "--sense",
        "47ohm",
        "--wiring",
        "sideways",
    ]);
}

#[test]
fn what_excludes_each_other_is_refused() {
    let folder = demo().path();
    let folder = folder.to_str().unwrap();
    refused(&["fit", folder, "--free-air", "a.wav"]);
    refused(&["fit", folder, "--cone", "60mm", "--area", "30cm2"]);
    refused(&["fit", folder, "--air", "500C"]);
    refused(&["fit", folder, "--band", "2kHz..1kHz"]);
    refused(&["fit", folder, "--draws", "10"]);
    refused(&[
        "fit",
        "--free-air",
        "a.wav",
        "--remounted",
        "--sense",
        "47ohm",
        "--wiring",
        "across-driver",
    ]);
    refused(&[
        "stimulus", "sweep", "-o", "x.wav", "--start", "5Hz", "--stop", "30kHz",
    ]);
}

#[test]
fn every_command_has_help_that_speaks_of_units() {
    for command in [
        &["--help"][..],
        &["demo", "--help"],
        &["fit", "--help"],
        &["stimulus", "--help"],
        &["stimulus", "sweep", "--help"],
        &["stimulus", "multisine", "--help"],
    ] {
        let ran = run(command);
        assert_eq!((ran.code, ran.err.as_str()), (0, ""), "{command:?}");
        assert!(
            ran.out.to_lowercase().contains("unit"),
            "{command:?}: {}",
            ran.out
        );
    }
    let fit = run(["fit", "--help"]).out;
    for word in ["ground", "Exit codes", "Examples", "+-u0.05g"] {
        assert!(fit.contains(word), "{word}");
    }
    assert!(run(["stimulus", "sweep", "--help"]).out.contains("tweeter"));
}
