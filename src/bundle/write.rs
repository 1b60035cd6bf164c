//! From a bundle to bytes. Equal bundles give equal bytes.

use std::io::{Cursor, Write};

use zip::write::SimpleFileOptions;
use zip::{CompressionMethod, DateTime, ZipWriter};

use super::check::check;
use super::manifest::{Listed, Manifest};
use super::names::in_order;
use super::{BUNDLE_FILE_NAME, Bundle, BundleError, MOST_BYTES, SHEET_FILE_NAME};
use crate::session::SESSION_FILE_NAME;

/// Ordinary files, for whoever unpacks them by hand.
const PERMISSIONS: u32 = 0o644;

/// Writes a bundle as a ZIP file: the manifest, the session, the sheet, takes, photos.
///
/// # Errors
/// [`BundleError`] for a bundle that could not be read again: a file of a take that is missing, a name that is not allowed, too many bytes.
pub fn write(bundle: &Bundle) -> Result<Vec<u8>, BundleError> {
    check(bundle)?;
    let version = || bundle.version.clone();
    let session = bundle
        .session
        .to_json()
        .map_err(|source| BundleError::Session {
            version: version(),
            source,
        })?;
    let sheet = match &bundle.sheet {
        None => None,
        Some(sheet) => Some(sheet.to_json().map_err(|source| BundleError::Sheet {
            version: version(),
            source,
        })?),
    };
    let mut entries: Vec<(&str, &[u8])> = vec![(SESSION_FILE_NAME, session.as_bytes())];
    entries.extend(sheet.iter().map(|text| (SHEET_FILE_NAME, text.as_bytes())));
    for file in in_order(bundle.files.keys()) {
        if let Some(bytes) = bundle.files.get(file) {
            entries.push((file, bytes));
        }
    }
    let mut manifest = Manifest::of(bundle);
    manifest.files = entries
        .iter()
        .map(|(path, bytes)| Listed::of(path, bytes))
        .collect();
    manifest.files.sort_by(|a, b| a.path.cmp(&b.path));
    let manifest = manifest.to_json()?;
    entries.insert(0, (BUNDLE_FILE_NAME, manifest.as_bytes()));
    zipped(&entries)
}

fn zipped(entries: &[(&str, &[u8])]) -> Result<Vec<u8>, BundleError> {
    let n_bytes: usize = entries.iter().map(|(_, bytes)| bytes.len()).sum();
    let too_large = |n_bytes: usize| BundleError::TooLarge {
        n_bytes: n_bytes as u64,
    };
    if n_bytes > MOST_BYTES {
        return Err(too_large(n_bytes));
    }
    let failed = |error: &dyn std::fmt::Display| BundleError::Write {
        reason: error.to_string(),
    };
    // One day for all bundles: when something was measured is none of the ZIP's business.
    let options = SimpleFileOptions::default()
        .compression_method(CompressionMethod::Stored)
        .last_modified_time(DateTime::default())
        .unix_permissions(PERMISSIONS);
    let mut zip = ZipWriter::new(Cursor::new(Vec::with_capacity(n_bytes)));
    for (name, bytes) in entries {
        zip.start_file(*name, options).map_err(|e| failed(&e))?;
        zip.write_all(bytes).map_err(|e| failed(&e))?;
    }
    let bytes = zip.finish().map_err(|e| failed(&e))?.into_inner();
    if bytes.len() > MOST_BYTES {
        return Err(too_large(bytes.len()));
    }
    Ok(bytes)
}
