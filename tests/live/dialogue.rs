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

/// Beginnings of the questions that have a default, with the answers; the first that fits is taken.
const ANSWERS: &[(&str, &str)] = &[
    ("Read, and so?", ""),
    ("Which?", "1"),
    ("The resistor's value", ""),
    ("Wired like this", ""),
    ("Ready to tap?", ""),
    ("Ready?", ""),
    ("Its value with its tolerance", "22ohm+-1%"),
    ("Its diameter", "78mm+-1mm"),
    ("Temperature and altitude", "23C,400m"),
    // Findings: go on with the take.
    ("What now?", "2"),
];

fn guided(session: &Path) -> Terminal {
    let mut command = Command::new(env!("CARGO_BIN_EXE_farcone"));
    command
        .args(["measure", "--host", "bench", "--length", "5s"])
        .arg(session);
    Terminal::start(command, LIMIT_S)
}

/// Answers every question until the program ends, or until `stop_at` has been said; what was said on the way.
fn answer(terminal: &mut Terminal, stop_at: Option<&str>) -> String {
    let questions: Vec<String> = ANSWERS
        .iter()
        .map(|(question, _)| question.replace('?', r"\?"))
        .collect();
    // A question with a default ends in it, "[1]: "; repeated with its answer it has none. Two questions have no default.
    let any = format!(
        r"(({})[^\r\n]*\[[^\]\r\n]*\]: )|What do you call it\?[^\r\n]*\): |Everything you add[^\r\n]*\): ",
        questions.join("|")
    );
    let mut said = String::new();
    loop {
        let (before, question) = match terminal.wait_for_any(&any) {
            Ok(found) => found,
            Err(rest) => return said + &rest,
        };
        let stop = stop_at.is_some_and(|text| before.contains(text));
        said.push_str(&before);
        said.push_str(&question);
        if stop {
            return said;
        }
        let typed = if question.starts_with("What do you call it") {
            Some("left unit")
        } else if question.starts_with("Everything you add") {
            Some("2.4g+-0.05g")
        } else {
            None
        };
        if let Some(typed) = typed {
            terminal.send_line(typed);
            terminal.wait_for(&format!("{typed}\r\n"));
            continue;
        }
        let (_, answer) = ANSWERS
            .iter()
            .find(|(begin, _)| question.contains(begin))
            .expect("the question is one of them");
        terminal.send_line(answer);
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
    let mut terminal = guided(&session);
    let said = answer(&mut terminal, None);
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
    let mut terminal = guided(&session);
    answer(&mut terminal, Some("Is it steady?"));
    terminal.press_ctrl_c();
    let (code, rest) = terminal.end();
    assert_eq!(code, 130, "{rest}");
    let before = takes(&session);
    assert!(
        before.iter().any(|name| name.starts_with("free-air")),
        "{before:?}"
    );

    let mut terminal = guided(&session);
    let said = answer(&mut terminal, None);
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
