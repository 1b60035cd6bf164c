//! Session folders: `session.json`, `takes/` and `photos/`.

use std::fs::{self, File, TryLockError};
use std::io;
use std::path::{Path, PathBuf};

use farcone::recording::{Take, WavFormat, write_wav};
use farcone::session::{Condition, Photo, SESSION_FILE_NAME, SessionFile, TakeFile};

use super::StoreError;
use super::files::{replace_text, safe_file_name, sync_folder, write_new};
use super::load::sha256;

/// Whoever writes into the folder holds a lock on this file. It stays: a lock file that is deleted can be held twice.
const LOCK_NAME: &str = ".lock";
const TAKES_NAME: &str = "takes";
const PHOTOS_NAME: &str = "photos";

/// Reads a session folder's description. The takes are read by [`super::load`].
pub fn read_session(folder: &Path) -> Result<SessionFile, StoreError> {
    let path = folder.join(SESSION_FILE_NAME);
    let text = fs::read_to_string(&path).map_err(|source| {
        if folder.exists() && !path.exists() {
            StoreError::NotASession {
                folder: folder.into(),
            }
        } else {
            let missing = if folder.exists() { &path } else { folder };
            StoreError::Open {
                path: missing.into(),
                source,
            }
        }
    })?;
    SessionFile::from_json(&text).map_err(|source| StoreError::Session { path, source })
}

/// A session folder that is being written into. Takes are written once; `session.json` is replaced as a whole, after the
/// takes that it names, so that it is complete whenever it can be read.
pub struct SessionFolder {
    folder: PathBuf,
    /// Locked until it is closed.
    _lock: File,
}

impl SessionFolder {
    /// Starts a folder; it may exist if it is empty.
    pub fn create(folder: &Path) -> Result<Self, StoreError> {
        let failed = |source| StoreError::Write {
            path: folder.into(),
            source,
        };
        if folder.exists() && !folder.is_dir() {
            return Err(StoreError::Exists {
                path: folder.into(),
            });
        }
        fs::create_dir_all(folder).map_err(failed)?;
        // Before the lock, which would leave a file in a folder that is somebody else's; and with it, for certain.
        refuse_full(folder)?;
        let lock = lock(folder)?;
        refuse_full(folder)?;
        fs::create_dir(folder.join(TAKES_NAME)).map_err(failed)?;
        sync_folder(folder).map_err(failed)?;
        Ok(Self {
            folder: folder.into(),
            _lock: lock,
        })
    }

    /// Goes on with a folder that holds a session.
    pub fn open(folder: &Path) -> Result<(Self, SessionFile), StoreError> {
        // Before the lock, which would leave a file in a folder that is somebody else's.
        read_session(folder)?;
        let lock = lock(folder)?;
        let session = read_session(folder)?;
        let takes = folder.join(TAKES_NAME);
        fs::create_dir_all(&takes).map_err(|source| StoreError::Write {
            path: takes,
            source,
        })?;
        let opened = Self {
            folder: folder.into(),
            _lock: lock,
        };
        Ok((opened, session))
    }

    /// Where it is.
    pub fn path(&self) -> &Path {
        &self.folder
    }

    /// A name for the next take of a condition, such as `free-air-3`: one that neither the session nor a file has. A file
    /// without an entry is what a program that was killed left behind; it stays.
    pub fn next_name(&self, session: &SessionFile, condition: &Condition) -> String {
        let kind = condition.as_str();
        let taken = |name: &String| {
            session.takes.iter().any(|take| take.name == *name)
                || self.take_path(name).symlink_metadata().is_ok()
        };
        let mut number = 1;
        loop {
            let name = format!("{kind}-{number}");
            if !taken(&name) {
                return name;
            }
            number += 1;
        }
    }

    fn take_path(&self, name: &str) -> PathBuf {
        self.folder.join(TAKES_NAME).join(format!("{name}.wav"))
    }

    /// Writes a take as 24-bit WAV and says how `session.json` describes it.
    pub fn add_take(
        &self,
        name: &str,
        condition: Condition,
        take: &Take,
    ) -> Result<TakeFile, StoreError> {
        // With a slash on every system, so that a folder can be sent around.
        let file = PathBuf::from(format!("{TAKES_NAME}/{name}.wav"));
        let path = self.folder.join(&file);
        write_take(&path, take)?;
        let mut written = File::open(&path).map_err(|source| StoreError::Open {
            path: path.clone(),
            source,
        })?;
        Ok(TakeFile {
            sha256: vec![sha256(&mut written, &path)?],
            ..TakeFile::new(name, condition, vec![file])
        })
    }

    /// Copies a photo into the folder and says how `session.json` describes it.
    pub fn add_photo(&self, of: &str, photo: &Path) -> Result<Photo, StoreError> {
        let folder = self.folder.join(PHOTOS_NAME);
        fs::create_dir_all(&folder).map_err(|source| StoreError::Write {
            path: folder,
            source,
        })?;
        let mut original = File::open(photo).map_err(|source| StoreError::Open {
            path: photo.into(),
            source,
        })?;
        let ending = photo.extension().map(|ending| ending.to_string_lossy());
        let ending = ending.map_or(String::new(), |ending| {
            format!(".{}", safe_file_name(&ending))
        });
        let stem = safe_file_name(of);
        // What is there stays: a second photo of the same thing gets a number.
        let name = (1..)
            .map(|number| match number {
                1 => format!("{stem}{ending}"),
                _ => format!("{stem}-{number}{ending}"),
            })
            .find(|name| {
                let path = self.folder.join(PHOTOS_NAME).join(name);
                path.symlink_metadata().is_err()
            })
            .unwrap_or(stem);
        let file = PathBuf::from(format!("{PHOTOS_NAME}/{name}"));
        let path = self.folder.join(&file);
        write_new(
            &path,
            |copy| io::copy(&mut original, copy).map(|_| ()),
            |path, source| StoreError::Write { path, source },
        )?;
        let mut copy = File::open(&path).map_err(|source| StoreError::Open {
            path: path.clone(),
            source,
        })?;
        Ok(Photo {
            of: of.to_owned(),
            file,
            sha256: Some(sha256(&mut copy, &path)?),
        })
    }

    /// Writes `session.json`, or replaces it.
    pub fn save(&self, session: &SessionFile) -> Result<(), StoreError> {
        let path = self.folder.join(SESSION_FILE_NAME);
        let text = session.to_json().map_err(|source| StoreError::Session {
            path: path.clone(),
            source,
        })?;
        replace_text(&path, &text)
    }
}

/// Writes a take as 24-bit WAV.
pub fn write_take(path: &Path, take: &Take) -> Result<(), StoreError> {
    write_new(
        path,
        |writer| {
            write_wav(
                writer,
                take.sample_rate_hz(),
                &[take.source(), take.driver()],
                WavFormat::Pcm24,
            )
        },
        |path, source| StoreError::Take { path, source },
    )
}

/// Refuses a folder with anything but a lock in it.
fn refuse_full(folder: &Path) -> Result<(), StoreError> {
    let failed = |source| StoreError::Read {
        path: folder.into(),
        source,
    };
    for entry in fs::read_dir(folder).map_err(failed)? {
        if entry.map_err(failed)?.file_name() != LOCK_NAME {
            return Err(StoreError::NotEmpty {
                folder: folder.into(),
            });
        }
    }
    Ok(())
}

/// Takes the folder's lock, without waiting.
fn lock(folder: &Path) -> Result<File, StoreError> {
    let path = folder.join(LOCK_NAME);
    let failed = |source| StoreError::Write {
        path: path.clone(),
        source,
    };
    let file = File::options()
        .create(true)
        .truncate(false)
        .write(true)
        .open(&path)
        .map_err(failed)?;
    match file.try_lock() {
        Ok(()) => Ok(file),
        Err(TryLockError::WouldBlock) => Err(StoreError::Locked {
            folder: folder.into(),
        }),
        // Some network file systems have no locks; that must not keep anybody from measuring.
        Err(TryLockError::Error(error)) if error.kind() == io::ErrorKind::Unsupported => Ok(file),
        Err(TryLockError::Error(error)) => Err(failed(error)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn two_writers_do_not_meet() {
        let folder = tempfile::tempdir().unwrap();
        let first = lock(folder.path()).unwrap();
        assert!(matches!(
            SessionFolder::create(folder.path()),
            Err(StoreError::Locked { .. })
        ));
        drop(first);
        drop(SessionFolder::create(folder.path()).unwrap());
        assert!(matches!(
            SessionFolder::create(folder.path()),
            Err(StoreError::NotEmpty { .. })
        ));
    }

    #[test]
    fn a_session_grows_take_by_take() {
        let folder = tempfile::tempdir().unwrap();
        let take = Take::new(48_000, vec![0.1; 64], vec![0.2; 64]).unwrap();
        let mut session = SessionFile::new("growing", vec![]);
        let first = SessionFolder::create(folder.path()).unwrap();
        first.save(&session).unwrap();
        for name in ["free-air-1", "free-air-2"] {
            let next = first.next_name(&session, &Condition::FreeAir);
            assert_eq!(next, name);
            let entry = first.add_take(&next, Condition::FreeAir, &take).unwrap();
            session.takes.push(entry);
            first.save(&session).unwrap();
        }
        assert!(matches!(
            SessionFolder::open(folder.path()),
            Err(StoreError::Locked { .. })
        ));
        drop(first);
        let (second, read) = SessionFolder::open(folder.path()).unwrap();
        assert_eq!(read, session);
        // What a killed program left is neither overwritten nor taken for a take.
        fs::write(folder.path().join("takes/free-air-3.wav"), "orphan").unwrap();
        assert_eq!(
            second.next_name(&session, &Condition::FreeAir),
            "free-air-4"
        );
        assert_eq!(
            second.next_name(&session, &Condition::SameNode),
            "same-node-1"
        );
        let left: Vec<_> = fs::read_dir(folder.path())
            .unwrap()
            .map(|entry| entry.unwrap().file_name())
            .filter(|name| name.to_string_lossy().ends_with(".part"))
            .collect();
        assert!(left.is_empty(), "{left:?}");
    }

    #[test]
    fn somebody_elses_folder_is_not_touched() {
        let folder = tempfile::tempdir().unwrap();
        assert!(matches!(
            SessionFolder::open(folder.path()),
            Err(StoreError::NotASession { .. })
        ));
        assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 0);
    }
}
