//! Jig profiles: `NAME.jig.json` and `NAME.takes/` beside it.

use std::fs::{self, File};
use std::io::{self, Seek};
use std::path::{Path, PathBuf};

use etcetera::BaseStrategy;
use farcone::recording::Take;
use farcone::session::{Condition, JigProfile, TakeFile};

use super::StoreError;
use super::files::{
    refuse_existing, replace_text, safe_file_name, sync_folder, write_new, write_new_text,
};
use super::folder::write_take;
use super::load::sha256;

const ENDING: &str = ".jig.json";
const TAKES_ENDING: &str = ".takes";

/// Where the profile of this name lives; a text with a slash in it or with the ending is a path already.
pub fn profile_path(name_or_path: &str) -> Result<PathBuf, StoreError> {
    if is_path(name_or_path) {
        return with_ending(name_or_path);
    }
    Ok(path_in(&jigs_folder()?, harmless(name_or_path)?))
}

fn is_path(text: &str) -> bool {
    text.contains(std::path::is_separator) || text.ends_with(ENDING)
}

fn with_ending(path: &str) -> Result<PathBuf, StoreError> {
    let stem = path.strip_suffix(ENDING).unwrap_or(path);
    let name = stem.rsplit(std::path::is_separator).next().unwrap_or(stem);
    // Folders are the caller's business; `.` and `..` are none that a file can have as its name.
    if matches!(name, "" | "." | "..") {
        return Err(StoreError::ProfileName {
            name: path.into(),
            instead: "my-jig".into(),
        });
    }
    Ok(format!("{stem}{ENDING}").into())
}

fn path_in(folder: &Path, name: &str) -> PathBuf {
    folder.join(format!("{name}{ENDING}"))
}

/// The name, if it is harmless as a file name on every system.
fn harmless(name: &str) -> Result<&str, StoreError> {
    let safe = safe_file_name(name);
    if safe == name {
        return Ok(name);
    }
    // What stands in for a driver without a usable label is no name for a jig.
    let instead = if name.chars().any(char::is_alphanumeric) {
        safe.replacen("driver-", "jig-", 1)
    } else {
        "my-jig".to_owned()
    };
    Err(StoreError::ProfileName {
        name: name.into(),
        instead,
    })
}

/// The folder of named profiles.
fn jigs_folder() -> Result<PathBuf, StoreError> {
    let strategy = etcetera::choose_base_strategy().map_err(|_| StoreError::NoHome)?;
    Ok(strategy.config_dir().join("farcone").join("jigs"))
}

/// The folder of takes beside a profile.
fn takes_folder(profile: &Path) -> PathBuf {
    let name = profile.file_name().unwrap_or_default().to_string_lossy();
    let stem = name.strip_suffix(ENDING).unwrap_or(&name);
    profile.with_file_name(format!("{stem}{TAKES_ENDING}"))
}

/// Reads a profile from [`profile_path`]. Its takes stay unread.
pub fn read_profile(path: &Path) -> Result<JigProfile, StoreError> {
    let text = fs::read_to_string(path).map_err(|source| match source.kind() {
        io::ErrorKind::NotFound => StoreError::NoProfile { path: path.into() },
        _ => StoreError::Open {
            path: path.into(),
            source,
        },
    })?;
    JigProfile::from_json(&text).map_err(|source| StoreError::Profile {
        path: path.into(),
        source,
    })
}

/// One of the named profiles.
#[derive(Debug)]
pub struct ListedProfile {
    /// What it is called with.
    pub name: String,
    /// Where it is.
    pub path: PathBuf,
    /// What is in it, or why that cannot be read.
    pub profile: Result<JigProfile, StoreError>,
}

/// All named profiles, by name. Without a folder there are none.
pub fn list_profiles() -> Result<Vec<ListedProfile>, StoreError> {
    list_in(&jigs_folder()?)
}

fn list_in(folder: &Path) -> Result<Vec<ListedProfile>, StoreError> {
    let failed = |source| StoreError::Read {
        path: folder.into(),
        source,
    };
    let entries = match fs::read_dir(folder) {
        Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(vec![]),
        entries => entries.map_err(failed)?,
    };
    let mut found = vec![];
    for entry in entries {
        let path = entry.map_err(failed)?.path();
        let name = path.file_name().unwrap_or_default().to_string_lossy();
        // What has another kind of name could not be called by it.
        if let Some(name) = name.strip_suffix(ENDING).filter(|n| harmless(n).is_ok()) {
            found.push(ListedProfile {
                name: name.to_owned(),
                profile: read_profile(&path),
                path: path.clone(),
            });
        }
    }
    found.sort_by(|a, b| a.name.cmp(&b.name));
    Ok(found)
}

/// A profile that is being written. Nothing appears under its name before it is finished; if it never is, nothing stays.
pub struct NewProfile {
    path: PathBuf,
    takes: tempfile::TempDir,
    has_takes: bool,
}

impl NewProfile {
    /// Starts a profile at a place from [`profile_path`], where nothing may be yet.
    pub fn create(path: &Path) -> Result<Self, StoreError> {
        let folder = match path.parent() {
            Some(parent) if !parent.as_os_str().is_empty() => parent,
            _ => Path::new("."),
        };
        refuse_existing(path)?;
        refuse_takes(path)?;
        let failed = |source| StoreError::Write {
            path: folder.into(),
            source,
        };
        fs::create_dir_all(folder).map_err(failed)?;
        let mut builder = tempfile::Builder::new();
        builder.prefix(".farcone-").suffix(".part");
        open_to_all(&mut builder);
        Ok(Self {
            path: path.into(),
            takes: builder.tempdir_in(folder).map_err(failed)?,
            has_takes: false,
        })
    }

    /// Writes a calibration take as 24-bit WAV and says how the profile describes it.
    pub fn add_take(
        &mut self,
        name: &str,
        condition: Condition,
        take: &Take,
    ) -> Result<TakeFile, StoreError> {
        let file = PathBuf::from(format!("{}.wav", safe_file_name(name)));
        let path = self.takes.path().join(&file);
        write_take(&path, take)?;
        self.has_takes = true;
        Ok(TakeFile {
            name: name.into(),
            condition,
            files: vec![file],
            channels: None,
            one_input: None,
            sha256: vec![hash_of(&path)?],
            remounted: false,
            level: None,
            aside: false,
        })
    }

    /// Gives takes and profile their names, the profile last.
    pub fn finish(self, profile: &JigProfile) -> Result<PathBuf, StoreError> {
        let Self {
            path,
            takes,
            has_takes,
        } = self;
        let text = profile.to_json().map_err(|source| StoreError::Profile {
            path: path.clone(),
            source,
        })?;
        refuse_existing(&path)?;
        refuse_takes(&path)?;
        if !has_takes {
            write_new_text(&path, &text)?;
            return Ok(path);
        }
        let folder = takes_folder(&path);
        let failed = |source| StoreError::Write {
            path: folder.clone(),
            source,
        };
        sync_folder(takes.path()).map_err(failed)?;
        fs::rename(takes.path(), &folder).map_err(failed)?;
        // It has another name now, and nothing is left to clean up under the old one.
        let _ = takes.keep();
        if let Err(error) = write_new_text(&path, &text) {
            // The folder was ours a moment ago. If it cannot be removed, the first error is the one to report.
            let _ = fs::remove_dir_all(&folder);
            return Err(error);
        }
        Ok(path)
    }
}

fn refuse_takes(profile: &Path) -> Result<(), StoreError> {
    let folder = takes_folder(profile);
    refuse_existing(&folder).map_err(|_| StoreError::TakesExist { folder })
}

/// Temporary folders are private by default; this one becomes an ordinary one, subject to the umask.
#[cfg(unix)]
fn open_to_all(builder: &mut tempfile::Builder<'_, '_>) {
    use std::os::unix::fs::PermissionsExt;
    builder.permissions(fs::Permissions::from_mode(0o777));
}

#[cfg(not(unix))]
fn open_to_all(_: &mut tempfile::Builder<'_, '_>) {}

/// Writes a profile of ours anew, with something that was measured later.
pub fn replace_profile(path: &Path, profile: &JigProfile) -> Result<(), StoreError> {
    let text = profile.to_json().map_err(|source| StoreError::Profile {
        path: path.into(),
        source,
    })?;
    replace_text(path, &text)
}

/// A profile's calibration takes where they are, as a session describes them, named behind those of its takes that are `there` already.
/// Their hashes are checked when they are read.
pub fn calibration_takes(
    profile_path: &Path,
    profile: &JigProfile,
    there: &[TakeFile],
) -> Result<Vec<TakeFile>, StoreError> {
    let folder = takes_folder(profile_path);
    // A session's own files are relative to its folder, these are not.
    let folder = std::path::absolute(&folder).map_err(|source| StoreError::Open {
        path: folder.clone(),
        source,
    })?;
    let mut takes: Vec<TakeFile> = vec![];
    for take in &profile.takes {
        let name = free_name(take.condition.as_str(), there, &takes);
        takes.push(TakeFile {
            name,
            files: take.files.iter().map(|file| folder.join(file)).collect(),
            ..take.clone()
        });
    }
    Ok(takes)
}

/// The first of `same-node-1`, `same-node-2`, … that no take has.
fn free_name(condition: &str, there: &[TakeFile], besides: &[TakeFile]) -> String {
    (1..)
        .map(|number| format!("{condition}-{number}"))
        .find(|name| there.iter().chain(besides).all(|other| other.name != *name))
        .unwrap_or_default()
}

/// Copies a profile's calibration takes into a session folder that the caller has locked, and says how `session.json`
/// describes them. They are named like the session's own, behind those of its takes that are `there` already. All are
/// checked against their hashes before the first is copied.
pub fn copy_calibration(
    profile_path: &Path,
    profile: &JigProfile,
    session_folder: &Path,
    there: &[TakeFile],
) -> Result<Vec<TakeFile>, StoreError> {
    let folder = takes_folder(profile_path);
    for take in &profile.takes {
        for (file, hash) in take.files.iter().zip(&take.sha256) {
            let path = folder.join(file);
            if hash_of(&path)? != *hash {
                return Err(StoreError::CalibrationChanged { path });
            }
        }
    }
    let mut copies: Vec<TakeFile> = vec![];
    for take in &profile.takes {
        let name = free_name(take.condition.as_str(), there, &copies);
        // With a slash on every system, so that a folder can be sent around. A profile's take has one file.
        let to = PathBuf::from(format!("takes/{name}.wav"));
        for (file, hash) in take.files.iter().zip(&take.sha256) {
            copy_checked(&folder.join(file), hash, &session_folder.join(&to))?;
        }
        copies.push(TakeFile {
            name,
            condition: take.condition,
            files: vec![to],
            channels: take.channels,
            one_input: take.one_input,
            sha256: take.sha256.clone(),
            remounted: false,
            level: None,
            aside: false,
        });
    }
    Ok(copies)
}

fn open(path: &Path) -> Result<File, StoreError> {
    File::open(path).map_err(|source| StoreError::Open {
        path: path.into(),
        source,
    })
}

fn hash_of(path: &Path) -> Result<String, StoreError> {
    sha256(&mut open(path)?, path)
}

/// Copies a file, unless the copy has another hash.
fn copy_checked(from: &Path, hash: &str, to: &Path) -> Result<(), StoreError> {
    let mut source = open(from)?;
    write_new(
        to,
        |copy| {
            let failed = |source| StoreError::Write {
                path: to.into(),
                source,
            };
            io::copy(&mut source, copy).map_err(failed)?;
            copy.rewind().map_err(failed)?;
            if sha256(copy, to)? == hash {
                Ok(())
            } else {
                Err(StoreError::CalibrationChanged { path: from.into() })
            }
        },
        |_, error| error,
    )
}

#[cfg(test)]
mod tests;
