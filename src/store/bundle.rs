//! Bundles that arrived, and the session folders that they become.

use std::fs::{self, File};
use std::io::{self, Read, Write};
use std::path::{Path, PathBuf};

use farcone::bundle::{BUNDLE_FILE_NAME, BundleError, MOST_BYTES, Unpacked, unpack};
use farcone::session::SESSION_FILE_NAME;

use super::files::{make_folder, safe_file_name, write_new, write_new_text};
use super::{SessionFolder, StoreError};

/// What the page concluded, beside what is computed here.
const PAGE_SHEET_NAME: &str = "page.driver.json";
const PHOTOS_NAME: &str = "photos";

/// Reads and verifies a bundle.
pub fn read_bundle(path: &Path) -> Result<Unpacked, StoreError> {
    let failed = |source: io::Error| match source.kind() {
        io::ErrorKind::NotFound => StoreError::Missing { path: path.into() },
        _ => StoreError::Open {
            path: path.into(),
            source,
        },
    };
    let wrong = |source| StoreError::Bundle {
        path: path.into(),
        source: Box::new(source),
    };
    let file = File::open(path).map_err(failed)?;
    let n_bytes = file.metadata().map_err(failed)?.len();
    if n_bytes > MOST_BYTES as u64 {
        return Err(wrong(BundleError::TooLarge { n_bytes }));
    }
    let mut bytes = vec![];
    // Whatever its size was said to be.
    file.take(MOST_BYTES as u64 + 1)
        .read_to_end(&mut bytes)
        .map_err(|source| StoreError::Read {
            path: path.into(),
            source,
        })?;
    unpack(&bytes).map_err(wrong)
}

/// Writes a bundle as a new session folder inside `parent`, named after its label, and returns where it is. Only ordinary
/// files with names that were checked are made; `session.json` is the last.
pub fn unpack_bundle(unpacked: &Unpacked, parent: &Path) -> Result<PathBuf, StoreError> {
    make_folder(parent)?;
    let folder = new_folder(parent, &safe_file_name(&unpacked.bundle.session.label))?;
    let filled = fill(&folder, unpacked);
    if filled.is_err() {
        // It was made a moment ago, and half a bundle is of no use. The first error is the one to report.
        let _ = fs::remove_dir_all(&folder);
    }
    filled.map(|()| folder)
}

/// A folder that nothing else has: the name, or the name with a number.
fn new_folder(parent: &Path, name: &str) -> Result<PathBuf, StoreError> {
    let mut folder = parent.join(name);
    let mut number = 2;
    loop {
        match fs::create_dir(&folder) {
            Ok(()) => return Ok(folder),
            Err(error) if error.kind() == io::ErrorKind::AlreadyExists => {
                folder = parent.join(format!("{name}-{number}"));
                number += 1;
            }
            Err(source) => {
                return Err(StoreError::Write {
                    path: folder,
                    source,
                });
            }
        }
    }
}

fn fill(folder: &Path, unpacked: &Unpacked) -> Result<(), StoreError> {
    // Held until all is written.
    let session_folder = SessionFolder::create(folder)?;
    let folder = session_folder.path();
    let files = &unpacked.bundle.files;
    if files.keys().any(|file| file.starts_with(PHOTOS_NAME)) {
        make_folder(&folder.join(PHOTOS_NAME))?;
    }
    for (file, bytes) in files {
        write_new(
            &folder.join(file),
            |new| new.write_all(bytes),
            |path, source| StoreError::Write { path, source },
        )?;
    }
    let texts = &unpacked.texts;
    write_new_text(&folder.join(BUNDLE_FILE_NAME), &texts.manifest)?;
    if let Some(sheet) = &texts.sheet {
        write_new_text(&folder.join(PAGE_SHEET_NAME), sheet)?;
    }
    write_new_text(&folder.join(SESSION_FILE_NAME), &texts.session)
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeMap;

    use farcone::bundle::{Bundle, write};
    use farcone::session::{Condition, SessionFile, TakeFile};

    use super::*;

    fn unpacked(label: &str) -> Unpacked {
        let file = "takes/free-air-1.wav";
        let take = TakeFile::new("free-air-1", Condition::FreeAir, vec![file.into()]);
        let bundle = Bundle {
            kit: "K-1".into(),
            driver: 0,
            version: "0.1.0".into(),
            browser: None,
            log: vec![],
            session: SessionFile::new(label, vec![take]),
            sheet: None,
            files: BTreeMap::from([(file.to_owned(), b"sound".to_vec())]),
        };
        unpack(&write(&bundle).unwrap()).unwrap()
    }

    #[test]
    fn each_bundle_gets_a_folder_of_its_own() {
        let parent = tempfile::tempdir().unwrap();
        let parent = parent.path().join("new");
        let arrived = unpacked("../left unit");
        let first = unpack_bundle(&arrived, &parent).unwrap();
        let second = unpack_bundle(&arrived, &parent).unwrap();
        assert_eq!(first, parent.join("left-unit"));
        assert_eq!(second, parent.join("left-unit-2"));
        for folder in [first, second] {
            let read = |file: &str| fs::read(folder.join(file)).unwrap();
            assert_eq!(read("takes/free-air-1.wav"), b"sound");
            assert_eq!(read("bundle.json"), arrived.texts.manifest.as_bytes());
            assert_eq!(read("session.json"), arrived.texts.session.as_bytes());
            assert!(!folder.join("page.driver.json").exists());
        }
    }

    #[test]
    fn what_cannot_be_written_whole_leaves_nothing() {
        let parent = tempfile::tempdir().unwrap();
        let mut arrived = unpacked("x");
        // A name that no bundle can have, and no folder is there for it.
        arrived
            .bundle
            .files
            .insert("elsewhere/a.wav".into(), vec![]);
        assert!(unpack_bundle(&arrived, parent.path()).is_err());
        assert_eq!(fs::read_dir(parent.path()).unwrap().count(), 0);
    }
}
