//! Single files: written whole or not at all, and never over something else.

use std::fs::{self, File};
use std::io::{self, Write};
use std::path::{Path, PathBuf};

use tempfile::NamedTempFile;

use super::StoreError;

/// Refuses a path where something exists, before the work is done whose result would go there.
pub fn refuse_existing(path: &Path) -> Result<(), StoreError> {
    // Not `exists()`, which takes a dangling link for nothing.
    match path.symlink_metadata() {
        Ok(_) => Err(StoreError::Exists { path: path.into() }),
        Err(_) => Ok(()),
    }
}

/// A path in a folder where nothing is: the stem with the ending, or with a number between them.
pub fn free_path(folder: &Path, stem: &str, ending: &str) -> PathBuf {
    let mut path = folder.join(format!("{stem}{ending}"));
    let mut number = 2;
    while refuse_existing(&path).is_err() {
        path = folder.join(format!("{stem}-{number}{ending}"));
        number += 1;
    }
    path
}

/// Writes a new file: `fill` writes into a temporary file beside it, which gets its name once everything is on the disk.
pub fn write_new<E>(
    path: &Path,
    fill: impl FnOnce(&mut File) -> Result<(), E>,
    describe: impl FnOnce(PathBuf, E) -> StoreError,
) -> Result<(), StoreError> {
    refuse_existing(path)?;
    let failed = |source| StoreError::Write {
        path: path.into(),
        source,
    };
    let folder = folder_of(path);
    if !folder.is_dir() {
        return Err(StoreError::NoFolder {
            path: path.into(),
            folder: folder.into(),
        });
    }
    let mut file = part_file(folder).map_err(failed)?;
    fill(file.as_file_mut()).map_err(|error| describe(path.into(), error))?;
    file.as_file().sync_all().map_err(failed)?;
    file.persist_noclobber(path)
        .map_err(|error| match error.error.kind() {
            io::ErrorKind::AlreadyExists => StoreError::Exists { path: path.into() },
            _ => failed(error.error),
        })?;
    sync_folder(folder).map_err(failed)
}

/// Writes a text file of ours that changes: the new text is whole on the disk before it takes the old one's name.
pub fn replace_text(path: &Path, text: &str) -> Result<(), StoreError> {
    let failed = |source| StoreError::Write {
        path: path.into(),
        source,
    };
    let folder = folder_of(path);
    let mut file = part_file(folder).map_err(failed)?;
    file.write_all(text.as_bytes()).map_err(failed)?;
    file.as_file().sync_all().map_err(failed)?;
    file.persist(path).map_err(|error| failed(error.error))?;
    sync_folder(folder).map_err(failed)
}

pub(super) fn folder_of(path: &Path) -> &Path {
    match path.parent() {
        Some(parent) if !parent.as_os_str().is_empty() => parent,
        _ => Path::new("."),
    }
}

/// A temporary file, which is deleted unless it gets a name.
fn part_file(folder: &Path) -> io::Result<NamedTempFile> {
    let mut builder = tempfile::Builder::new();
    builder.prefix(".farcone-").suffix(".part");
    readable_by_all(&mut builder);
    builder.tempfile_in(folder)
}

/// Makes a folder for results, where there is none.
pub fn make_folder(folder: &Path) -> Result<(), StoreError> {
    fs::create_dir_all(folder).map_err(|source| StoreError::Write {
        path: folder.into(),
        source,
    })
}

/// Writes a new text file.
pub fn write_new_text(path: &Path, text: &str) -> Result<(), StoreError> {
    write_new(
        path,
        |file| file.write_all(text.as_bytes()),
        |path, source| StoreError::Write { path, source },
    )
}

/// Temporary files are private by default; a result is an ordinary file, subject to the umask.
#[cfg(unix)]
fn readable_by_all(builder: &mut tempfile::Builder<'_, '_>) {
    use std::os::unix::fs::PermissionsExt;
    builder.permissions(fs::Permissions::from_mode(0o666));
}

#[cfg(not(unix))]
fn readable_by_all(_: &mut tempfile::Builder<'_, '_>) {}

/// A new name is only safe from a power cut once the folder itself is on the disk.
#[cfg(unix)]
pub(super) fn sync_folder(folder: &Path) -> io::Result<()> {
    File::open(folder)?.sync_all()
}

/// Elsewhere folders cannot be synchronised.
#[cfg(not(unix))]
pub(super) fn sync_folder(_: &Path) -> io::Result<()> {
    Ok(())
}

/// Longest file name made of a label, in bytes: with an extension it stays far below the 255 that file systems allow.
const LONGEST_NAME: usize = 100;
/// Names that Windows keeps for devices, whatever their extension.
const DEVICES: [&str; 6] = ["con", "prn", "aux", "nul", "com", "lpt"];

/// A file name, without extension, that resembles a label and is harmless on every system.
pub fn safe_file_name(label: &str) -> String {
    let mut name = String::new();
    for c in label.chars() {
        if name.len() + c.len_utf8() > LONGEST_NAME {
            break;
        }
        match c {
            '.' | '_' => name.push(c),
            c if c.is_alphanumeric() => name.push(c),
            _ if name.ends_with('-') => {}
            _ => name.push('-'),
        }
    }
    let name = name.trim_matches(['-', '.', '_']);
    let stem = name.split('.').next().unwrap_or_default().to_lowercase();
    let is_device = DEVICES.contains(&stem.trim_end_matches(|c: char| c.is_ascii_digit()));
    if name.is_empty() || is_device {
        format!("driver-{name}").trim_end_matches('-').to_owned()
    } else {
        name.to_owned()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn labels_become_harmless_names() {
        for (label, name) in [
            ("Tidepool 3", "Tidepool-3"),
            ("../../etc/passwd", "etc-passwd"),
            ("a/b\\c:d*e?f\"g<h>i|j\n", "a-b-c-d-e-f-g-h-i-j"),
            ("Größe 5½\"", "Größe-5½"),
            ("", "driver"),
            ("...", "driver"),
            ("NUL", "driver-NUL"),
            ("com1.x", "driver-com1.x"),
            ("Comet", "Comet"),
        ] {
            assert_eq!(safe_file_name(label), name, "{label}");
        }
        assert!(safe_file_name(&"ä".repeat(500)).len() <= LONGEST_NAME);
    }

    #[test]
    fn a_file_that_fails_half_way_leaves_nothing_behind() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("x.txt");
        let result = write_new(
            &path,
            |file| {
                file.write_all(b"half")?;
                Err(io::Error::other("no more"))
            },
            |path, source| StoreError::Write { path, source },
        );
        assert!(matches!(result, Err(StoreError::Write { .. })));
        assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 0);
    }

    #[test]
    fn nothing_is_overwritten() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("x.txt");
        write_new_text(&path, "first").unwrap();
        assert!(matches!(
            write_new_text(&path, "second"),
            Err(StoreError::Exists { .. })
        ));
        assert_eq!(fs::read_to_string(&path).unwrap(), "first");
    }
}
