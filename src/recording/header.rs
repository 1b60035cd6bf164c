//! The walk over a WAV file's chunks: how the samples are stored, where they start and how many are really there.
//!
//! Sources: "Multimedia Programming Interface and Data Specifications 1.0", IBM and Microsoft, 1991 (chunks, pad bytes,
//! left-justified samples); Microsoft's `WAVEFORMATEXTENSIBLE` (subformats); RFC 2361 (format tags); EBU Tech 3306 (RF64).

use std::io::{self, Read, Seek, SeekFrom};

use super::RecordingError;
use super::take::check_rate;

/// More chunks before the audio than any recorder writes; a bound on what a hostile file can cost.
const MAX_CHUNKS: usize = 1000;
/// More channels than any sound card has; a bound that keeps the products of header fields within 32 bits.
const MAX_CHANNELS: u16 = 256;
const CHUNK_HEAD_BYTES: u64 = 8;
const FORM_BYTES: u64 = 12;
/// `WAVEFORMATEXTENSIBLE`, the longest layout of interest.
const MAX_FMT_BYTES: u64 = 40;

/// How one sample is stored.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Encoding {
    Pcm16,
    Pcm24,
    Pcm32,
    Float32,
}

impl Encoding {
    pub(super) fn n_bytes(self) -> u16 {
        match self {
            Self::Pcm16 => 2,
            Self::Pcm24 => 3,
            Self::Pcm32 | Self::Float32 => 4,
        }
    }
}

/// Why the length in the header was not used.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Recovery {
    /// It is 0: the recorder never came to fill it in.
    NeverWritten,
    /// It stands for "unknown": the recorder could not go back to fill it in.
    Placeholder,
}

/// Where the samples are and how they are stored.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Layout {
    pub(super) n_channels: u16,
    pub(super) sample_rate_hz: u32,
    pub(super) encoding: Encoding,
    /// First byte of audio, from the start of the file.
    pub(super) data_start: u64,
    /// Whole frames that are there; never zero.
    pub(super) n_frames: u64,
    pub(super) recovery: Option<Recovery>,
}

/// Walks the chunks up to the audio. Sizes that the file states are only ever compared with the bytes that are there.
pub(super) fn walk<R: Read + Seek>(reader: &mut R) -> Result<Layout, RecordingError> {
    let end = reader.seek(SeekFrom::End(0)).map_err(read_failed)?;
    check_form(&bytes_at(reader, 0, FORM_BYTES)?)?;
    let mut format = None;
    let mut position = FORM_BYTES;
    for _ in 0..MAX_CHUNKS {
        let Some((id, size)) = chunk_head(reader, position)? else {
            break;
        };
        let body = position + CHUNK_HEAD_BYTES;
        match (&id, format) {
            (b"fmt ", _) => {
                let bytes = bytes_at(reader, body, u64::from(size).min(MAX_FMT_BYTES))?;
                format = Some(Format::parse(&bytes)?);
            }
            (b"data", Some(format)) => return lay_out(reader, format, body, size, end),
            (b"data", None) => {
                let what = "the audio comes before its description (the fmt chunk)";
                return Err(RecordingError::BrokenHeader { what });
            }
            _ => {}
        }
        position = after_chunk(reader, body, size)?;
    }
    let what = match format {
        None => "the description of the samples (the fmt chunk) is missing",
        Some(_) => "there is no audio in it (no data chunk within the file)",
    };
    Err(RecordingError::BrokenHeader { what })
}

fn check_form(form: &[u8]) -> Result<(), RecordingError> {
    let Some((&[a, b, c, d], rest)) = form.split_first_chunk::<4>() else {
        return Err(if form.is_empty() {
            RecordingError::Empty
        } else {
            RecordingError::NotWav {
                found: "a file of a few bytes",
            }
        });
    };
    let found = match &[a, b, c, d] {
        b"RIFF" if rest.ends_with(b"WAVE") => return Ok(()),
        b"RF64" => return Err(RecordingError::LongForm { form: "RF64" }),
        b"BW64" => return Err(RecordingError::LongForm { form: "BW64" }),
        b"RIFF" => "a RIFF file of another kind",
        b"RIFX" => "a big-endian RIFF file (RIFX)",
        b"riff" => "a Wave64 file",
        b"FORM" => "an AIFF file",
        b"caff" => "a CAF file",
        b"fLaC" => "a FLAC file",
        b"OggS" => "an Ogg file",
        _ if &[a, b, c] == b"ID3" => "an MP3 file",
        _ if rest.starts_with(b"ftyp") => "an MP4 file",
        _ => "something else",
    };
    Err(RecordingError::NotWav { found })
}

/// The part of the `fmt ` chunk that matters.
#[derive(Clone, Copy)]
struct Format {
    n_channels: u16,
    sample_rate_hz: u32,
    encoding: Encoding,
}

impl Format {
    /// The number of valid bits is not looked at: samples are left-justified in their container, so the container alone
    /// fixes full scale, and an impedance is a ratio of two channels of the same scale anyway. The bytes per second are
    /// redundant and often wrong, so they are not looked at either.
    fn parse(bytes: &[u8]) -> Result<Self, RecordingError> {
        let broken = |what| RecordingError::BrokenHeader { what };
        if bytes.len() < 16 {
            return Err(broken(
                "the description of the samples (the fmt chunk) is too short",
            ));
        }
        let word = |at: usize| u16::from_le_bytes([bytes[at], bytes[at + 1]]);
        let n_channels = word(2);
        let sample_rate_hz = u32::from_le_bytes([bytes[4], bytes[5], bytes[6], bytes[7]]);
        let frame_bytes = word(12);
        let bits = word(14);
        let tag = match word(0) {
            TAG_EXTENSIBLE => subformat_tag(bytes)?,
            tag => tag,
        };
        let encoding = encoding(tag, bits)?;
        if n_channels == 0 {
            return Err(broken("it states no channels"));
        }
        if n_channels > MAX_CHANNELS {
            return Err(broken("it states more than 256 channels"));
        }
        // A 24-bit sample in a wider container without the extensible layout could sit at either end of it.
        if n_channels.checked_mul(encoding.n_bytes()) != Some(frame_bytes) {
            return Err(broken(
                "bits per sample, channels and bytes per frame contradict each other",
            ));
        }
        check_rate(sample_rate_hz)?;
        Ok(Self {
            n_channels,
            sample_rate_hz,
            encoding,
        })
    }
}

const TAG_PCM: u16 = 0x0001;
const TAG_FLOAT: u16 = 0x0003;
const TAG_EXTENSIBLE: u16 = 0xFFFE;
/// What follows the format tag in a subformat's GUID, as stored.
const SUBFORMAT_TAIL: [u8; 14] = [0, 0, 0, 0, 0x10, 0, 0x80, 0, 0, 0xAA, 0, 0x38, 0x9B, 0x71];

fn subformat_tag(bytes: &[u8]) -> Result<u16, RecordingError> {
    let Some(&[low, high, ref tail @ ..]) = bytes.get(24..40) else {
        let what = "an extensible description without its subformat";
        return Err(RecordingError::BrokenHeader { what });
    };
    if tail == SUBFORMAT_TAIL {
        Ok(u16::from_le_bytes([low, high]))
    } else {
        let format = "an unknown extensible subformat".to_owned();
        Err(RecordingError::UnsupportedFormat { format })
    }
}

/// Bits are rounded up to whole bytes: 20 bits sit in a container of 24.
fn encoding(tag: u16, bits: u16) -> Result<Encoding, RecordingError> {
    let format = match (tag, bits.div_ceil(8)) {
        (TAG_PCM, 2) => return Ok(Encoding::Pcm16),
        (TAG_PCM, 3) => return Ok(Encoding::Pcm24),
        (TAG_PCM, 4) => return Ok(Encoding::Pcm32),
        (TAG_FLOAT, 4) if bits == 32 => return Ok(Encoding::Float32),
        (TAG_PCM, _) => format!("{bits}-bit PCM"),
        (TAG_FLOAT, _) => format!("{bits}-bit float"),
        _ => format!("{} (format tag 0x{tag:04x})", tag_name(tag)),
    };
    Err(RecordingError::UnsupportedFormat { format })
}

/// Names from RFC 2361, appendix A; those from 0x00FF on from memory.
fn tag_name(tag: u16) -> &'static str {
    match tag {
        0x0002 => "Microsoft ADPCM",
        0x0006 => "A-law",
        0x0007 => "mu-law",
        0x0011 => "IMA ADPCM",
        0x0031 => "GSM 6.10",
        0x0050 => "MPEG audio",
        0x0055 => "MP3",
        0x00FF => "AAC",
        0x0161 => "Windows Media Audio",
        0xF1AC => "FLAC",
        _ => "an unknown or compressed format",
    }
}

/// Lengths that recorders state when they do not know: all ones, or just below 2³¹ (from memory: 0x7fffff00 and 0x7ffff000
/// are in use; confirmed for the first). The margin of 64 KiB covers lengths rounded down to whole frames or blocks.
fn is_placeholder(size: u32) -> bool {
    matches!(size, 0x7FFF_0000..=0x8000_0000 | 0xFFFF_0000..)
}

fn lay_out<R: Read + Seek>(
    reader: &mut R,
    format: Format,
    data_start: u64,
    size: u32,
    end: u64,
) -> Result<Layout, RecordingError> {
    let declared_bytes = u64::from(size);
    let present_bytes = end.saturating_sub(data_start);
    let frame_bytes = u64::from(format.n_channels) * u64::from(format.encoding.n_bytes());
    let (n_bytes, recovery) = if declared_bytes == 0 && !only_chunks(reader, data_start, end)? {
        (present_bytes, Some(Recovery::NeverWritten))
    } else if declared_bytes <= present_bytes {
        (declared_bytes, None)
    } else if is_placeholder(size) {
        (present_bytes, Some(Recovery::Placeholder))
    } else {
        let seconds = |bytes: u64| (bytes / frame_bytes) as f64 / f64::from(format.sample_rate_hz);
        return Err(RecordingError::Truncated {
            declared_s: seconds(declared_bytes),
            present_s: seconds(present_bytes),
            missing_bytes: declared_bytes - present_bytes,
        });
    };
    let n_frames = n_bytes / frame_bytes;
    if n_frames == 0 {
        return Err(RecordingError::Empty);
    }
    Ok(Layout {
        n_channels: format.n_channels,
        sample_rate_hz: format.sample_rate_hz,
        encoding: format.encoding,
        data_start,
        n_frames,
        recovery,
    })
}

/// Whether the rest of the file is a sequence of chunks (or nothing), and so no audio of unknown length.
fn only_chunks<R: Read + Seek>(
    reader: &mut R,
    start: u64,
    end: u64,
) -> Result<bool, RecordingError> {
    let mut position = start;
    for _ in 0..MAX_CHUNKS {
        if position == end {
            return Ok(true);
        }
        match chunk_head(reader, position)? {
            Some((id, size)) if id.iter().all(|byte| (b' '..=b'~').contains(byte)) => {
                position = after_chunk(reader, position + CHUNK_HEAD_BYTES, size)?;
            }
            _ => return Ok(false),
        }
    }
    Ok(false)
}

/// Where the next chunk starts. A chunk of odd size is followed by a pad byte of zero; some writers forget it, and what
/// stands there then is the first letter of the next chunk's name, or nothing.
fn after_chunk<R: Read + Seek>(
    reader: &mut R,
    body: u64,
    size: u32,
) -> Result<u64, RecordingError> {
    let next = body + u64::from(size);
    if size.is_multiple_of(2) {
        return Ok(next);
    }
    let padded = bytes_at(reader, next, 1)?
        .first()
        .is_some_and(|&pad| pad == 0);
    Ok(next + u64::from(padded))
}

fn chunk_head<R: Read + Seek>(
    reader: &mut R,
    position: u64,
) -> Result<Option<([u8; 4], u32)>, RecordingError> {
    let head = bytes_at(reader, position, CHUNK_HEAD_BYTES)?;
    Ok(match head[..] {
        [a, b, c, d, s0, s1, s2, s3] => Some(([a, b, c, d], u32::from_le_bytes([s0, s1, s2, s3]))),
        _ => None,
    })
}

/// Up to `n` bytes: fewer where the file ends.
fn bytes_at<R: Read + Seek>(
    reader: &mut R,
    position: u64,
    n: u64,
) -> Result<Vec<u8>, RecordingError> {
    let mut bytes = Vec::new();
    reader
        .seek(SeekFrom::Start(position))
        .and_then(|_| reader.by_ref().take(n).read_to_end(&mut bytes))
        .map_err(read_failed)?;
    Ok(bytes)
}

pub(super) fn read_failed(source: io::Error) -> RecordingError {
    RecordingError::Read { source }
}
