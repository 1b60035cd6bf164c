//! What can go wrong with files.

use std::io;
use std::path::PathBuf;

use farcone::bundle::BundleError;
use farcone::impedance::table::TableError;
use farcone::recording::RecordingError;
use farcone::session::{AssembleError, ProfileError, SESSION_FILE_NAME, SessionFileError};
use farcone::sheet::SheetError;

/// Why something could not be read from or written to disk. Each message names the file.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum StoreError {
    #[error("{}: there is no such file", path.display())]
    Missing { path: PathBuf },
    #[error("{}: cannot be written, since the folder {} does not exist; make it first, or name another", path.display(), folder.display())]
    NoFolder { path: PathBuf, folder: PathBuf },
    #[error("{}: this is no text, so it is no sheet; a recording becomes one with farcone fit", path.display())]
    NoText { path: PathBuf },
    #[error("{}: this describes a session and is no sheet; farcone fit {} --out NAME.driver.json makes one of it", path.display(), folder.display())]
    SessionForSheet { path: PathBuf, folder: PathBuf },
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
    Bundle {
        path: PathBuf,
        source: Box<BundleError>,
    },
    #[error("{}: {source}", folder.display())]
    Assemble {
        folder: PathBuf,
        source: Box<AssembleError>,
    },
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
        "{}: the folder exists and is not empty, and nothing in it is overwritten; name another folder, or move this \
         one away first",
        folder.display()
    )]
    NotEmpty { folder: PathBuf },
    #[error("{}: another program is writing into this session; wait for it to end, then try again", folder.display())]
    Locked { folder: PathBuf },
    #[error("{}: {source}", path.display())]
    Sheet { path: PathBuf, source: SheetError },
    #[error("{}: {source}", path.display())]
    Profile { path: PathBuf, source: ProfileError },
    #[error(
        "{name:?} cannot be the name of a jig profile, since not every system allows it as a file name; use a name such as \
         \"{instead}\", or give a path that ends in .jig.json"
    )]
    ProfileName { name: String, instead: String },
    #[error(
        "{}: there is no such jig profile; `farcone jig show` lists those that there are, `farcone jig new` makes one",
        path.display()
    )]
    NoProfile { path: PathBuf },
    #[error("{}: this folder of takes exists already and is never written over; choose another name for the jig, or move it away first", folder.display())]
    TakesExist { folder: PathBuf },
    #[error(
        "{}: this is not the calibration that was recorded (its SHA-256 differs from the one in the jig profile); put the \
         original back, or make the profile again",
        path.display()
    )]
    CalibrationChanged { path: PathBuf },
    #[error(
        "the folder for jig profiles is not known, since the system names no home directory; give the profile as a path \
         that ends in .jig.json"
    )]
    NoHome,
}
