//! What can go wrong with files.

use std::io;
use std::path::PathBuf;

use farcone::impedance::table::TableError;
use farcone::recording::RecordingError;
use farcone::session::{SESSION_FILE_NAME, SessionFileError};

/// Why something could not be read from or written to disk. Each message names the file.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum StoreError {
    #[error("{}: cannot be opened: {source}", path.display())]
    Open { path: PathBuf, source: io::Error },
    #[error("{}: cannot be read: {source}", path.display())]
    Read { path: PathBuf, source: io::Error },
    #[error("{}: cannot be written: {source}", path.display())]
    Write { path: PathBuf, source: io::Error },
    #[error("{}: {source}", path.display())]
    Take {
        path: PathBuf,
        source: RecordingError,
    },
    #[error("{}: {source}", path.display())]
    Table { path: PathBuf, source: TableError },
    #[error("{}: a pair of mono recordings was expected here, not an impedance table; give a table on its own", path.display())]
    TableInPair { path: PathBuf },
    #[error("{}: {source}", path.display())]
    Session {
        path: PathBuf,
        source: SessionFileError,
    },
    #[error(
        "{}: there is no {SESSION_FILE_NAME} in it, so it is no session folder; give the folder that holds {SESSION_FILE_NAME}, \
         or give single recordings (--free-air TAKE …)",
        folder.display()
    )]
    NotASession { folder: PathBuf },
    #[error(
        "{}: this is not the file that was recorded (its SHA-256 differs from the one in {SESSION_FILE_NAME}); put the \
         original back, or, if the change was meant, take the \"sha256\" of \"{take}\" out of {SESSION_FILE_NAME}",
        path.display()
    )]
    Changed { path: PathBuf, take: String },
    #[error("{}: exists already and is never overwritten; choose another name, or move it away first", path.display())]
    Exists { path: PathBuf },
    #[error(
        "{}: the folder exists and is not empty, and nothing in it is overwritten; name another folder with --out, or move \
         this one away first",
        folder.display()
    )]
    NotEmpty { folder: PathBuf },
    #[error("{}: another program is writing into this session; wait for it to end, then try again", folder.display())]
    Locked { folder: PathBuf },
}
