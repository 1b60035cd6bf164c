//! Formulas are written once, on a page of `docs/`, and cited by their number. Holds every citation against the pages,
//! and every path that a page names against what is there.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::disallowed_methods,
    reason = "a test fails by panicking, and this one reads the sources"
)]

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};

/// First letter of a formula's number, and its page.
const PAGES: &[(char, &str)] = &[
    ('S', "docs/signal.md"),
    ('J', "docs/jig.md"),
    ('C', "docs/circuits.md"),
    ('F', "docs/fit.md"),
    ('N', "docs/level.md"),
    ('P', "docs/parameters.md"),
    ('V', "docs/compare.md"),
    ('E', "docs/enclosure.md"),
    ('B', "docs/test-box.md"),
    ('O', "docs/one-input.md"),
    ('M', "docs/coins.md"),
];

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

fn read(path: &str) -> String {
    fs::read_to_string(root().join(path)).unwrap_or_else(|error| panic!("{path}: {error}"))
}

/// Files below a folder with this extension, as paths from the root.
fn files(folder: &str, extension: &str) -> Vec<String> {
    let mut found = vec![];
    let mut folders = vec![root().join(folder)];
    while let Some(folder) = folders.pop() {
        for entry in fs::read_dir(&folder).unwrap() {
            let path: PathBuf = entry.unwrap().path();
            if path.is_dir() {
                folders.push(path);
            } else if path.extension().is_some_and(|e| e == extension) {
                let path = path.strip_prefix(root()).unwrap().to_str().unwrap();
                found.push(path.replace('\\', "/"));
            }
        }
    }
    found.sort();
    found
}

/// The numbers in a text that look like `(S4)`, with the letter given.
fn numbers(text: &str, letter: char, before: &str, after: &str) -> Vec<u32> {
    let open = format!("{before}({letter}");
    text.match_indices(&open)
        .filter_map(|(at, _)| {
            let rest = &text[at + open.len()..];
            let end = rest.find(|c: char| !c.is_ascii_digit())?;
            let close = format!("){after}");
            rest[end..]
                .starts_with(&close)
                .then(|| rest[..end].parse().ok())?
        })
        .collect()
}

/// Which numbers each page defines.
fn defined() -> BTreeMap<char, BTreeSet<u32>> {
    PAGES
        .iter()
        .map(|&(letter, page)| {
            let numbers = numbers(&read(page), letter, "> **", "**");
            let expected: Vec<u32> = (1..=numbers.len() as u32).collect();
            assert_eq!(numbers, expected, "{page} numbers its formulas 1, 2, 3 …");
            (letter, numbers.into_iter().collect())
        })
        .collect()
}

#[test]
fn every_cited_formula_exists() {
    let defined = defined();
    let mut n_cited = 0;
    let sources = files("src", "rs").into_iter().chain(files("docs", "md"));
    for path in sources
        .chain(files("tests", "rs"))
        .filter(|path| !path.ends_with("docs_formulas.rs"))
    {
        let text = read(&path);
        for (letter, known) in &defined {
            for number in numbers(&text, *letter, "", "") {
                n_cited += 1;
                assert!(
                    known.contains(&number),
                    "{path} cites ({letter}{number}), which no page defines"
                );
            }
        }
    }
    assert!(n_cited > 50, "only {n_cited} citations were found");
}

#[test]
fn numbers_are_read() {
    let text = "see (S4) and (S10), not (S), (S4 or (SX); > **(S7)**  x = 1";
    assert_eq!(numbers(text, 'S', "", ""), [4, 10, 7]);
    assert_eq!(numbers(text, 'S', "> **", "**"), [7]);
}

/// Words in backticks that look like paths of this repository.
fn paths(text: &str) -> Vec<&str> {
    const FOLDERS: [&str; 7] = [
        "src/",
        "docs/",
        "tests/",
        "fixtures/",
        "examples/",
        "benches/",
        ".ci/",
    ];
    text.split('`')
        .skip(1)
        .step_by(2)
        .filter(|word| FOLDERS.iter().any(|folder| word.starts_with(folder)))
        .filter(|word| !word.contains([' ', '*', '<', '{']))
        .collect()
}

#[test]
fn pages_name_only_what_is_there() {
    let mut pages = files("docs", "md");
    pages.extend(files("fixtures", "md"));
    let at_the_root = ["README.md", "DEVELOPERS.md", "CHANGELOG.md"];
    pages.extend(
        at_the_root
            .map(str::to_owned)
            .into_iter()
            .filter(|page| root().join(page).exists()),
    );
    for page in pages {
        let text = read(&page);
        for path in paths(&text) {
            assert!(
                root().join(path).exists(),
                "{page} names `{path}`, which is not there"
            );
        }
    }
}

/// DEVELOPERS.md has a row for every room, and `docs/README.md` a line for every page.
#[test]
fn maps_are_complete() {
    let developers = read("DEVELOPERS.md");
    for entry in fs::read_dir(root().join("src")).unwrap() {
        let name = entry.unwrap().file_name().into_string().unwrap();
        let row = format!("`{}`", name.trim_end_matches(".rs"));
        assert!(
            developers.contains(&row),
            "DEVELOPERS.md says nothing about {row}"
        );
    }
    let index = read("docs/README.md");
    for page in files("docs", "md")
        .iter()
        .filter(|page| *page != "docs/README.md")
    {
        let name = page.trim_start_matches("docs/");
        assert!(
            index.contains(&format!("({name})")),
            "docs/README.md does not list {name}"
        );
    }
}
