//! Why a text is no jig profile.

use super::JIG_SCHEMA;
use crate::session::SessionFileError;

/// Why a jig profile cannot be read or written.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum ProfileError {
    /// Not JSON, or not with these fields.
    #[error("this is no jig profile: {source}; docs/jig-profile.md describes the format")]
    Malformed {
        /// What the reader found.
        #[source]
        source: serde_json::Error,
    },
    /// Another format or version.
    #[error(
        "this has the format \"{found}\", but a jig profile has \"{JIG_SCHEMA}\" here; use the program version that wrote \
         it, or make the profile again"
    )]
    Version {
        /// What the file says of itself.
        found: String,
    },
    /// A date that is none.
    #[error("the profile was made on \"{found}\"; a day is written as in 2026-03-01")]
    Day {
        /// What the file says.
        found: String,
    },
    /// An entry that means the same as in a session, and is wrong in the same way.
    #[error(transparent)]
    Entry(#[from] SessionFileError),
    /// A take of a driver.
    #[error(
        "the take \"{take}\" has the condition {condition}, which is about a driver; a jig profile holds same-node, \
         check-resistor, shorted-leads and open-leads takes only"
    )]
    NotCalibration {
        /// Name of the take.
        take: String,
        /// Its condition.
        condition: &'static str,
    },
    /// A file outside the folder of takes.
    #[error(
        "{what} names the file \"{file}\"; it has to be the bare name of a file in the folder of takes beside \
         the profile"
    )]
    Outside {
        /// What names it.
        what: String,
        /// The file.
        file: String,
    },
    /// Not one file with its hash.
    #[error(
        "the take \"{take}\" needs exactly one file and its sha256 (64 hexadecimal digits, lower case), so that a changed \
         calibration is noticed"
    )]
    Hash {
        /// Name of the take.
        take: String,
    },
}
