//! Photos of the session, embedded.

use base64::Engine;

use super::Options;
use super::markup::{Level, escaped, section};
use crate::sheet::Sheet;

/// A photo that somebody found for a sheet.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PhotoFile {
    /// SHA-256 of the file, as the sheet has it.
    pub sha256: String,
    /// The file.
    pub bytes: Vec<u8>,
}

/// The kind of picture, by its first bytes; `None` for what is none that every browser shows.
pub fn picture_kind(bytes: &[u8]) -> Option<&'static str> {
    match bytes {
        [0xff, 0xd8, 0xff, ..] => Some("image/jpeg"),
        [0x89, b'P', b'N', b'G', ..] => Some("image/png"),
        [
            b'R',
            b'I',
            b'F',
            b'F',
            _,
            _,
            _,
            _,
            b'W',
            b'E',
            b'B',
            b'P',
            ..,
        ] => Some("image/webp"),
        _ => None,
    }
}

/// The photos that were found, and which were not.
pub fn gallery(sheet: &Sheet, options: &Options, id: &str, level: Level) -> String {
    let photos = &sheet.origin.photos;
    if photos.is_empty() {
        return String::new();
    }
    let mut body = String::new();
    let mut elsewhere = vec![];
    for photo in photos {
        let file = options
            .photos
            .iter()
            .find(|file| photo.sha256.as_ref() == Some(&file.sha256));
        match file.and_then(|file| Some((picture_kind(&file.bytes)?, &file.bytes))) {
            Some((kind, bytes)) => body.push_str(&format!(
                "<figure class=\"photo\"><img alt=\"Photo: {of}\" src=\"data:{kind};base64,{}\"><figcaption>{of}</figcaption></figure>\n",
                base64::engine::general_purpose::STANDARD.encode(bytes),
                of = escaped(&photo.of),
            )),
            None => elsewhere.push(format!("{} ({})", photo.of, photo.file)),
        }
    }
    if !elsewhere.is_empty() {
        body.push_str(&super::markup::remark(&format!(
            "Not in this page: {}. To put them in: farcone report … --photos FOLDER",
            elsewhere.join(", ")
        )));
    }
    section(&format!("{id}photos"), "Photos", level, &body)
}
