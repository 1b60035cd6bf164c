//! What holds for every bundle, whether it is read or written.

use std::collections::BTreeSet;
use std::path::Path;

use super::manifest::sha256_of;
use super::names::{is_data, shown};
use super::{Bundle, BundleError};
use crate::session::file_key;

/// Longest kit id, characters: ids are made by the program and have ten.
const LONGEST_ID: usize = 64;
/// Longest version, characters.
const LONGEST_VERSION: usize = 64;

/// Most Monte Carlo draws, a hundred times the usual number: a stranger must not keep a computer busy for a day.
const MOST_DRAWS: usize = 1_000_000;

pub(super) fn check(bundle: &Bundle) -> Result<(), BundleError> {
    let is_id = |c: char| c.is_ascii_alphanumeric() || c == '-';
    word(
        "the kit's id",
        &bundle.kit,
        LONGEST_ID,
        is_id,
        "1 to 64 letters, digits or hyphens",
    )?;
    word(
        "the program's version",
        &bundle.version,
        LONGEST_VERSION,
        |c| is_id(c) || matches!(c, '.' | '+'),
        "a version such as 0.1.0",
    )?;
    if let Some(entry) = bundle.log.iter().find(|entry| !entry.at_s.is_finite()) {
        return Err(BundleError::Value {
            what: "a time in the log",
            found: entry.at_s.to_string(),
            allowed: "a finite number of seconds",
        });
    }
    if bundle.session.n_draws > MOST_DRAWS {
        return Err(BundleError::Value {
            what: "the number of draws in session.json",
            found: bundle.session.n_draws.to_string(),
            allowed: "at most 1000000",
        });
    }
    names(bundle)?;
    if let Some(sheet) = &bundle.sheet
        && sheet.origin.version != bundle.version
    {
        return Err(BundleError::Versions {
            bundle: bundle.version.clone(),
            sheet: shown(sheet.origin.version.as_bytes()),
        });
    }
    for take in &bundle.session.takes {
        for (i, file) in take.files.iter().enumerate() {
            let what = || format!("the take \"{}\"", shown(take.name.as_bytes()));
            there(bundle, file, take.sha256.get(i), what)?;
        }
    }
    for photo in &bundle.session.photos {
        let what = || format!("the photo of \"{}\"", shown(photo.of.as_bytes()));
        there(bundle, &photo.file, photo.sha256.as_ref(), what)?;
    }
    Ok(())
}

fn word(
    what: &'static str,
    text: &str,
    longest: usize,
    is_allowed: impl Fn(char) -> bool,
    allowed: &'static str,
) -> Result<(), BundleError> {
    if (1..=longest).contains(&text.len()) && text.chars().all(is_allowed) {
        return Ok(());
    }
    Err(BundleError::Value {
        what,
        found: format!("\"{}\"", shown(text.as_bytes())),
        allowed,
    })
}

/// Names that are harmless, and none that only differs in its capitals: on many systems that is the same file.
fn names(bundle: &Bundle) -> Result<(), BundleError> {
    let mut known = BTreeSet::new();
    for file in bundle.files.keys() {
        if !is_data(file) {
            return Err(BundleError::Name {
                file: shown(file.as_bytes()),
            });
        }
        if !known.insert(file.to_ascii_lowercase()) {
            return Err(BundleError::Twice { file: file.clone() });
        }
    }
    Ok(())
}

fn there(
    bundle: &Bundle,
    file: &Path,
    noted: Option<&String>,
    what: impl Fn() -> String,
) -> Result<(), BundleError> {
    let bytes = file_key(file).and_then(|key| bundle.files.get(&key));
    let shown = || shown(file.to_string_lossy().as_bytes());
    match bytes {
        None => Err(BundleError::NotThere {
            what: what(),
            file: shown(),
        }),
        Some(bytes) if noted.is_some_and(|noted| *noted != sha256_of(bytes)) => {
            Err(BundleError::NotRecorded {
                what: what(),
                file: shown(),
            })
        }
        Some(_) => Ok(()),
    }
}
