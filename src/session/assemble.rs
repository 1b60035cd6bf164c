//! Takes and photos from readers, whoever holds them: a folder on disk and files in memory are read by the same rules.

use std::collections::BTreeMap;
use std::io::{self, BufReader, Cursor, Read, Seek};
use std::path::{Component, Path, PathBuf};

use sha2::{Digest, Sha256};

use super::{
    Data, OneInputTake, Photo, SESSION_FILE_NAME, Session, SessionFile, SessionTake, TakeFile,
};
use crate::finding::Finding;
use crate::impedance::table::{TableError, TableFormat};
use crate::progress::{Continue, Watcher};
use crate::recording::{RecordingError, join_mono, read_take, read_wav};
use crate::signal::Period;

/// Why a session's files do not make a session. Files are named as `session.json` names them.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum AssembleError {
    /// The file is not there, or may not be read.
    #[error("{}: cannot be opened: {source}", file.display())]
    Open {
        /// The file.
        file: PathBuf,
        /// What whoever holds the files said.
        source: io::Error,
    },
    /// Reading broke off.
    #[error("{}: cannot be read: {source}", file.display())]
    Read {
        /// The file.
        file: PathBuf,
        /// What the reader said.
        source: io::Error,
    },
    /// The recording is none, or is broken.
    #[error("{}: {source}", file.display())]
    Take {
        /// The file.
        file: PathBuf,
        /// What is wrong with it.
        source: RecordingError,
    },
    /// Two mono files do not belong together.
    #[error("{},{}: {source}", source_file.display(), driver_file.display())]
    Pair {
        /// The file of the source channel.
        source_file: PathBuf,
        /// The file of the driver channel.
        driver_file: PathBuf,
        /// What does not fit.
        source: RecordingError,
    },
    /// A take without a file.
    #[error(
        "the take \"{take}\" names no file; it needs one, or the two mono files of one recording"
    )]
    NoFile {
        /// The take.
        take: String,
    },
    /// The impedance table is none, or is broken.
    #[error("{}: {source}", file.display())]
    Table {
        /// The file.
        file: PathBuf,
        /// What is wrong with it.
        source: TableError,
    },
    /// A table where a mono recording was expected.
    #[error("{}: a pair of mono recordings was expected here, not an impedance table; give a table on its own", file.display())]
    TableInPair {
        /// The table.
        file: PathBuf,
    },
    /// The file is another one than was noted.
    #[error(
        "{}: this is not the file that was recorded (its SHA-256 differs from the one in {SESSION_FILE_NAME}); put the \
         original back, or, if the change was meant, take the \"sha256\" of \"{of}\" out of {SESSION_FILE_NAME}",
        file.display()
    )]
    Changed {
        /// The file.
        file: PathBuf,
        /// Whose file it is: a take's name, or what a photo shows.
        of: String,
    },
}

/// Reads the takes of a session, and checks every file against the SHA-256 that was noted for it.
///
/// `open` is asked for each file by the name that the session has for it, and returns a reader at its start. A file is read twice, once for its hash and
/// once for its samples, and never held as a whole. If the watcher wants to stop, the remaining takes are left unread: the
/// analysis asks it again, and has an error for that.
///
/// # Errors
/// See [`AssembleError`].
pub fn assemble<R: Read + Seek>(
    session: SessionFile,
    mut open: impl FnMut(&Path) -> io::Result<R>,
    watcher: &mut dyn Watcher,
) -> Result<Session, AssembleError> {
    let n_takes = session.takes.len() as f64;
    let mut takes = Vec::with_capacity(session.takes.len());
    for (i, take) in session.takes.iter().enumerate() {
        let stage = format!("reading {}", take.name);
        if watcher.at(&stage, i as f64 / n_takes) == Continue::No {
            break;
        }
        takes.push(assemble_take(take, &mut open)?);
    }
    let mut session = session.with_data(takes);
    for photo in &mut session.photos {
        hash_photo(photo, &mut open)?;
    }
    Ok(session)
}

/// As [`assemble`], from files in memory. Their names are as in `session.json`, with `/` between folder and file.
///
/// # Errors
/// As [`assemble`]; a file that is not among `files` is [`AssembleError::Open`].
pub fn assemble_in_memory(
    session: SessionFile,
    files: &BTreeMap<String, Vec<u8>>,
    watcher: &mut dyn Watcher,
) -> Result<Session, AssembleError> {
    assemble(session, |file| in_memory(files, file), watcher)
}

fn in_memory<'a>(
    files: &'a BTreeMap<String, Vec<u8>>,
    file: &Path,
) -> io::Result<Cursor<&'a [u8]>> {
    file_key(file)
        .and_then(|key| files.get(&key))
        .map(|bytes| Cursor::new(bytes.as_slice()))
        .ok_or_else(|| io::Error::new(io::ErrorKind::NotFound, "there is no such file here"))
}

/// A path inside a session as text with `/` on every system and without `.`; `None` for one that leads out of it, and for
/// one that is not UTF-8.
pub fn file_key(file: &Path) -> Option<String> {
    let mut key = String::new();
    for part in file.components() {
        match part {
            Component::CurDir => {}
            Component::Normal(name) => {
                if !key.is_empty() {
                    key.push('/');
                }
                key.push_str(name.to_str()?);
            }
            _ => return None,
        }
    }
    (!key.is_empty()).then_some(key)
}

/// Reads one take, as [`assemble`] does.
///
/// # Errors
/// See [`AssembleError`].
pub fn assemble_take<R: Read + Seek>(
    take: &TakeFile,
    mut open: impl FnMut(&Path) -> io::Result<R>,
) -> Result<SessionTake, AssembleError> {
    let mut hashes = vec![];
    let mut files = vec![];
    for (i, file) in take.files.iter().enumerate() {
        // One reader for both passes, so that the hash is that of the samples.
        let (mut reader, hash) = open_hashed(file, &mut open)?;
        if take.sha256.get(i).is_some_and(|noted| *noted != hash) {
            return Err(AssembleError::Changed {
                file: file.clone(),
                of: take.name.clone(),
            });
        }
        reader.rewind().map_err(|source| AssembleError::Read {
            file: file.clone(),
            source,
        })?;
        hashes.push(hash);
        files.push((file.as_path(), reader));
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

/// Takes a photo's hash, and compares it with the one that was noted.
fn hash_photo<R: Read + Seek>(
    photo: &mut Photo,
    open: &mut impl FnMut(&Path) -> io::Result<R>,
) -> Result<(), AssembleError> {
    let (_, hash) = open_hashed(&photo.file, open)?;
    if photo.sha256.as_ref().is_some_and(|noted| *noted != hash) {
        return Err(AssembleError::Changed {
            file: photo.file.clone(),
            of: format!("photo of {}", photo.of),
        });
    }
    photo.sha256 = Some(hash);
    Ok(())
}

/// The reader, at its end, and the hash of what it held.
fn open_hashed<R: Read>(
    file: &Path,
    open: &mut impl FnMut(&Path) -> io::Result<R>,
) -> Result<(R, String), AssembleError> {
    let mut reader = open(file).map_err(|source| AssembleError::Open {
        file: file.into(),
        source,
    })?;
    let hash = sha256_hex(&mut reader).map_err(|source| AssembleError::Read {
        file: file.into(),
        source,
    })?;
    Ok((reader, hash))
}

/// Whether a file is an impedance table, by its name.
pub fn is_table(file: &Path) -> bool {
    table_format(file).is_some()
}

fn table_format(file: &Path) -> Option<TableFormat> {
    TableFormat::from_name(&file.file_name()?.to_string_lossy())
}

fn data<R: Read + Seek>(
    take: &TakeFile,
    files: Vec<(&Path, R)>,
) -> Result<(Data, Vec<Finding>), AssembleError> {
    let mut files = files.into_iter();
    match (files.next(), files.next()) {
        (Some(source), Some(driver)) => pair(source, driver),
        (Some((file, reader)), None) => match (take.one_input, table_format(file)) {
            (Some(period), _) => one_input(take, period, file, reader),
            (None, Some(format)) => {
                let curve =
                    format
                        .read(BufReader::new(reader))
                        .map_err(|source| AssembleError::Table {
                            file: file.into(),
                            source,
                        })?;
                Ok((Data::Table(curve), vec![]))
            }
            (None, None) => {
                let (take, findings) = read_take(BufReader::new(reader), take.channels)
                    .map_err(|source| wrong(file, source))?;
                Ok((Data::Recording(take), findings))
            }
        },
        (None, _) => Err(AssembleError::NoFile {
            take: take.name.clone(),
        }),
    }
}

/// The channel of a file that one input recorded.
fn one_input<R: Read + Seek>(
    take: &TakeFile,
    period: Period,
    file: &Path,
    reader: R,
) -> Result<(Data, Vec<Finding>), AssembleError> {
    let (audio, findings) =
        read_wav(BufReader::new(reader)).map_err(|source| wrong(file, source))?;
    let index = take.channels.map_or(0, |pick| pick.source());
    let samples = audio.channel(index).ok_or_else(|| {
        let n_channels = audio.n_channels();
        let channel = index + 1;
        wrong(
            file,
            RecordingError::NoSuchChannel {
                channel,
                n_channels,
            },
        )
    })?;
    let data = OneInputTake {
        samples: samples.to_vec(),
        sample_rate_hz: audio.sample_rate_hz(),
        period,
    };
    Ok((Data::OneInput(data), findings))
}

/// Two mono files of one recording.
fn pair<R: Read + Seek>(
    (source_file, source): (&Path, R),
    (driver_file, driver): (&Path, R),
) -> Result<(Data, Vec<Finding>), AssembleError> {
    if let Some(file) = [source_file, driver_file]
        .into_iter()
        .find(|file| is_table(file))
    {
        return Err(AssembleError::TableInPair { file: file.into() });
    }
    let (source, mut findings) =
        read_wav(BufReader::new(source)).map_err(|error| wrong(source_file, error))?;
    let (driver, of_driver) =
        read_wav(BufReader::new(driver)).map_err(|error| wrong(driver_file, error))?;
    findings.extend(of_driver);
    let joined = join_mono(source, driver).map_err(|source| AssembleError::Pair {
        source_file: source_file.into(),
        driver_file: driver_file.into(),
        source,
    })?;
    Ok((Data::Recording(joined), findings))
}

fn wrong(file: &Path, source: RecordingError) -> AssembleError {
    AssembleError::Take {
        file: file.into(),
        source,
    }
}

/// Bytes hashed at a time.
const BLOCK_BYTES: usize = 1 << 16;

/// SHA-256 of what is left in a reader, as lower-case hexadecimal.
///
/// # Errors
/// What the reader says.
pub fn sha256_hex(reader: &mut impl Read) -> io::Result<String> {
    let mut hasher = Sha256::new();
    let mut block = vec![0; BLOCK_BYTES];
    loop {
        match reader.read(&mut block) {
            Ok(0) => break,
            Ok(n) => hasher.update(&block[..n]),
            Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
            Err(error) => return Err(error),
        }
    }
    let digest = hasher.finalize();
    Ok(digest.iter().map(|byte| format!("{byte:02x}")).collect())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::progress::Unwatched;
    use crate::recording::{WavFormat, write_wav};
    use crate::session::Condition;

    fn wav(channels: &[&[f32]]) -> Vec<u8> {
        let mut bytes = Cursor::new(vec![]);
        write_wav(&mut bytes, 48_000, channels, WavFormat::Float32).unwrap();
        bytes.into_inner()
    }

    fn hash(bytes: &[u8]) -> String {
        sha256_hex(&mut &bytes[..]).unwrap()
    }

    const SOURCE: [f32; 4] = [0.5, -0.25, 0.125, 0.0];
    const DRIVER: [f32; 4] = [0.25, -0.125, 0.0, 0.0];

    const TABLE: &[u8] =
        b"frequency_hz,re_ohm,im_ohm\n1,6,1\n2,6,1\n3,6,1\n4,6,1\n5,6,1\n6,6,1\n7,6,1\n8,6,1\n";

    /// A stereo take, a pair of mono files, a table and a photo.
    fn everything() -> (SessionFile, BTreeMap<String, Vec<u8>>) {
        let files = BTreeMap::from([
            ("takes/stereo.wav".to_owned(), wav(&[&SOURCE, &DRIVER])),
            ("takes/source.wav".to_owned(), wav(&[&SOURCE])),
            ("takes/driver.wav".to_owned(), wav(&[&DRIVER])),
            ("takes/table.csv".to_owned(), TABLE.to_vec()),
            ("photos/wiring.jpg".to_owned(), b"picture".to_vec()),
        ]);
        let take = |name: &str, of: &[&str]| TakeFile {
            sha256: of.iter().map(|file| hash(&files[*file])).collect(),
            ..TakeFile::new(
                name,
                Condition::FreeAir,
                of.iter().map(PathBuf::from).collect(),
            )
        };
        let mut session = SessionFile::new(
            "x",
            vec![
                take("stereo", &["takes/stereo.wav"]),
                take("pair", &["takes/source.wav", "takes/driver.wav"]),
                take("table", &["takes/table.csv"]),
            ],
        );
        session.photos = vec![Photo {
            of: "wiring".into(),
            file: "./photos/wiring.jpg".into(),
            sha256: None,
        }];
        (session, files)
    }

    #[test]
    fn files_in_memory_become_a_session() {
        let (session, files) = everything();
        let session = assemble_in_memory(session, &files, &mut Unwatched).unwrap();
        assert_eq!(session.takes[0].data, session.takes[1].data);
        assert!(matches!(&session.takes[0].data, Data::Recording(take) if take.driver() == DRIVER));
        assert!(matches!(&session.takes[2].data, Data::Table(table) if table.n_points() == 8));
        assert_eq!(session.takes[1].sha256.len(), 2);
        assert_eq!(session.photos[0].sha256, Some(hash(b"picture")));
    }

    #[test]
    fn a_file_that_is_missing_or_another_is_named() {
        for file in everything().1.into_keys() {
            let (mut session, mut files) = everything();
            session.photos[0].sha256 = Some(hash(b"picture"));
            files.get_mut(&file).unwrap().push(0);
            let error = assemble_in_memory(session.clone(), &files, &mut Unwatched).unwrap_err();
            assert!(
                matches!(&error, AssembleError::Changed { file: named, .. } if file_key(named).as_ref() == Some(&file)),
                "{error}"
            );
            files.remove(&file);
            let error = assemble_in_memory(session, &files, &mut Unwatched).unwrap_err();
            assert!(
                matches!(&error, AssembleError::Open { file: named, .. } if file_key(named).as_ref() == Some(&file)),
                "{error}"
            );
        }
    }

    #[test]
    fn keys_stay_inside() {
        let key = |path: &str| file_key(Path::new(path));
        assert_eq!(key("./takes/./a.wav").as_deref(), Some("takes/a.wav"));
        assert_eq!(key("takes/../../a.wav"), None);
        assert_eq!(key("/takes/a.wav"), None);
        assert_eq!(key("."), None);
    }
}
