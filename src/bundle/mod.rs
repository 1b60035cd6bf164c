//! Bundles: everything about one driver in one ZIP file, as it is sent from far away, and back.
//!
//! A bundle holds a session with its takes and photos, the sheet that was concluded where it was measured, and a manifest
//! with the SHA-256 of each file. What is read was verified: all files are there, none was changed, none besides. Entries are
//! stored, not compressed, so that what is unpacked is never larger than what arrived. `docs/bundle.md` describes the format.
//!
//! ```
//! use std::collections::BTreeMap;
//! use farcone::bundle::{self, Bundle};
//! use farcone::session::SessionFile;
//!
//! let bundle = Bundle {
//!     kit: "K-0000ab12".into(),
//!     driver: 0,
//!     version: "0.1.0".into(),
//!     browser: None,
//!     log: vec![],
//!     session: SessionFile::new("left unit", vec![]),
//!     sheet: None,
//!     files: BTreeMap::new(),
//! };
//! let zip = bundle::write(&bundle)?;
//! assert_eq!(bundle::read(&zip)?, bundle);
//! # Ok::<(), bundle::BundleError>(())
//! ```

mod check;
mod error;
mod manifest;
mod names;
mod read;
mod reply;
mod write;

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use crate::session::SessionFile;
use crate::sheet::Sheet;

pub use error::BundleError;
pub use manifest::BUNDLE_SCHEMA;
pub use names::{BUNDLE_FILE_NAME, SHEET_FILE_NAME};
pub use read::{Texts, Unpacked, read, unpack};
pub use reply::{Reply, Request, Wanted, reply, without_flags};
pub use write::write;

/// Largest bundle that is read or written, bytes. A page keeps its bundles below 20 MB, so that mail takes them; several
/// minutes of 96 kHz stay below this, and a computer's memory holds it several times.
pub const MOST_BYTES: usize = 256 << 20;

/// Everything about one driver.
#[derive(Clone, Debug, PartialEq)]
pub struct Bundle {
    /// Which kit it answers: letters, digits and hyphens.
    pub kit: String,
    /// Which of the kit's drivers it is about, counted from 0.
    pub driver: u64,
    /// Version of the program that made it.
    pub version: String,
    /// What was noted about the browser: its name, the settings of its sound, what was checked; `None` without a browser.
    pub browser: Option<serde_json::Value>,
    /// What happened when.
    pub log: Vec<LogEntry>,
    /// The session. All files of its takes and photos are among `files`.
    pub session: SessionFile,
    /// What was concluded where it was measured; `None` if nothing could be.
    pub sheet: Option<Sheet>,
    /// Takes and photos by their names in the session, with `/`.
    pub files: BTreeMap<String, Vec<u8>>,
}

/// Something that happened.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct LogEntry {
    /// When, in seconds since the page was opened; finite.
    pub at_s: f64,
    /// What.
    pub what: String,
}
