//! Session folders: `session.json` and `takes/`.

use std::fs::{self, File, TryLockError};
use std::io;
use std::path::{Path, PathBuf};

use farcone::recording::{Take, WavFormat, write_wav};
use farcone::session::{Condition, SESSION_FILE_NAME, SessionFile, TakeFile};

use super::StoreError;
use super::files::{sync_folder, write_new, write_new_text};
use super::load::sha256;

/// Whoever writes into the folder holds a lock on this file. It stays: a lock file that is deleted can be held twice.
const LOCK_NAME: &str = ".lock";
const TAKES_NAME: &str = "takes";

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

/// A session folder that is being written. `session.json` comes last, so a folder that has it is complete.
pub struct NewSession {
    folder: PathBuf,
    /// Locked until it is closed.
    _lock: File,
}

impl NewSession {
    /// Starts a folder; it may exist if it is empty.
    pub fn create(folder: &Path) -> Result<Self, StoreError> {
        let failed = |source| StoreError::Write {
            path: folder.into(),
            source,
        };
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
        write_new(
            &path,
            |writer| {
                write_wav(
                    writer,
                    take.sample_rate_hz(),
                    &[take.source(), take.driver()],
                    WavFormat::Pcm24,
                )
            },
            |path, source| StoreError::Take { path, source },
        )?;
        let mut written = File::open(&path).map_err(|source| StoreError::Open {
            path: path.clone(),
            source,
        })?;
        Ok(TakeFile {
            sha256: vec![sha256(&mut written, &path)?],
            ..TakeFile::new(name, condition, vec![file])
        })
    }

    /// Writes `session.json` and lets go of the folder.
    pub fn finish(self, session: &SessionFile) -> Result<PathBuf, StoreError> {
        let path = self.folder.join(SESSION_FILE_NAME);
        let text = session.to_json().map_err(|source| StoreError::Session {
            path: path.clone(),
            source,
        })?;
        write_new_text(&path, &text)?;
        Ok(path)
    }
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
            NewSession::create(folder.path()),
            Err(StoreError::Locked { .. })
        ));
        drop(first);
        drop(NewSession::create(folder.path()).unwrap());
        assert!(matches!(
            NewSession::create(folder.path()),
            Err(StoreError::NotEmpty { .. })
        ));
    }
}
