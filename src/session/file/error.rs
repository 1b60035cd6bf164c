//! Why a text is no session.

use super::SESSION_SCHEMA;
use crate::recording::RecordingError;
use crate::sheet::DimensionsError;

/// Why `session.json` cannot be read or written.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum SessionFileError {
    /// Not JSON, or not with these fields.
    #[error("this is no session: {source}; docs/session.md describes the format")]
    Malformed {
        /// What the reader found.
        #[source]
        source: serde_json::Error,
    },
    /// Another format or version.
    #[error(
        "this session has the format \"{found}\", but only \"{SESSION_SCHEMA}\" can be read here; use the program version \
         that wrote it"
    )]
    Version {
        /// What the file says of itself.
        found: String,
    },
    /// A name that nothing here has.
    #[error("{what} is \"{found}\"; it has to be one of {allowed}")]
    UnknownName {
        /// Which entry.
        what: String,
        /// What it says.
        found: String,
        /// What it may say.
        allowed: &'static str,
    },
    /// A unit other than the one that the format fixes.
    #[error("{what} is in \"{found}\"; the format wants SI values, here in \"{wanted}\"")]
    Unit {
        /// Which entry.
        what: String,
        /// Its unit.
        found: String,
        /// The unit it has to have.
        wanted: &'static str,
    },
    /// A value or spread that cannot be.
    #[error("{what} is {value}; it has to be {allowed}")]
    Value {
        /// Which entry.
        what: String,
        /// What it is.
        value: f64,
        /// What it may be.
        allowed: &'static str,
    },
    /// Two spreads for one value.
    #[error("{what} has both a half_width and a standard_uncertainty; state one of them")]
    TwoSpreads {
        /// Which entry.
        what: String,
    },
    /// Two entries that exclude each other.
    #[error("{what} is given twice, as {first} and as {second}; keep one of them")]
    Twice {
        /// What it is about.
        what: &'static str,
        /// First entry.
        first: &'static str,
        /// Second entry.
        second: &'static str,
    },
    /// A take has not exactly what its condition needs.
    #[error("the {condition} take \"{take}\" needs {needed}, and no other stated value")]
    WrongStatement {
        /// Name of the take.
        take: String,
        /// Its condition.
        condition: String,
        /// What has to be stated.
        needed: &'static str,
    },
    /// Not one or two files.
    #[error(
        "the take \"{take}\" names {n_files} files; it needs one, or the two mono files of one recording"
    )]
    FileCount {
        /// Name of the take.
        take: String,
        /// How many.
        n_files: usize,
    },
    /// A take of one input without what that needs.
    #[error("the take \"{take}\" is one of one input, and needs {needed}")]
    OneInput {
        /// Name of the take.
        take: String,
        /// What it needs.
        needed: &'static str,
    },
    /// A file outside the session folder.
    #[error(
        "{what} names the file \"{file}\", which is not inside the session folder; copy it into the folder and name it \
         relative to that"
    )]
    Outside {
        /// What names it.
        what: String,
        /// The file.
        file: String,
    },
    /// Mounting dimensions that cannot be.
    #[error("the mounting dimensions: {source}")]
    Dimensions {
        /// What is wrong with them.
        #[from]
        source: DimensionsError,
    },
    /// Channels that cannot be picked.
    #[error("the take \"{take}\": {source}")]
    Channels {
        /// Name of the take.
        take: String,
        /// What is wrong with them.
        source: RecordingError,
    },
}
