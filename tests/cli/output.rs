//! Where output goes, and that it stays out of the way.

use std::process::Stdio;

use super::{demo, farcone, quick_fit, ran, run};

#[test]
fn json_is_the_sheet_and_nothing_else() {
    let ran = quick_fit(&demo().take("free-air-1"), &["--json"]);
    assert_eq!((ran.code, ran.err.as_str()), (0, ""));
    let sheet = ran.sheet();
    assert_eq!(ran.out, sheet.to_json().unwrap());
    // A plot beside it would be no JSON.
    assert_eq!(
        quick_fit(&demo().take("free-air-1"), &["--json", "--plot"]).code,
        2
    );
}

#[test]
fn the_sheet_goes_into_a_new_file_only() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("x.driver.json");
    let out = ["--json", "--out", path.to_str().unwrap()];
    let first = quick_fit(&demo().take("free-air-1"), &out);
    assert_eq!(first.code, 0, "{}", first.err);
    assert_eq!(std::fs::read_to_string(&path).unwrap(), first.out);
    let second = quick_fit(&demo().take("free-air-1"), &out);
    assert_eq!((second.code, second.out.as_str()), (1, ""));
    assert!(second.err.contains("x.driver.json"), "{}", second.err);
    assert_eq!(
        std::fs::read_dir(folder.path()).unwrap().count(),
        1,
        "no temporary file is left"
    );
}

#[test]
fn what_several_takes_have_in_common_stands_once() {
    let done = run(["fit", demo().path().to_str().unwrap()]);
    assert_eq!(done.out.matches("Mains hum").count(), 1, "{}", done.out);
    assert!(
        done.out.contains("free-air-1, free-air-2, "),
        "{}",
        done.out
    );
}

#[test]
fn a_table_says_what_is_known_and_what_is_not() {
    let ran = quick_fit(&demo().take("free-air-1"), &[]);
    for word in [
        "fs", "Hz", "± takes", "Absent", "Vas", "note", "derived", "Verdict",
    ] {
        assert!(ran.out.contains(word), "{word} is not in {}", ran.out);
    }
    const WIDTH: usize = 80;
    // The line for the chat is one line, however long.
    for line in ran
        .out
        .lines()
        .filter(|line| !line.starts_with("farcone:1 "))
    {
        assert!(line.chars().count() <= WIDTH, "{line}");
    }
}

#[test]
fn quiet_is_quiet() {
    let ran = quick_fit(&demo().take("free-air-1"), &["--quiet"]);
    assert_eq!((ran.code, ran.out.as_str(), ran.err.as_str()), (0, "", ""));
}

/// Not at a terminal, even if somebody forces colours on others.
#[test]
fn no_escape_codes_where_nobody_watches() {
    for (name, value) in [("NO_COLOR", "1"), ("TERM", "xterm-256color")] {
        let path = demo().path();
        let output = farcone([
            "fit",
            path.to_str().unwrap(),
            "--coil",
            "plain",
            "--no-creep",
            "--plot",
        ])
        .env(name, value)
        .output()
        .unwrap();
        let ran = ran(&output);
        assert!(!ran.out.contains('\u{1b}') && !ran.err.contains('\u{1b}'));
        assert!(ran.out.contains('┤'), "{}", ran.out);
    }
}

#[test]
fn a_closed_standard_output_ends_quietly() {
    for arguments in [
        &["--help"][..],
        &["fit", "--help"],
        &["fit", demo().path().to_str().unwrap(), "--json"],
    ] {
        let mut child = farcone(arguments)
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        drop(child.stdout.take());
        let output = child.wait_with_output().unwrap();
        assert_eq!(output.status.code(), Some(0), "{arguments:?}");
        assert!(
            output.stderr.is_empty(),
            "{}",
            String::from_utf8_lossy(&output.stderr)
        );
    }
}

#[test]
fn a_full_disk_is_a_failure() {
    // Linux has a file that is always full.
    let Ok(full) = std::fs::File::options().write(true).open("/dev/full") else {
        return;
    };
    let output = farcone(["fit", demo().path().to_str().unwrap(), "--json"])
        .stdout(full)
        .output()
        .unwrap();
    assert_eq!(output.status.code(), Some(1));
    assert!(String::from_utf8_lossy(&output.stderr).contains("cannot be printed"));
}

#[test]
fn no_arguments_ask_for_help() {
    let ran = run::<&str>([]);
    assert_eq!(ran.code, 2);
    assert!(
        ran.err.contains("demo") && ran.err.contains("fit"),
        "{}",
        ran.err
    );
}
