//! Why some bytes are no bundle.

use super::{BUNDLE_SCHEMA, MOST_BYTES};
use crate::session::SessionFileError;
use crate::sheet::SheetError;

/// Why a bundle cannot be read or written. Each message names the file that it is about, and says what to ask for.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum BundleError {
    /// Larger than anything that is measured.
    #[error(
        "it holds {n_bytes} bytes, and at most {MOST_BYTES} are read; leave out takes that are not needed, or shorten them"
    )]
    TooLarge {
        /// How many bytes there are, or are said to be.
        n_bytes: u64,
    },
    /// Not a ZIP file at all.
    #[error(
        "this is no ZIP file; ask for the file that the page saved (its name ends in .zip), sent as a file and not as a picture or \
         a voice message"
    )]
    NotZip,
    /// The ZIP file is cut off or was changed.
    #[error("ask for it to be sent again; it arrived incomplete or damaged: {reason}")]
    Damaged {
        /// What gave it away.
        reason: String,
    },
    /// Not stored but compressed, encrypted or streamed: somebody unpacked it and packed it again.
    #[error(
        "\"{file}\" was packed by another program ({how}); ask for the ZIP file exactly as the page saved it, neither unpacked \
         nor packed again"
    )]
    Repacked {
        /// The file.
        file: String,
        /// How it is packed.
        how: String,
    },
    /// A file with a name that nothing in a bundle has.
    #[error(
        "\"{file}\" has no place in a bundle; ask for the ZIP file exactly as the page saved it, neither unpacked nor packed again"
    )]
    Name {
        /// Its name, made harmless.
        file: String,
    },
    /// Two files that some system takes for one.
    #[error(
        "\"{file}\" is there twice, and only one of them can be meant; ask for the ZIP file exactly as the page saved it"
    )]
    Twice {
        /// The second one.
        file: String,
    },
    /// A file that has to be there is not.
    #[error("ask for it to be sent again; it arrived incomplete: \"{file}\" is missing")]
    Missing {
        /// The file.
        file: String,
    },
    /// A file that the manifest does not know.
    #[error(
        "\"{file}\" was added after the bundle was made; ask for the ZIP file exactly as the page saved it"
    )]
    Unlisted {
        /// The file.
        file: String,
    },
    /// A file that is not what the manifest says.
    #[error(
        "ask for it to be sent again; \"{file}\" is not the file that was saved (its {what} differs from the one noted)"
    )]
    Changed {
        /// The file.
        file: String,
        /// `size` or `SHA-256`.
        what: &'static str,
    },
    /// A file that should be text.
    #[error("ask for it to be sent again; \"{file}\" is no text")]
    NotText {
        /// The file.
        file: String,
    },
    /// The manifest is not JSON, or not with its fields.
    #[error("\"{file}\" cannot be read: {source}; docs/bundle.md describes the format", file = super::BUNDLE_FILE_NAME)]
    Malformed {
        /// What the reader found.
        #[source]
        source: serde_json::Error,
    },
    /// Another format or version.
    #[error(
        "this bundle has the format \"{found}\", but only \"{BUNDLE_SCHEMA}\" can be read here; use the program version that \
         made the kit"
    )]
    Version {
        /// What the manifest says of itself.
        found: String,
    },
    /// A value in the manifest that cannot be.
    #[error("{what} is {found}; it has to be {allowed}")]
    Value {
        /// Which entry.
        what: &'static str,
        /// What it is.
        found: String,
        /// What it may be.
        allowed: &'static str,
    },
    /// The session cannot be read or written.
    #[error("session.json (program version {version}): {source}")]
    Session {
        /// Version of the program that made the bundle.
        version: String,
        /// What is wrong.
        source: SessionFileError,
    },
    /// The sheet cannot be read or written.
    #[error("{file} (program version {version}): {source}", file = super::SHEET_FILE_NAME)]
    Sheet {
        /// Version of the program that made the bundle.
        version: String,
        /// What is wrong.
        source: SheetError,
    },
    /// The sheet was made by another version than the bundle says.
    #[error(
        "the bundle is of program version {bundle}, but the sheet in it of {sheet}; ask for it to be saved again from the page"
    )]
    Versions {
        /// What the manifest says.
        bundle: String,
        /// What the sheet says.
        sheet: String,
    },
    /// A take or photo of which a file is not there.
    #[error(
        "ask for it to be sent again; it arrived incomplete: {what} needs \"{file}\", which is missing"
    )]
    NotThere {
        /// Which take, or what the photo shows.
        what: String,
        /// The file.
        file: String,
    },
    /// A take or photo of which a file is another one than the session noted.
    #[error(
        "\"{file}\" is not the file that was recorded as {what} (its SHA-256 differs from the one in session.json); ask for it to \
         be saved again from the page"
    )]
    NotRecorded {
        /// Which take, or what the photo shows.
        what: String,
        /// The file.
        file: String,
    },
    /// Writing into memory failed.
    #[error("the bundle cannot be put together: {reason}")]
    Write {
        /// What the writer said.
        reason: String,
    },
}
