//! Holds `docs/findings.md` against the codes, both ways.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::disallowed_methods,
    reason = "a test fails by panicking, and this one reads the sources"
)]

use std::fs;
use std::path::Path;

use farcone::bundle::without_flags;
use farcone::faults::WRONG_WIRING_ADVICE;
use farcone::finding::{Code, Finding, Severity};

const PAGE: &str = include_str!("../docs/findings.md");

/// The cells of a table's row, or nothing for other lines.
fn cells(line: &str) -> Option<Vec<&str>> {
    let inside = line.strip_prefix('|')?.strip_suffix('|')?;
    Some(inside.split('|').map(str::trim).collect())
}

/// Rows of the table whose header begins with this word.
fn rows(header: &str) -> Vec<Vec<&'static str>> {
    PAGE.lines()
        .map(cells)
        .skip_while(|row| row.as_ref().is_none_or(|row| row[0] != header))
        .skip(2)
        .map_while(|row| row)
        .collect()
}

#[test]
fn every_code_is_explained_and_nothing_else() {
    let explained: Vec<&str> = rows("code")
        .iter()
        .map(|row| row[0].trim_matches('`'))
        .collect();
    let codes: Vec<&str> = Code::ALL.iter().map(|code| code.as_str()).collect();
    assert_eq!(explained, codes, "the table has the order of the pipeline");
}

#[test]
fn rows_are_complete_and_mean_the_same() {
    let severities = [Severity::Note, Severity::Caution, Severity::Redo].map(Severity::as_str);
    for (row, code) in rows("code").iter().zip(Code::ALL) {
        let [_, severity, meaning, limit, advice] = row[..] else {
            panic!("{row:?} has not five cells");
        };
        for word in severity.split(", ") {
            assert!(severities.contains(&word), "{code:?}: {word}");
        }
        assert_eq!(meaning, code.meaning().trim());
        assert!(limit.ends_with('.'), "{code:?}: {limit}");
        assert!(advice.ends_with('.'), "{code:?}: {advice}");
        assert_eq!(advice, code.advice());
        assert_eq!(Code::parse(code.as_str()), Some(*code));
    }
    let listed: Vec<&str> = rows("severity")
        .iter()
        .map(|row| row[0].trim_matches('`'))
        .collect();
    assert_eq!(listed, severities);
}

/// Literal strings of a source, those of its unit tests and of error types left out.
fn literals(code: &str) -> Vec<String> {
    let code = code.split("#[cfg(test)]").next().unwrap();
    let lines = code
        .lines()
        .filter(|line| !line.trim_start().starts_with("//"));
    let code = lines.collect::<Vec<_>>().join("\n");
    let mut list = vec![];
    let mut rest = code.as_str();
    while let Some(at) = rest.find('"') {
        let of_error = rest[..at].trim_end().ends_with("#[error(");
        let mut text = String::new();
        let mut letters = rest[at + 1..].char_indices().peekable();
        let mut end = rest.len();
        while let Some((i, letter)) = letters.next() {
            match letter {
                '"' => {
                    end = at + 1 + i + 1;
                    break;
                }
                '\\' => match letters.next() {
                    Some((_, '\n')) => {
                        while letters.next_if(|(_, next)| next.is_whitespace()).is_some() {}
                    }
                    Some((_, escaped)) => text.push(escaped),
                    None => {}
                },
                letter => text.push(letter),
            }
        }
        if !of_error {
            list.push(text);
        }
        rest = &rest[end..];
    }
    list
}

fn collect(folder: &Path, list: &mut Vec<(String, String)>) {
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            collect(&path, list);
        } else if path.extension().is_some_and(|ending| ending == "rs") {
            let code = fs::read_to_string(&path).unwrap();
            let path = path.display().to_string();
            list.extend(literals(&code).into_iter().map(|text| (path.clone(), text)));
        }
    }
}

/// Whoever measures for somebody else has no command line: what is left of an advice without its flags has to be whole sentences, and
/// to begin as the advice does.
#[test]
fn advice_without_flags_is_whole() {
    let mut texts = vec![];
    for room in [
        "desk",
        "faults",
        "finding",
        "fit",
        "level",
        "parameters",
        "session",
    ] {
        collect(
            &Path::new(env!("CARGO_MANIFEST_DIR")).join("src").join(room),
            &mut texts,
        );
    }
    texts.retain(|(_, text)| {
        [" --", "(--", "`--"]
            .iter()
            .any(|begin| text.contains(begin))
    });
    assert!(texts.len() > 10, "{}", texts.len());
    for (path, text) in texts {
        let finding = Finding::new(Code::WrongWiring, Severity::Redo, "x", text.as_str());
        let told = without_flags(&finding.advice);
        let told_at = format!("{path}: {told:?} of {text:?}");
        assert!(!told.contains("--"), "{told_at}");
        assert!(told.starts_with(char::is_uppercase), "{told_at}");
        assert!(told.ends_with('.'), "{told_at}");
        let first: String = told.chars().take(20).collect();
        assert!(finding.advice.starts_with(&first), "{told_at}");
        for sentence in told.split(". ").chain(told.split("; ")) {
            let begin = sentence.split([' ', ',']).next().unwrap().to_lowercase();
            assert!(!["", "say"].contains(&begin.as_str()), "{told_at}");
        }
        assert!(
            !told.contains(" ,") && !told.contains("  ") && !told.contains(" ."),
            "{told_at}"
        );
    }
}

#[test]
fn whoever_wired_the_jig_wrongly_is_told_what_to_look_at() {
    let told = without_flags(
        &Finding::new(Code::WrongWiring, Severity::Redo, "x", WRONG_WIRING_ADVICE).advice,
    );
    for word in [
        "input 1 on the source node",
        "input 2 between resistor and driver",
        "value",
        "make the takes again",
    ] {
        assert!(told.contains(word), "{told}");
    }
}
