//! Takes from disk.

use std::fs::{self, File};
use std::io::{self, BufReader, Read};
use std::path::{Path, PathBuf};

use farcone::faults::Played;
use farcone::progress::Watcher;
use farcone::recording::read_wav;
use farcone::session::{
    AssembleError, SESSION_FILE_NAME, Session, SessionFile, assemble, sha256_hex,
};
use farcone::sheet::Sheet;

use super::StoreError;
use super::files::folder_of;

/// Reads a sheet.
pub fn read_sheet(path: &Path) -> Result<Sheet, StoreError> {
    let text = fs::read_to_string(path).map_err(|source| match source.kind() {
        io::ErrorKind::NotFound => StoreError::Missing { path: path.into() },
        io::ErrorKind::InvalidData => StoreError::NoText { path: path.into() },
        _ => StoreError::Open {
            path: path.into(),
            source,
        },
    })?;
    if path
        .file_name()
        .is_some_and(|name| name == SESSION_FILE_NAME)
    {
        return Err(StoreError::SessionForSheet {
            path: path.into(),
            folder: folder_of(path).into(),
        });
    }
    Sheet::from_json(&text).map_err(|source| StoreError::Sheet {
        path: path.into(),
        source,
    })
}

/// Reads the samples or tables of a session whose file names are relative to `folder`.
pub fn load(
    session: SessionFile,
    folder: &Path,
    watcher: &mut dyn Watcher,
) -> Result<Session, StoreError> {
    assemble(session, |file| File::open(folder.join(file)), watcher)
        .map_err(|error| on_disk(error, folder))
}

/// The error with the file's place on disk.
fn on_disk(error: AssembleError, folder: &Path) -> StoreError {
    let at = |file: PathBuf| folder.join(file);
    match error {
        AssembleError::Open { file, source } => StoreError::Open {
            path: at(file),
            source,
        },
        AssembleError::Read { file, source } => StoreError::Read {
            path: at(file),
            source,
        },
        AssembleError::Take { file, source } => StoreError::Take {
            path: at(file),
            source,
        },
        AssembleError::Pair {
            source_file,
            driver_file,
            source,
        } => {
            let both = format!(
                "{},{}",
                at(source_file).display(),
                at(driver_file).display()
            );
            StoreError::Take {
                path: both.into(),
                source,
            }
        }
        AssembleError::Table { file, source } => StoreError::Table {
            path: at(file),
            source,
        },
        AssembleError::TableInPair { file } => StoreError::TableInPair { path: at(file) },
        AssembleError::Changed { file, of } => StoreError::Changed {
            path: at(file),
            take: of,
        },
        other => StoreError::Assemble {
            folder: folder.into(),
            source: other.into(),
        },
    }
}

/// Reads the stimulus that was played: the first channel of a WAV file.
pub fn read_played(path: &Path) -> Result<Played, StoreError> {
    let file = File::open(path).map_err(|source| StoreError::Open {
        path: path.into(),
        source,
    })?;
    let wrong = |source| StoreError::Take {
        path: path.into(),
        source,
    };
    let (audio, _) = read_wav(BufReader::new(file)).map_err(wrong)?;
    let samples = audio
        .channel(0)
        .ok_or_else(|| wrong(farcone::recording::RecordingError::Empty))?;
    Ok(Played {
        samples: samples.to_vec(),
        sample_rate_hz: audio.sample_rate_hz(),
    })
}

/// The files of a folder, not of those in it, whose SHA-256 is wanted: path, hash and content.
pub fn read_hashed(
    folder: &Path,
    wanted: impl Fn(&str) -> bool,
) -> Result<Vec<(PathBuf, String, Vec<u8>)>, StoreError> {
    let failed = |path: &Path| {
        let path = path.to_owned();
        move |source| StoreError::Read { path, source }
    };
    let mut found = vec![];
    for entry in fs::read_dir(folder).map_err(failed(folder))? {
        let path = entry.map_err(failed(folder))?.path();
        if !path.is_file() {
            continue;
        }
        let bytes = fs::read(&path).map_err(failed(&path))?;
        let hash = sha256(&mut bytes.as_slice(), &path)?;
        if wanted(&hash) {
            found.push((path, hash, bytes));
        }
    }
    found.sort();
    Ok(found)
}

/// SHA-256 of what is left in a reader, as lower-case hexadecimal.
pub(super) fn sha256(reader: &mut impl Read, path: &Path) -> Result<String, StoreError> {
    sha256_hex(reader).map_err(|source| StoreError::Read {
        path: path.into(),
        source,
    })
}
