//! From a reader to samples.
//!
//! The chunk walk decides what the file holds; hound then decodes the audio behind a canonical header of ours, because it
//! refuses or misreads headers that occur in practice.

use std::io::{BufReader, Cursor, Read, Seek, SeekFrom};

use super::header::{Encoding, Layout, Recovery, read_failed, walk};
use super::take::check_finite;
use super::{Audio, ChannelPick, RecordingError, Take};
use crate::finding::{Code, Finding, Severity};

/// Most samples that one call decodes: 2²⁷, or 512 MiB, so that a take stays well below 1 GB with what the analysis adds.
/// Two channels last 11.6 minutes at 96 kHz.
const MAX_SAMPLES: u64 = 1 << 27;

/// Reads all channels of a WAV file, from the start of `reader`.
///
/// # Errors
/// Anything in [`RecordingError`] that concerns a file; a sample that is not finite, in any channel.
pub fn read_wav<R: Read + Seek>(mut reader: R) -> Result<(Audio, Vec<Finding>), RecordingError> {
    let layout = walk(&mut reader)?;
    let all: Vec<usize> = (0..usize::from(layout.n_channels)).collect();
    let channels = decode(reader, &layout, &all)?;
    Ok((
        Audio::new(layout.sample_rate_hz, channels),
        findings(&layout),
    ))
}

/// Reads the two channels of a take from a WAV file, from the start of `reader`. Without a pick the file must have exactly
/// two channels, the source first. Only the picked channels are kept in memory.
///
/// # Errors
/// Anything in [`RecordingError`] that concerns a file; a single channel; more than two without a pick; a pick beyond the
/// channels; a sample in a picked channel that is not finite.
pub fn read_take<R: Read + Seek>(
    mut reader: R,
    pick: Option<ChannelPick>,
) -> Result<(Take, Vec<Finding>), RecordingError> {
    let layout = walk(&mut reader)?;
    let n_channels = usize::from(layout.n_channels);
    let pick = match (n_channels, pick) {
        (1, _) => return Err(RecordingError::SingleChannel),
        (2, None) => ChannelPick::default(),
        (_, None) => return Err(RecordingError::ChannelsNotPicked { n_channels }),
        (_, Some(pick)) => pick,
    };
    let picks = [pick.source(), pick.driver()];
    if let Some(beyond) = picks.into_iter().find(|&index| index >= n_channels) {
        let channel = beyond.saturating_add(1);
        return Err(RecordingError::NoSuchChannel {
            channel,
            n_channels,
        });
    }
    let mut channels = decode(reader, &layout, &picks)?.into_iter();
    let source = channels.next().unwrap_or_default();
    let driver = channels.next().unwrap_or_default();
    Ok((
        Take::new(layout.sample_rate_hz, source, driver)?,
        findings(&layout),
    ))
}

/// The samples of the picked channels (indices below the number of channels), in the order of `picks`.
fn decode<R: Read + Seek>(
    mut reader: R,
    layout: &Layout,
    picks: &[usize],
) -> Result<Vec<Vec<f32>>, RecordingError> {
    let frame_bytes = u64::from(layout.n_channels) * u64::from(layout.encoding.n_bytes());
    // A mono file is half of a take. The second limit is that of the length field.
    let limit = (MAX_SAMPLES / picks.len().max(2) as u64).min(u64::from(u32::MAX) / frame_bytes);
    if layout.n_frames > limit {
        let seconds = |frames: u64| frames as f64 / f64::from(layout.sample_rate_hz);
        let (duration_s, limit_s) = (seconds(layout.n_frames), seconds(limit));
        return Err(RecordingError::TooLong {
            duration_s,
            limit_s,
        });
    }
    // Both fit: the limit above is below 2³² bytes and 2²⁷ frames.
    let n_bytes = layout.n_frames * frame_bytes;
    let n_frames = layout.n_frames as usize;

    reader
        .seek(SeekFrom::Start(layout.data_start))
        .map_err(read_failed)?;
    let header = Cursor::new(canonical_header(layout, n_bytes as u32));
    let audio = BufReader::with_capacity(1 << 16, reader.take(n_bytes));
    let wav = hound::WavReader::new(header.chain(audio)).map_err(decode_failed)?;
    let n_channels = usize::from(layout.n_channels);
    let channels = match layout.encoding {
        Encoding::Float32 => gather(
            wav.into_samples::<f32>(),
            n_channels,
            n_frames,
            picks,
            |sample| sample,
        ),
        pcm => {
            let full_scale = (1u64 << (8 * pcm.n_bytes() - 1)) as f32;
            gather(
                wav.into_samples::<i32>(),
                n_channels,
                n_frames,
                picks,
                |sample| sample as f32 / full_scale,
            )
        }
    }?;
    for (channel, &index) in channels.iter().zip(picks) {
        check_finite(channel, index + 1, layout.sample_rate_hz)?;
    }
    Ok(channels)
}

fn gather<S>(
    mut samples: impl Iterator<Item = hound::Result<S>>,
    n_channels: usize,
    n_frames: usize,
    picks: &[usize],
    to_f32: impl Fn(S) -> f32,
) -> Result<Vec<Vec<f32>>, RecordingError> {
    let mut channels = vec![Vec::new(); picks.len()];
    for channel in &mut channels {
        let n_bytes = n_frames * size_of::<f32>();
        channel
            .try_reserve_exact(n_frames)
            .map_err(|_| RecordingError::OutOfMemory { n_bytes })?;
    }
    let mut frame = vec![0.0; n_channels];
    for _ in 0..n_frames {
        for (slot, sample) in frame.iter_mut().zip(samples.by_ref()) {
            *slot = to_f32(sample.map_err(decode_failed)?);
        }
        for (channel, &pick) in channels.iter_mut().zip(picks) {
            channel.push(frame[pick]);
        }
    }
    Ok(channels)
}

/// RIFF, a `fmt ` chunk of 16 bytes and the head of the data chunk: the one layout that hound reads for every encoding.
fn canonical_header(layout: &Layout, data_bytes: u32) -> Vec<u8> {
    let sample_bytes = layout.encoding.n_bytes();
    let frame_bytes = layout.n_channels * sample_bytes;
    let tag: u16 = if layout.encoding == Encoding::Float32 {
        3
    } else {
        1
    };
    let mut header = Vec::with_capacity(44);
    header.extend_from_slice(b"RIFF");
    header.extend_from_slice(&data_bytes.saturating_add(36).to_le_bytes());
    header.extend_from_slice(b"WAVEfmt \x10\0\0\0");
    header.extend_from_slice(&tag.to_le_bytes());
    header.extend_from_slice(&layout.n_channels.to_le_bytes());
    header.extend_from_slice(&layout.sample_rate_hz.to_le_bytes());
    header.extend_from_slice(&(layout.sample_rate_hz * u32::from(frame_bytes)).to_le_bytes());
    header.extend_from_slice(&frame_bytes.to_le_bytes());
    header.extend_from_slice(&(8 * sample_bytes).to_le_bytes());
    header.extend_from_slice(b"data");
    header.extend_from_slice(&data_bytes.to_le_bytes());
    header
}

/// With the header made here, only the reader itself can fail.
fn decode_failed(error: hound::Error) -> RecordingError {
    read_failed(match error {
        hound::Error::IoError(source) => source,
        other => std::io::Error::other(other),
    })
}

fn findings(layout: &Layout) -> Vec<Finding> {
    let duration_s = layout.n_frames as f64 / f64::from(layout.sample_rate_hz);
    let (severity, message, advice) = match layout.recovery {
        None => return Vec::new(),
        Some(Recovery::NeverWritten) => (
            Severity::Caution,
            "The file's header gives its length as 0: the recorder broke off before it finished the file. \
             All audio that is there was used.",
            "Check that the whole signal is in the recording; if its end is missing, record it again.",
        ),
        Some(Recovery::Placeholder) => (
            Severity::Note,
            "The file's header leaves its length open, as recorders do that write to a pipe. \
             All audio that is there was used.",
            "Nothing needs to be done.",
        ),
    };
    vec![
        Finding::new(Code::WavLengthRecovered, severity, message, advice)
            .with_evidence(duration_s, "s", None),
    ]
}
