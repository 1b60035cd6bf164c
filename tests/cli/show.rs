//! `farcone show`: a sheet again, and the line for the chat.

use std::fs;
use std::io::Write;
use std::process::Stdio;

use farcone::chat::ChatLine;

use super::{demo, farcone, quick_fit, ran, run};

/// The line that a text contains.
fn line_in(text: &str) -> String {
    let line = text.lines().find(|line| line.starts_with("farcone:1 "));
    line.unwrap_or_else(|| panic!("no line in {text}"))
        .to_owned()
}

#[test]
fn a_sheet_is_printed_again() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("x.driver.json");
    let path = path.to_str().unwrap();
    let fitted = quick_fit(
        &demo().take("free-air-1"),
        &["--label", "left unit", "--out", path],
    );
    assert_eq!(fitted.code, 0, "{}", fitted.err);
    let shown = run(["show", path]);
    assert_eq!(shown.code, 0, "{}", shown.err);
    // Nothing is lost: every row of the table, and the line.
    let table = fitted.out.split("\nSheet: ").next().unwrap();
    for line in table.lines().filter(|line| !line.trim().is_empty()) {
        assert!(
            shown.out.contains(line),
            "\"{line}\" is not in {}",
            shown.out
        );
    }
    assert_eq!(line_in(&fitted.out), line_in(&shown.out));
    let json = run(["show", path, "--json"]);
    assert_eq!(json.out, fs::read_to_string(path).unwrap());
    let plotted = run(["show", path, "--plot"]);
    assert!(plotted.out.len() > shown.out.len());
}

#[test]
fn a_good_line_says_go_on() {
    let fitted = quick_fit(&demo().take("free-air-1"), &["--label", "left unit"]);
    let line = line_in(&fitted.out);
    let shown = run(["show", &line]);
    assert_eq!(shown.code, 0, "{}", shown.err);
    assert!(shown.out.contains("go on"), "{}", shown.out);
    assert!(shown.out.contains("left unit"));
    let fs_hz = ChatLine::read(&line).unwrap().fs_hz.unwrap();
    assert!(
        shown.out.contains(&format!("fs {fs_hz} Hz")),
        "{}",
        shown.out
    );

    // Without quotation marks it comes in several words.
    let words: Vec<&str> = ["show"].into_iter().chain(line.split(' ')).collect();
    let loose = run(&words);
    assert_eq!((loose.code, loose.out.as_str()), (0, shown.out.as_str()));

    // Pasted into standard input, broken over two lines.
    let mut child = farcone(["show", "-"])
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    let pasted = line.replacen(" qes", "\n qes", 1);
    child
        .stdin
        .take()
        .unwrap()
        .write_all(pasted.as_bytes())
        .unwrap();
    let piped = ran(&child.wait_with_output().unwrap());
    assert_eq!((piped.code, piped.out), (0, shown.out));
}

#[test]
fn a_redo_line_says_what_to_change() {
    let line = ChatLine {
        label: "left unit".into(),
        take: Some("free-air-1".into()),
        fs_hz: None,
        re_ohm: None,
        qms: None,
        qes: None,
        qts: None,
        verdict: "redo".into(),
        codes: vec!["clipped".into(), "of-the-future".into()],
        n_more: 1,
    };
    let shown = run(["show", &line.to_string()]);
    assert_eq!(shown.code, 3, "{}", shown.err);
    for part in [
        "make the take again",
        "fs unknown",
        "Turn the input's gain down",
        "does not know",
        "1 more",
    ] {
        assert!(
            shown.out.contains(part),
            "\"{part}\" is not in {}",
            shown.out
        );
    }
}

#[test]
fn what_cannot_be_read_is_refused() {
    let fitted = quick_fit(&demo().take("free-air-1"), &[]);
    let line = line_in(&fitted.out);
    let bent = line.replacen("fs=", "fs=1", 1);
    let refused = run(["show", &bent]);
    assert_eq!(refused.code, 2);
    assert!(
        refused.err.contains("changed on the way"),
        "{}",
        refused.err
    );
    let path = demo().path();
    let folder = run(["show", path.to_str().unwrap()]);
    assert_eq!(folder.code, 2);
    assert!(folder.err.contains("farcone fit"), "{}", folder.err);
    // Of two lines the worse one counts.
    let redo = ChatLine {
        verdict: "redo".into(),
        ..ChatLine::read(&line).unwrap()
    };
    let both = run(["show", &format!("{line}\n{redo}")]);
    assert_eq!(both.code, 3, "{}", both.err);
    assert_eq!(both.out.matches("Verdict:").count(), 2, "{}", both.out);
    let missing = run(["show", "no-such.driver.json"]);
    assert_eq!(missing.code, 1);
    let later = tempfile::NamedTempFile::with_suffix(".driver.json").unwrap();
    fs::write(later.path(), "{\"schema\": \"farcone-driver-sheet/9\"}").unwrap();
    let refused = run(["show", later.path().to_str().unwrap()]);
    assert_eq!(refused.code, 1);
    assert!(
        refused.err.contains("farcone-driver-sheet/9"),
        "{}",
        refused.err
    );
}

#[test]
fn the_examples_of_page_and_help_can_be_read() {
    let page = include_str!("../../docs/chat-line.md").to_owned();
    let help = run(["show", "--help"]).out;
    for (text, verdict) in [(page, "usable"), (help, "good")] {
        let begin = text.find("farcone:1 [").expect("an example");
        let line = ChatLine::read(&text[begin..]);
        assert_eq!(line.expect("a line that reads").verdict, verdict);
    }
}
