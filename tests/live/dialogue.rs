//! The guided dialogue as a person has it, on the invented sound card: once to the end, once interrupted and gone on with.

use std::fs;
use std::path::Path;
use std::process::Command;

use farcone::bench::demo_driver;
use farcone::session::SessionFile;
use farcone::sheet::Sheet;

use crate::terminal::Terminal;

/// Longest wait for a question: a take of the invented card needs no time of its own, its analysis does.
const LIMIT_S: u64 = 60;
/// The mass that is said to be added, about three quarters of the cone's.
const MASS_KG: f64 = 2.4e-3;
/// How far fs may be off, relative: the invented card has its own faults, and the accuracy has tests of its own.
const METHOD: f64 = 0.02;

/// Beginnings of the questions with their answers; the first that fits is taken.
const ANSWERS: &[(&str, &str)] = &[
    ("What do you call it?", "left unit"),
    ("Read, and all of it", ""),
    ("Which?", "1"),
    ("The resistor's value", ""),
    ("Wired like this", ""),
    ("Ready to tap?", ""),
    ("Ready?", ""),
    ("Its value with its tolerance", "22ohm+-1%"),
    ("Its diameter", "78mm+-1mm"),
    ("Temperature and altitude", "23C,400m"),
    ("Dimensions (such as", "flange=118mm,cutout=92mm,screws=4"),
    ("Everything you add", "2.4g+-0.05g"),
    // Findings: go on with the take.
    ("What now?", "2"),
];
/// What every question ends in, with its default in brackets.
const PROMPT: &str = r"(\[[^\]\r\n]+\] )?> ";

fn guided(session: &Path, more: &[&str]) -> Terminal {
    let mut command = Command::new(env!("CARGO_BIN_EXE_farcone"));
    command
        .args(["measure", "--host", "bench", "--length", "3s"])
        .args(more)
        .arg(session);
    Terminal::start(command, LIMIT_S)
}

/// The question that a text ends in: the last of [`ANSWERS`] in its last lines.
fn asked(text: &str) -> &'static (&'static str, &'static str) {
    ANSWERS
        .iter()
        .filter_map(|answer| text.rfind(answer.0).map(|at| (at, answer)))
        .max_by_key(|(at, _)| *at)
        .map(|(_, answer)| answer)
        .unwrap_or_else(|| panic!("an unknown question: {text}"))
}

/// Answers every question until the program ends, or until a question comes after `stop_at` has been said; what was said on the
/// way. `other` answers outrank the usual ones.
fn answer(terminal: &mut Terminal, stop_at: Option<&str>, other: &[(&str, &str)]) -> String {
    let mut said = String::new();
    loop {
        let (before, prompt) = match terminal.wait_for_any(PROMPT) {
            Ok(found) => found,
            Err(rest) => return said + &rest,
        };
        said.push_str(&before);
        said.push_str(&prompt);
        if stop_at.is_some_and(|text| before.contains(text)) {
            return said;
        }
        let (question, usual) = asked(&before);
        let typed = other
            .iter()
            .find(|(begin, _)| begin == question)
            .map_or(*usual, |(_, typed)| *typed);
        terminal.send_line(typed);
        // The answered question is painted once more in its own place: that is no new one.
        said.push_str(&terminal.wait_for("> "));
    }
}

fn takes(session: &Path) -> Vec<String> {
    let text = fs::read_to_string(session.join("session.json")).expect("a session");
    let session = SessionFile::from_json(&text).expect("a session that can be read");
    session.takes.into_iter().map(|take| take.name).collect()
}

/// Holds that there is one sheet, and a right one.
fn check_sheet(session: &Path) {
    let sheets: Vec<_> = fs::read_dir(session)
        .expect("a folder")
        .map(|entry| entry.expect("an entry").path())
        .filter(|path| path.to_string_lossy().ends_with(".driver.json"))
        .collect();
    assert_eq!(sheets.len(), 1, "{sheets:?}");
    let sheet = Sheet::from_json(&fs::read_to_string(&sheets[0]).unwrap()).expect("a sheet");
    assert_eq!(sheet.label, "left unit");
    let fs_hz = sheet.parameters.fs.as_ref().expect("fs").value;
    let truth_hz = demo_driver().truth().fs_hz;
    assert!(
        (fs_hz / truth_hz - 1.0).abs() < METHOD,
        "{fs_hz} of {truth_hz}"
    );
    let dimensions = sheet.dimensions.expect("what was typed");
    assert_eq!(dimensions.cutout_m, Some(0.092));
    assert_eq!((dimensions.n_screws, dimensions.depth_m), (Some(4), None));
    assert!(
        sheet
            .parameters
            .mms
            .as_ref()
            .is_some_and(|mms| mms.value > MASS_KG)
    );
}

#[test]
fn the_dialogue_leads_to_a_sheet() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let session = folder.path().join("session");
    let mut terminal = guided(&session, &[]);
    let said = answer(&mut terminal, None, &[]);
    let (code, rest) = terminal.end();
    assert_eq!(code, 0, "{said}{rest}");
    for heading in [
        "Is the jig right?",
        "Which input is which?",
        "Loud enough?",
        "Is it steady?",
        "How heavy is the cone?",
        "GROUND NODE",
    ] {
        assert!(said.contains(heading), "no \"{heading}\" in: {said}");
    }
    check_sheet(&session);
}

#[test]
fn an_interrupted_dialogue_goes_on() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let session = folder.path().join("session");
    let mut terminal = guided(&session, &[]);
    answer(&mut terminal, Some("Is it steady?"), &[]);
    terminal.press_ctrl_c();
    let (code, rest) = terminal.end();
    assert_eq!(code, 130, "{rest}");
    let before = takes(&session);
    assert!(
        before.iter().any(|name| name.starts_with("free-air")),
        "{before:?}"
    );

    let mut terminal = guided(&session, &[]);
    let said = answer(&mut terminal, None, &[]);
    let (code, rest) = terminal.end();
    assert_eq!(code, 0, "{said}{rest}");
    for asked_before in ["What do you call it?", "Which jig is it?", "Loud enough?"] {
        assert!(!said.contains(asked_before), "asked again: {said}");
    }
    let after = takes(&session);
    assert!(
        after.starts_with(&before) && after.len() > before.len(),
        "{after:?}"
    );
    check_sheet(&session);
}

/// The session after an end on request goes on to a sheet.
fn goes_on(session: &Path, kept: &[String]) {
    assert_eq!(takes(session), kept);
    let mut terminal = guided(session, &[]);
    let said = answer(&mut terminal, None, &[]);
    let (code, rest) = terminal.end();
    assert_eq!(code, 0, "{said}{rest}");
    assert!(takes(session).starts_with(kept));
    check_sheet(session);
}

#[test]
fn an_end_before_the_card_is_open_leaves_a_session_that_goes_on() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let session = folder.path().join("session");
    let mut terminal = guided(&session, &[]);
    answer(&mut terminal, Some("Which jig is it?"), &[]);
    terminal.press_ctrl_c();
    assert_eq!(terminal.end().0, 130);
    goes_on(&session, &[]);
}

#[test]
fn q_stops_like_ctrl_c() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let session = folder.path().join("session");
    let mut terminal = guided(&session, &[]);
    answer(&mut terminal, Some("How much do the inputs"), &[]);
    terminal.send_line("q");
    let (code, rest) = terminal.end();
    assert_eq!(code, 130, "{rest}");
    goes_on(&session, &["same-node-1".to_owned()]);
}

#[test]
fn tapping_finds_exchanged_plugs() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let session = folder.path().join("session");
    let mut terminal = guided(&session, &["--input", "swapped"]);
    let said = answer(&mut terminal, None, &[]);
    let (code, rest) = terminal.end();
    assert_eq!(code, 0, "{said}{rest}");
    assert!(said.contains("the other way round"), "{said}");
    check_sheet(&session);
}

#[test]
fn a_set_up_that_cannot_be_measured_ends_before_the_first_sound() {
    for (card, code, words) in [
        (["--output", "howling"], 3, "loud-before-sound"),
        (["--input", "mono"], 3, "identical-channels"),
        (["--input", "one"], 1, "two inputs"),
        (["--output", "monitored"], 3, "monitoring"),
    ] {
        let folder = tempfile::tempdir().expect("a temporary folder");
        let session = folder.path().join("session");
        let mut terminal = guided(&session, &card);
        let said = answer(&mut terminal, None, &[]);
        let (ended, rest) = terminal.end();
        assert_eq!(ended, code, "{card:?}: {said}{rest}");
        let all = format!("{said}{rest}");
        assert!(all.contains(words), "{card:?}: no \"{words}\" in {all}");
        assert_eq!(takes(&session), [""; 0], "{card:?}");
    }
}

#[test]
fn a_wrong_answer_is_asked_again() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let session = folder.path().join("session");
    let mut terminal = guided(&session, &[]);
    answer(
        &mut terminal,
        Some("known resistor right?"),
        &[("Ready?", "s"), ("Ready to tap?", "s")],
    );
    for (typed, complaint) in [
        ("44ohm", "too near the sense resistor"),
        ("22", "no unit"),
        ("22g", "22g"),
    ] {
        terminal.send_line(typed);
        terminal.wait_for("That does not fit: ");
        let said = terminal.wait_for("> ").replace("\r\n", " ");
        assert!(said.contains(complaint), "{typed}: {said}");
    }
    terminal.press_ctrl_c();
    assert_eq!(terminal.end().0, 130);
}
