//! Holds the table of rooms (DEVELOPERS.md) against the sources: who imports whom, who touches the world, who uses which
//! crate, how long files get. The sources are read as text; the parser has tests of its own at the end.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::disallowed_methods,
    reason = "a test fails by panicking, and this one reads the sources"
)]

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

/// Rooms from the bottom up; a room imports only rooms of lower levels. The names that do not exist yet keep their place.
const LEVELS: &[&[&str]] = &[
    &["quantity", "finding", "progress"],
    &["air", "recording", "signal", "circuit", "coins"],
    &["jig", "capture"],
    &["impedance"],
    &["faults", "bench"],
    &["fit"],
    &["parameters"],
    &["enclosure", "level", "sheet", "test_box"],
    &["chat", "compare", "session"],
    &["bundle", "desk", "export", "report"],
    &["kit"],
];

/// Where the world begins: these may import every room and touch files, clocks and screens. No room imports them.
const ADAPTERS: &[&str] = &["store", "device", "web", "main", "cli"];

/// Rooms that no other room may import, whatever the levels say.
const FOR_ADAPTERS_AND_TESTS_ONLY: &[(&str, &str)] = &[(
    "bench",
    "what recovers a driver from a take must not share code with what made the take",
)];

/// Crates that only these rooms may use.
const CRATES: &[(&str, &[&str], &str)] = &[
    (
        "realfft",
        &["signal", "bench"],
        "transforms have one home; the bench has its own, since it must share nothing with the analysis",
    ),
    ("rustfft", &["signal", "bench"], "as realfft"),
    (
        "levenberg_marquardt",
        &["fit"],
        "weights, bounds and covariance lie in one layer above it",
    ),
    (
        "nalgebra",
        &["fit", "jig", "signal"],
        "its types change with every release, so they stay where the matrices are",
    ),
    (
        "hound",
        &["recording"],
        "it misreads some valid headers; only `recording` knows how to feed it",
    ),
    (
        "rand_pcg",
        &["bench", "parameters"],
        "randomness comes from a seed, in the two rooms that draw",
    ),
    (
        "zip",
        &["bundle"],
        "what comes out of a ZIP file is checked in one place",
    ),
    (
        "plotters",
        &["report"],
        "how plots are written down is the report's own affair",
    ),
    (
        "stl_io",
        &[],
        "how a solid is written down belongs to the adapters; the library builds without it",
    ),
    ("clap", &[], "arguments belong to the binary"),
    ("indicatif", &[], "progress bars belong to the binary"),
    ("tempfile", &[], "files belong to the adapters"),
    ("cpal", &[], "sound cards belong to the adapters"),
];

/// Modules of `std` that have no place in a room: the world comes in as values and goes out as values.
const WORLDLY_MODULES: &[&str] = &["env", "fs", "net", "os", "process", "thread"];

/// Words that have no place there either.
const WORLDLY_WORDS: &[&str] = &[
    "Instant",
    "SystemTime",
    "println!",
    "print!",
    "eprintln!",
    "eprint!",
    "stdout",
    "stderr",
    "stdin",
];

/// Longest file, in lines outside unit tests. Beyond it a file has been about two things every time so far.
const MOST_LINES: usize = 500;

/// One source file, with what the rules look at.
struct Source {
    /// Path below `src`.
    path: String,
    /// First folder, or the file's own name.
    room: String,
    /// Whether it is the room's own `mod.rs` (or only) file.
    is_root: bool,
    /// Code without comments, literals and unit tests.
    code: String,
    /// Lines outside unit tests, comments included.
    n_lines: usize,
    /// Unit tests of the room: they are code too when it comes to imports.
    test_code: String,
}

fn source(path: &str, text: &str) -> Source {
    let parts: Vec<&str> = path.split('/').collect();
    let stem = |name: &str| name.trim_end_matches(".rs").to_owned();
    let code = without_comments_and_literals(text);
    let is_tests = parts.last() == Some(&"tests.rs");
    let (code, test_code) = if is_tests {
        (String::new(), code)
    } else {
        without_unit_tests(&code)
    };
    Source {
        path: path.to_owned(),
        room: stem(parts[0]),
        is_root: parts.len() == 1 || (parts.len() == 2 && parts[1] == "mod.rs"),
        // Stripping keeps the lines.
        n_lines: code.lines().count(),
        code,
        test_code,
    }
}

fn sources() -> Vec<Source> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut files = vec![];
    collect(&root, &mut files);
    files.sort();
    files
        .iter()
        .map(|file| {
            let path = file.strip_prefix(&root).unwrap().to_str().unwrap();
            source(&path.replace('\\', "/"), &fs::read_to_string(file).unwrap())
        })
        .collect()
}

fn collect(folder: &Path, files: &mut Vec<PathBuf>) {
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            collect(&path, files);
        } else if path.extension().is_some_and(|extension| extension == "rs") {
            files.push(path);
        }
    }
}

/// Blanks comments, strings and characters; line breaks stay.
fn without_comments_and_literals(text: &str) -> String {
    let chars: Vec<char> = text.chars().collect();
    let mut out = String::with_capacity(text.len());
    let mut i = 0;
    let blank = |out: &mut String, from: usize, to: usize| {
        out.extend(
            chars[from..to]
                .iter()
                .map(|c| if *c == '\n' { '\n' } else { ' ' }),
        );
    };
    while i < chars.len() {
        let end = match chars[i] {
            '/' if chars.get(i + 1) == Some(&'/') => end_of_line(&chars, i),
            '/' if chars.get(i + 1) == Some(&'*') => end_of_block_comment(&chars, i),
            '"' => end_of_string(&chars, i),
            'r' if !(i > 0 && is_word(chars[i - 1])) => end_of_raw_string(&chars, i).unwrap_or(i),
            '\'' => end_of_character(&chars, i).unwrap_or(i),
            _ => i,
        };
        if end > i {
            blank(&mut out, i, end);
            i = end;
        } else {
            out.push(chars[i]);
            i += 1;
        }
    }
    out
}

fn is_word(c: char) -> bool {
    c.is_alphanumeric() || c == '_'
}

fn end_of_line(chars: &[char], from: usize) -> usize {
    (from..chars.len())
        .find(|&i| chars[i] == '\n')
        .unwrap_or(chars.len())
}

fn end_of_block_comment(chars: &[char], from: usize) -> usize {
    let (mut depth, mut i) = (0, from);
    while i + 1 < chars.len() {
        match (chars[i], chars[i + 1]) {
            ('/', '*') => (depth, i) = (depth + 1, i + 2),
            ('*', '/') => (depth, i) = (depth - 1, i + 2),
            _ => i += 1,
        }
        if depth == 0 {
            return i;
        }
    }
    chars.len()
}

fn end_of_string(chars: &[char], from: usize) -> usize {
    let mut i = from + 1;
    while i < chars.len() {
        match chars[i] {
            '\\' => i += 2,
            '"' => return i + 1,
            _ => i += 1,
        }
    }
    chars.len()
}

fn end_of_raw_string(chars: &[char], from: usize) -> Option<usize> {
    let n_hashes = chars[from + 1..].iter().take_while(|c| **c == '#').count();
    let open = from + 1 + n_hashes;
    if chars.get(open) != Some(&'"') {
        return None;
    }
    let closes = |i: usize| {
        chars[i] == '"' && chars[i + 1..].iter().take_while(|c| **c == '#').count() >= n_hashes
    };
    Some(
        (open + 1..chars.len())
            .find(|&i| closes(i))
            .map_or(chars.len(), |i| i + 1 + n_hashes),
    )
}

/// A character literal, not a lifetime.
fn end_of_character(chars: &[char], from: usize) -> Option<usize> {
    if chars.get(from + 1) == Some(&'\\') {
        return (from + 3..chars.len())
            .find(|&i| chars[i] == '\'')
            .map(|i| i + 1);
    }
    (chars.get(from + 2) == Some(&'\'')).then_some(from + 3)
}

/// Splits stripped code into what runs and the `#[cfg(test)]` modules.
fn without_unit_tests(code: &str) -> (String, String) {
    const MARK: &str = "#[cfg(test)]";
    let (mut runs, mut tests) = (String::new(), String::new());
    let mut rest = code;
    while let Some(at) = rest.find(MARK) {
        let (before, from) = rest.split_at(at);
        runs.push_str(before);
        let body = from.find(['{', ';']).unwrap_or(from.len() - 1);
        let end = if from[body..].starts_with('{') {
            body + end_of_braces(&from[body..])
        } else {
            body + 1
        };
        tests.push_str(&from[..end]);
        rest = &from[end..];
    }
    runs.push_str(rest);
    (runs, tests)
}

fn end_of_braces(text: &str) -> usize {
    let mut depth = 0;
    for (i, c) in text.char_indices() {
        match c {
            '{' => depth += 1,
            '}' => depth -= 1,
            _ => {}
        }
        if depth == 0 {
            return i + 1;
        }
    }
    text.len()
}

/// The names right behind `prefix::` in stripped code, those of a braced list included: `crate::{a, b::{c, d}}` names
/// `a` and `b`.
fn names_behind(code: &str, prefix: &str) -> BTreeSet<String> {
    let compact = compact(code);
    let start = format!("{prefix}::");
    let mut names = BTreeSet::new();
    for (at, _) in compact.match_indices(&start) {
        let before = compact[..at].chars().next_back();
        if before.is_some_and(|c| is_word(c) || c == ':') {
            continue;
        }
        let behind = &compact[at + start.len()..];
        if !behind.starts_with('{') {
            names.insert(first_name(behind));
            continue;
        }
        let list = &behind[..end_of_braces(behind)];
        let mut depth = 0;
        let mut at_start = true;
        for (i, c) in list.char_indices() {
            match c {
                '{' => depth += 1,
                '}' => depth -= 1,
                ',' if depth == 1 => {}
                _ => {
                    if at_start && depth == 1 {
                        names.insert(first_name(&list[i..]));
                    }
                    at_start = false;
                    continue;
                }
            }
            at_start = depth == 1;
        }
    }
    names
}

/// Code without white space, except where it parts two words.
fn compact(code: &str) -> String {
    let mut out = String::with_capacity(code.len());
    let mut gap = false;
    for c in code.chars() {
        if c.is_whitespace() {
            gap = true;
            continue;
        }
        if gap && is_word(c) && out.chars().next_back().is_some_and(is_word) {
            out.push(' ');
        }
        gap = false;
        out.push(c);
    }
    out
}

/// A leading word, or the character that stands in its place (such as `*`).
fn first_name(text: &str) -> String {
    let word: String = text.chars().take_while(|c| is_word(*c)).collect();
    if word.is_empty() {
        text.chars().take(1).collect()
    } else {
        word
    }
}

/// Whether a crate is named in code: `name::`, `use name;` or `use name as`.
fn uses_crate(code: &str, name: &str) -> bool {
    let compact = compact(code);
    let names_it = |(at, _): (usize, &str)| {
        let before = compact[..at].chars().next_back();
        let behind = &compact[at + name.len()..];
        let starts = !before.is_some_and(|c| is_word(c) || c == ':' || c == '.');
        starts && (behind.starts_with("::") || compact[..at].ends_with("use "))
    };
    compact.match_indices(name).any(names_it)
}

fn mentions(code: &str, word: &str) -> bool {
    let compact = compact(code);
    compact.match_indices(word).any(|(at, _)| {
        let before = compact[..at].chars().next_back();
        let behind = compact[at + word.len()..].chars().next();
        !before.is_some_and(is_word) && (word.ends_with('!') || !behind.is_some_and(is_word))
    })
}

fn level(room: &str) -> Option<usize> {
    LEVELS.iter().position(|rooms| rooms.contains(&room))
}

fn is_adapter(room: &str) -> bool {
    ADAPTERS.contains(&room)
}

/// Everything that one file does against the rules.
fn complaints(source: &Source) -> Vec<String> {
    let Source { path, room, .. } = source;
    let mut found = vec![];
    if room == "lib" || is_adapter(room) {
        return found;
    }
    let Some(own) = level(room) else {
        return vec![format!("{path}: room `{room}` is not in the table")];
    };
    let all = format!("{}\n{}", source.code, source.test_code);
    let mut imports = names_behind(&all, "crate");
    if source.is_root {
        // From here `super` is the crate; in a unit test it is the room, whose items are named otherwise.
        let above = names_behind(&all, "super");
        imports.extend(
            above
                .into_iter()
                .filter(|name| level(name).is_some() || is_adapter(name)),
        );
    }
    if compact(&all).contains("super::super::") {
        found.push(format!(
            "{path}: `super::super` hides which room is meant; start at `crate`"
        ));
    }
    for name in imports {
        if name == *room {
            continue;
        }
        if let Some((_, reason)) = FOR_ADAPTERS_AND_TESTS_ONLY
            .iter()
            .find(|(only, _)| *only == name)
        {
            found.push(format!("{path}: imports `{name}`: {reason}"));
        }
        if name.starts_with(char::is_uppercase) {
            // An item that lib.rs re-exports from a dependency.
            continue;
        }
        match level(&name) {
            Some(other) if other < own => {}
            Some(other) => found.push(format!(
                "{path}: `{room}` (level {own}) imports `{name}` (level {other}); only lower levels may be imported"
            )),
            None => found.push(format!("{path}: imports `{name}`, which is no room")),
        }
    }
    for (name, rooms, reason) in CRATES {
        if !rooms.contains(&room.as_str()) && uses_crate(&source.code, name) {
            found.push(format!("{path}: uses the crate `{name}`: {reason}"));
        }
    }
    let std_modules = names_behind(&source.code, "std");
    for module in WORLDLY_MODULES.iter().filter(|m| std_modules.contains(**m)) {
        found.push(format!("{path}: `std::{module}` belongs to the adapters"));
    }
    for word in WORLDLY_WORDS {
        if mentions(&source.code, word) {
            found.push(format!("{path}: `{word}` belongs to the adapters"));
        }
    }
    found
}

#[test]
fn rooms_keep_to_the_table() {
    let all = sources();
    assert!(all.len() > 50, "the sources were not found");
    let found: Vec<String> = all.iter().flat_map(complaints).collect();
    assert!(found.is_empty(), "\n{}\n", found.join("\n"));
}

#[test]
fn files_stay_short() {
    let long: Vec<String> = sources()
        .iter()
        .filter(|source| source.n_lines > MOST_LINES)
        .map(|source| format!("{}: {} lines", source.path, source.n_lines))
        .collect();
    assert!(
        long.is_empty(),
        "over {MOST_LINES} lines outside unit tests; split by subject:\n{}\n",
        long.join("\n")
    );
}

/// `lib.rs` is the map: modules and re-exports, no logic.
#[test]
fn the_crate_root_holds_no_logic() {
    let root = sources()
        .into_iter()
        .find(|source| source.path == "lib.rs")
        .unwrap();
    for word in [
        "fn",
        "impl",
        "struct",
        "enum",
        "const",
        "static",
        "macro_rules!",
    ] {
        assert!(!mentions(&root.code, word), "lib.rs has a `{word}`");
    }
}

/// What a snippet in a room's file draws as complaints.
fn complaints_of(path: &str, text: &str) -> String {
    complaints(&source(path, text)).join("\n")
}

#[test]
fn imports_upwards_are_seen_in_every_spelling() {
    for snippet in [
        "use crate::fit::Fit;",
        "use crate :: { quantity::{Covariance2, FrequencyGrid}, fit };",
        "pub(crate) use crate::{finding::*, fit::{self, Fit}};",
        "fn f() { crate::fit::resonance(&curve); }",
        "#[cfg(test)] mod tests { use crate::fit::Fit; }",
        "fn f() { let a = '\"'; crate::fit::x(a); let b = \"\\\"\"; }",
        "fn f<'a>(x: &'a str) { crate::fit::x(x) }",
    ] {
        let found = complaints_of("signal/a.rs", snippet);
        assert!(
            found.contains("imports `fit` (level 5)"),
            "{snippet}: {found:?}"
        );
    }
    assert!(complaints_of("signal/mod.rs", "use super::fit::Fit;").contains("`fit`"));
    assert!(complaints_of("signal/a/b.rs", "use super::super::fit::Fit;").contains("super::super"));
    assert!(complaints_of("fit/a.rs", "use crate::bench::drivers;").contains("bench"));
    assert!(complaints_of("signal/a.rs", "use crate::air::Air;").contains("`air` (level 1)"));
    assert!(complaints_of("signal/a.rs", "use crate::cli;").contains("no room"));
    assert!(complaints_of("signal/a.rs", "use crate::*;").contains("no room"));
    assert!(complaints_of("cellar/a.rs", "").contains("not in the table"));
}

#[test]
fn what_only_looks_like_an_import_is_none() {
    for snippet in [
        "//! [`crate::fit::Fit`]\n/* use crate::fit; /* crate::fit */ */",
        "const A: &str = \"crate::fit\"; const B: &str = r#\"\"crate::fit\"#;",
        "use crate::quantity::{fit, Covariance2}; use crate::Complex64;",
        "use super::fit::Fit; use crate::signal::fit; use other_crate::fit;",
        "fn f() { let c = '\\u{22}'; let d = '\\''; }",
    ] {
        assert_eq!(complaints_of("signal/a.rs", snippet), "", "{snippet}");
    }
}

#[test]
fn the_world_and_foreign_crates_are_seen() {
    for (path, snippet, word) in [
        ("fit/a.rs", "use std::fs::File;", "std::fs"),
        ("fit/a.rs", "fn f() { std :: fs :: read(p); }", "std::fs"),
        ("fit/a.rs", "fn f() { let t = Instant::now(); }", "Instant"),
        ("fit/a.rs", "fn f() { println!(); }", "println!"),
        ("fit/a.rs", "use realfft::RealFftPlanner;", "realfft"),
        (
            "signal/a.rs",
            "use levenberg_marquardt as lm;",
            "levenberg_marquardt",
        ),
        (
            "session/a.rs",
            "fn f() { nalgebra::Matrix3::zeros(); }",
            "nalgebra",
        ),
    ] {
        let found = complaints_of(path, snippet);
        assert!(found.contains(word), "{snippet}: {found:?}");
    }
    for (path, snippet) in [
        (
            "signal/a.rs",
            "use realfft::RealFftPlanner; use std::io::Read;",
        ),
        (
            "fit/a.rs",
            "fn f() {} #[cfg(test)] mod tests { fn g() { println!(); } } fn h() {}",
        ),
        ("fit/x/tests.rs", "fn f() { println!(); }"),
        ("cli/a.rs", "fn f() { println!(); std::fs::read(p); }"),
        (
            "fit/a.rs",
            "fn f(ahound: f64) { self.hound.x(); eprintln; }",
        ),
    ] {
        assert_eq!(complaints_of(path, snippet), "", "{snippet}");
    }
    assert!(
        complaints_of(
            "fit/a.rs",
            "#[cfg(test)] mod tests { fn g() {} } fn h() { println!(); }"
        )
        .contains("println!"),
        "code behind unit tests counts"
    );
}
