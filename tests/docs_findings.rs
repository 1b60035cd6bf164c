//! Holds `docs/findings.md` against the codes, both ways.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    reason = "a test fails by panicking"
)]

use farcone::finding::{Code, Severity};

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
