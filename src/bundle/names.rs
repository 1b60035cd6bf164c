//! The names that files in a bundle may have. They come from a stranger and become paths.

use crate::quantity::plain_line;
use crate::session::SESSION_FILE_NAME;

/// The manifest.
pub const BUNDLE_FILE_NAME: &str = "bundle.json";
/// The sheet that was concluded where it was measured.
pub const SHEET_FILE_NAME: &str = "sheet.driver.json";

/// The folders of takes and photos, in the order in which they are written.
const FOLDERS: [&str; 2] = ["takes/", "photos/"];
/// Longest name inside a folder: file systems allow 255 bytes.
const LONGEST_NAME: usize = 120;
/// Names that Windows keeps for devices, whatever stands behind a dot.
const DEVICES: [&str; 6] = ["con", "prn", "aux", "nul", "com", "lpt"];

/// Whether a file is a take or a photo: one folder deep, and a name that is harmless on every system.
pub(super) fn is_data(file: &str) -> bool {
    FOLDERS
        .iter()
        .filter_map(|folder| file.strip_prefix(folder))
        .any(is_harmless)
}

/// Only ASCII, since systems write other letters in more than one way; no hidden files, nothing that ends in a dot.
fn is_harmless(name: &str) -> bool {
    let allowed = |c: char| c.is_ascii_alphanumeric() || matches!(c, '.' | '-' | '_');
    let at_ends = |c: Option<char>| c.is_some_and(|c| c.is_ascii_alphanumeric());
    let stem = name.split('.').next().unwrap_or_default();
    let device = stem
        .trim_end_matches(|c: char| c.is_ascii_digit())
        .to_ascii_lowercase();
    name.len() <= LONGEST_NAME
        && name.chars().all(allowed)
        && at_ends(name.chars().next())
        && at_ends(name.chars().next_back())
        && !DEVICES.contains(&device.as_str())
}

/// Whether a bundle may hold a file of this name at all.
pub(super) fn is_known(file: &str) -> bool {
    matches!(file, BUNDLE_FILE_NAME | SESSION_FILE_NAME | SHEET_FILE_NAME) || is_data(file)
}

/// Takes before photos, each by name.
pub(super) fn in_order<'a>(files: impl Iterator<Item = &'a String>) -> Vec<&'a String> {
    let mut files: Vec<&String> = files.collect();
    let folder = |file: &str| FOLDERS.iter().position(|folder| file.starts_with(folder));
    files.sort_by_key(|file| (folder(file), *file));
    files
}

/// Somebody else's name, as it may stand in a message.
pub(super) fn shown(name: &[u8]) -> String {
    const MOST: usize = 80;
    plain_line(&String::from_utf8_lossy(name))
        .chars()
        .take(MOST)
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_harmless_names_are_data() {
        for good in ["takes/free-air-1.wav", "photos/wiring.jpg", "takes/a_b.S1P"] {
            assert!(is_data(good), "{good}");
        }
        for bad in [
            "takes/",
            "takes/../x.wav",
            "takes/a/b.wav",
            "/takes/a.wav",
            "takes\\a.wav",
            "takes/.hidden",
            "takes/a.",
            "takes/a b.wav",
            "takes/größe.wav",
            "takes/NUL.wav",
            "takes/com1",
            "photos/C:a.jpg",
            "other/a.wav",
            "a.wav",
            "",
        ] {
            assert!(!is_data(bad), "{bad}");
        }
        assert!(!is_data(&format!("takes/{}", "a".repeat(200))));
    }

    #[test]
    fn takes_come_before_photos() {
        let files = ["photos/a.jpg", "takes/b.wav", "takes/a.wav"].map(String::from);
        let order: Vec<&str> = in_order(files.iter())
            .into_iter()
            .map(String::as_str)
            .collect();
        assert_eq!(order, ["takes/a.wav", "takes/b.wav", "photos/a.jpg"]);
    }
}
