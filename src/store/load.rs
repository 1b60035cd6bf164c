//! Takes from disk.

use std::fs::{self, File};
use std::io::{self, BufReader, Read, Seek};
use std::path::{Path, PathBuf};

use farcone::faults::Played;
use farcone::finding::Finding;
use farcone::impedance::table::TableFormat;
use farcone::progress::{Continue, Watcher};
use farcone::recording::{RecordingError, join_mono, read_take, read_wav};
use farcone::session::{
    Data, OneInputTake, Photo, SESSION_FILE_NAME, Session, SessionFile, SessionTake, TakeFile,
};
use farcone::sheet::Sheet;
use farcone::signal::Period;
use sha2::{Digest, Sha256};

use super::StoreError;
use super::files::folder_of;

/// Whether a file is an impedance table, by its name.
pub fn is_table(path: &Path) -> bool {
    table_format(path).is_some()
}

fn table_format(path: &Path) -> Option<TableFormat> {
    TableFormat::from_name(&path.file_name()?.to_string_lossy())
}

/// Reads a sheet.
pub fn read_sheet(path: &Path) -> Result<Sheet, StoreError> {
    let text = fs::read_to_string(path).map_err(|source| match source.kind() {
        io::ErrorKind::NotFound => StoreError::Missing { path: path.into() },
        io::ErrorKind::InvalidData => StoreError::NoText { path: path.into() },
        _ => StoreError::Open {
            path: path.into(),
            source,
        },
    })?;
    if path
        .file_name()
        .is_some_and(|name| name == SESSION_FILE_NAME)
    {
        return Err(StoreError::SessionForSheet {
            path: path.into(),
            folder: folder_of(path).into(),
        });
    }
    Sheet::from_json(&text).map_err(|source| StoreError::Sheet {
        path: path.into(),
        source,
    })
}

/// Reads the samples or tables of a session whose file names are relative to `folder`.
pub fn load(
    session: SessionFile,
    folder: &Path,
    watcher: &mut dyn Watcher,
) -> Result<Session, StoreError> {
    let n_takes = session.takes.len() as f64;
    let mut takes = Vec::with_capacity(session.takes.len());
    for (i, take) in session.takes.iter().enumerate() {
        // Whoever wants to stop is asked again, with an error of its own, by the analysis.
        let stage = format!("reading {}", take.name);
        if watcher.at(&stage, i as f64 / n_takes) == Continue::No {
            break;
        }
        takes.push(load_take(take, folder)?);
    }
    let mut session = session.with_data(takes);
    for photo in &mut session.photos {
        hash_photo(photo, folder)?;
    }
    Ok(session)
}

/// Takes a photo's hash, and compares it with the one that was noted.
fn hash_photo(photo: &mut Photo, folder: &Path) -> Result<(), StoreError> {
    let path = folder.join(&photo.file);
    let mut file = File::open(&path).map_err(|source| StoreError::Open {
        path: path.clone(),
        source,
    })?;
    let hash = sha256(&mut file, &path)?;
    if photo.sha256.as_ref().is_some_and(|noted| *noted != hash) {
        let take = format!("photo of {}", photo.of);
        return Err(StoreError::Changed { path, take });
    }
    photo.sha256 = Some(hash);
    Ok(())
}

/// Reads the stimulus that was played: the first channel of a WAV file.
pub fn read_played(path: &Path) -> Result<Played, StoreError> {
    let file = File::open(path).map_err(|source| StoreError::Open {
        path: path.into(),
        source,
    })?;
    let wrong = |source| StoreError::Take {
        path: path.into(),
        source,
    };
    let (audio, _) = read_wav(BufReader::new(file)).map_err(wrong)?;
    let samples = audio
        .channel(0)
        .ok_or_else(|| wrong(farcone::recording::RecordingError::Empty))?;
    Ok(Played {
        samples: samples.to_vec(),
        sample_rate_hz: audio.sample_rate_hz(),
    })
}

fn load_take(take: &TakeFile, folder: &Path) -> Result<SessionTake, StoreError> {
    let paths: Vec<PathBuf> = take.files.iter().map(|file| folder.join(file)).collect();
    let mut hashes = Vec::new();
    let mut files = Vec::new();
    for (i, path) in paths.iter().enumerate() {
        let mut file = File::open(path).map_err(|source| StoreError::Open {
            path: path.clone(),
            source,
        })?;
        // One open file for both passes, so that the hash is that of the samples.
        let hash = sha256(&mut file, path)?;
        if take.sha256.get(i).is_some_and(|stored| *stored != hash) {
            return Err(StoreError::Changed {
                path: path.clone(),
                take: take.name.clone(),
            });
        }
        file.rewind().map_err(|source| StoreError::Read {
            path: path.clone(),
            source,
        })?;
        hashes.push(hash);
        files.push((path, file));
    }
    let (data, findings) = data(take, files)?;
    Ok(SessionTake {
        name: take.name.clone(),
        condition: take.condition,
        data,
        findings: findings
            .into_iter()
            .map(|finding| finding.about(take.name.clone()))
            .collect(),
        sha256: hashes,
        remounted: take.remounted,
        level: take.level,
        aside: take.aside,
    })
}

fn data(take: &TakeFile, files: Vec<(&PathBuf, File)>) -> Result<(Data, Vec<Finding>), StoreError> {
    let wrong = |path: &Path, source| StoreError::Take {
        path: path.into(),
        source,
    };
    let mut files = files.into_iter();
    match (files.next(), files.next()) {
        (Some((source_path, source)), Some((driver_path, driver))) => {
            if let Some(path) = [source_path, driver_path]
                .into_iter()
                .find(|path| is_table(path))
            {
                return Err(StoreError::TableInPair { path: path.clone() });
            }
            let (source, mut findings) =
                read_wav(BufReader::new(source)).map_err(|error| wrong(source_path, error))?;
            let (driver, of_driver) =
                read_wav(BufReader::new(driver)).map_err(|error| wrong(driver_path, error))?;
            findings.extend(of_driver);
            let both = format!("{},{}", source_path.display(), driver_path.display());
            let joined =
                join_mono(source, driver).map_err(|error| wrong(Path::new(&both), error))?;
            Ok((Data::Recording(joined), findings))
        }
        (Some((path, file)), None) => match (take.one_input, table_format(path)) {
            (Some(period), _) => one_input(take, period, path, file),
            (None, Some(format)) => {
                let curve =
                    format
                        .read(BufReader::new(file))
                        .map_err(|source| StoreError::Table {
                            path: path.clone(),
                            source,
                        })?;
                Ok((Data::Table(curve), Vec::new()))
            }
            (None, None) => {
                let (take, findings) = read_take(BufReader::new(file), take.channels)
                    .map_err(|error| wrong(path, error))?;
                Ok((Data::Recording(take), findings))
            }
        },
        (None, _) => Err(wrong(
            Path::new(&take.name),
            farcone::recording::RecordingError::Empty,
        )),
    }
}

/// The channel of a file that one input recorded.
fn one_input(
    take: &TakeFile,
    period: Period,
    path: &Path,
    file: File,
) -> Result<(Data, Vec<Finding>), StoreError> {
    let wrong = |source| StoreError::Take {
        path: path.into(),
        source,
    };
    let (audio, findings) = read_wav(BufReader::new(file)).map_err(wrong)?;
    let index = take.channels.map_or(0, |pick| pick.source());
    let samples = audio.channel(index).ok_or_else(|| {
        wrong(RecordingError::NoSuchChannel {
            channel: index + 1,
            n_channels: audio.n_channels(),
        })
    })?;
    let data = OneInputTake {
        samples: samples.to_vec(),
        sample_rate_hz: audio.sample_rate_hz(),
        period,
    };
    Ok((Data::OneInput(data), findings))
}

/// The files of a folder, not of those in it, whose SHA-256 is wanted: path, hash and content.
pub fn read_hashed(
    folder: &Path,
    wanted: impl Fn(&str) -> bool,
) -> Result<Vec<(PathBuf, String, Vec<u8>)>, StoreError> {
    let failed = |path: &Path| {
        let path = path.to_owned();
        move |source| StoreError::Read { path, source }
    };
    let mut found = vec![];
    for entry in fs::read_dir(folder).map_err(failed(folder))? {
        let path = entry.map_err(failed(folder))?.path();
        if !path.is_file() {
            continue;
        }
        let bytes = fs::read(&path).map_err(failed(&path))?;
        let hash = sha256(&mut bytes.as_slice(), &path)?;
        if wanted(&hash) {
            found.push((path, hash, bytes));
        }
    }
    found.sort();
    Ok(found)
}

/// SHA-256 of what is left in a reader, as lower-case hexadecimal.
pub(super) fn sha256(reader: &mut impl Read, path: &Path) -> Result<String, StoreError> {
    let mut hasher = Sha256::new();
    let mut block = vec![0; 1 << 16];
    loop {
        let n = reader.read(&mut block).map_err(|source| StoreError::Read {
            path: path.into(),
            source,
        })?;
        if n == 0 {
            break;
        }
        hasher.update(&block[..n]);
    }
    let digest = hasher.finalize();
    Ok(digest.iter().map(|byte| format!("{byte:02x}")).collect())
}
