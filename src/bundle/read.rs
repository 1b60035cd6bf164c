//! From bytes to a bundle. They come from a stranger: nothing is believed that was not checked.

use std::collections::BTreeMap;
use std::io::{Cursor, Read};

use zip::read::{ZipFile, read_zipfile_from_stream};
use zip::result::ZipError;
use zip::{CompressionMethod, ZipArchive};

use super::check::check;
use super::manifest::Manifest;
use super::names::{is_known, shown};
use super::{BUNDLE_FILE_NAME, Bundle, BundleError, MOST_BYTES, SHEET_FILE_NAME};
use crate::session::{SESSION_FILE_NAME, SessionFile};
use crate::sheet::Sheet;

/// Most files in a bundle: a session has some ten takes and three photos.
const MOST_FILES: usize = 1000;
/// What every ZIP file with something in it begins with: the signature of a local file header.
const SIGNATURE: &[u8] = b"PK\x03\x04";

/// A bundle with its texts as they arrived.
#[derive(Clone, Debug, PartialEq)]
pub struct Unpacked {
    /// What they say.
    pub bundle: Bundle,
    /// The texts.
    pub texts: Texts,
}

/// The texts of a bundle, unchanged, so that the hashes in the manifest stay true of them.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Texts {
    /// `bundle.json`.
    pub manifest: String,
    /// `session.json`.
    pub session: String,
    /// `sheet.driver.json`; `None` if nothing was concluded.
    pub sheet: Option<String>,
}

/// Reads and verifies a bundle.
///
/// # Errors
/// See [`BundleError`].
pub fn read(bytes: &[u8]) -> Result<Bundle, BundleError> {
    unpack(bytes).map(|unpacked| unpacked.bundle)
}

/// Reads and verifies a bundle, and keeps its texts as they are.
///
/// # Errors
/// See [`BundleError`].
pub fn unpack(bytes: &[u8]) -> Result<Unpacked, BundleError> {
    let mut files = entries(bytes)?;
    let manifest_text = text(&mut files, BUNDLE_FILE_NAME)?;
    let manifest = Manifest::from_json(&manifest_text)?;
    manifest.verify(&files)?;
    let session_text = text(&mut files, SESSION_FILE_NAME)?;
    let sheet_text = match files.contains_key(SHEET_FILE_NAME) {
        true => Some(text(&mut files, SHEET_FILE_NAME)?),
        false => None,
    };
    let version = || shown(manifest.version.as_bytes());
    let session = SessionFile::from_json(&session_text).map_err(|source| BundleError::Session {
        version: version(),
        source,
    })?;
    let sheet = match &sheet_text {
        None => None,
        Some(text) => Some(Sheet::from_json(text).map_err(|source| BundleError::Sheet {
            version: version(),
            source,
        })?),
    };
    let bundle = Bundle {
        kit: manifest.kit,
        driver: manifest.driver,
        version: manifest.version,
        browser: manifest.browser,
        log: manifest.log,
        session,
        sheet,
        files,
    };
    check(&bundle)?;
    Ok(Unpacked {
        bundle,
        texts: Texts {
            manifest: manifest_text,
            session: session_text,
            sheet: sheet_text,
        },
    })
}

/// Takes a text out of the files.
fn text(files: &mut BTreeMap<String, Vec<u8>>, file: &str) -> Result<String, BundleError> {
    let bytes = files.remove(file).ok_or_else(|| BundleError::Missing {
        file: file.to_owned(),
    })?;
    String::from_utf8(bytes).map_err(|_| BundleError::NotText {
        file: file.to_owned(),
    })
}

/// All files, read from the front, where they are one behind the other and cannot overlap; then the directory at the end has
/// to name the same ones. Programs differ in which of the two they believe.
fn entries(bytes: &[u8]) -> Result<BTreeMap<String, Vec<u8>>, BundleError> {
    if bytes.len() > MOST_BYTES {
        return Err(BundleError::TooLarge {
            n_bytes: bytes.len() as u64,
        });
    }
    if !bytes.starts_with(SIGNATURE) {
        return Err(BundleError::NotZip);
    }
    let mut reader = Cursor::new(bytes);
    let mut files = BTreeMap::new();
    let mut named = vec![];
    loop {
        let at = reader.position();
        let Some(mut entry) = read_zipfile_from_stream(&mut reader).map_err(damaged)? else {
            break;
        };
        let name = name(&entry)?;
        if named.len() == MOST_FILES {
            return Err(damage("there are more files in it than in any bundle"));
        }
        let content = content(&mut entry, &name, bytes.len())?;
        named.push(Named {
            name: name.clone(),
            at,
            crc32: entry.crc32(),
            n_bytes: entry.size(),
        });
        if files.insert(name.clone(), content).is_some() {
            return Err(BundleError::Twice { file: name });
        }
    }
    directory(bytes, &named)?;
    Ok(files)
}

fn name<R: Read>(entry: &ZipFile<'_, R>) -> Result<String, BundleError> {
    match std::str::from_utf8(entry.name_raw()) {
        Ok(name) if is_known(name) => Ok(name.to_owned()),
        _ => Err(BundleError::Name {
            file: shown(entry.name_raw()),
        }),
    }
}

/// What is stored takes as much room as it says, so what a file claims can be held against what arrived.
fn content<R: Read>(
    entry: &mut ZipFile<'_, R>,
    name: &str,
    n_arrived: usize,
) -> Result<Vec<u8>, BundleError> {
    let repacked = |how: String| BundleError::Repacked {
        file: name.to_owned(),
        how,
    };
    if entry.compression() != CompressionMethod::Stored {
        return Err(repacked("compressed".into()));
    }
    if entry.encrypted() {
        return Err(repacked("encrypted".into()));
    }
    let n_bytes = entry.size();
    if n_bytes != entry.compressed_size() || n_bytes > n_arrived as u64 {
        return Err(damage(&format!("\"{name}\" is cut off")));
    }
    let mut content = vec![];
    entry
        .take(n_bytes + 1)
        .read_to_end(&mut content)
        .map_err(|error| damage(&format!("\"{name}\": {error}")))?;
    if content.len() as u64 != n_bytes {
        return Err(damage(&format!("\"{name}\" is cut off")));
    }
    Ok(content)
}

/// An entry as it was met from the front.
struct Named {
    name: String,
    at: u64,
    crc32: u32,
    n_bytes: u64,
}

/// The directory at the end has to name the same files in the same order.
fn directory(bytes: &[u8], named: &[Named]) -> Result<(), BundleError> {
    let mut archive = ZipArchive::new(Cursor::new(bytes)).map_err(damaged)?;
    if archive.len() != named.len() {
        return Err(damage(
            "its directory does not name the files that are in it",
        ));
    }
    for (i, met) in named.iter().enumerate() {
        let entry = archive.by_index_raw(i).map_err(damaged)?;
        let same = entry.name_raw() == met.name.as_bytes()
            && entry.header_start() == met.at
            && entry.crc32() == met.crc32
            && entry.size() == met.n_bytes
            && entry.compression() == CompressionMethod::Stored;
        if !same {
            return Err(damage(&format!(
                "its directory does not say of \"{}\" what is in it",
                met.name
            )));
        }
    }
    Ok(())
}

fn damage(reason: &str) -> BundleError {
    BundleError::Damaged {
        reason: reason.to_owned(),
    }
}

fn damaged(error: ZipError) -> BundleError {
    BundleError::Damaged {
        reason: error.to_string(),
    }
}
