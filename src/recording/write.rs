//! From samples to a writer.

use std::io::{self, BufWriter, Write};

use super::RecordingError;
use super::take::{check_finite, check_rate};

/// How samples are written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub enum WavFormat {
    /// 16-bit integers: the smallest, for long recordings that travel.
    Pcm16,
    /// 24-bit integers: what nearly every player and recorder takes.
    Pcm24,
    /// 32-bit float: exactly the samples as they are.
    Float32,
}

impl WavFormat {
    fn sample_bytes(self) -> u16 {
        match self {
            Self::Pcm16 => 2,
            Self::Pcm24 => 3,
            Self::Float32 => 4,
        }
    }

    /// The number of steps from zero to full scale, for integers.
    fn steps(self) -> Option<i32> {
        match self {
            Self::Pcm16 => Some(1 << 15),
            Self::Pcm24 => Some(1 << 23),
            Self::Float32 => None,
        }
    }
}

/// Bytes before the audio: the form, the extensible `fmt ` chunk, the `fact` chunk and the head of the data chunk.
const HEAD_BYTES: u32 = 12 + 48 + 12 + 8;

/// Writes one or two channels (full scale at ±1) as a WAV file with an extensible header.
///
/// Integers are rounded to the nearest step, without dither: the error lies 101 dB (16 bits) or 149 dB (24 bits) below full scale, RMS.
/// A sample beyond full scale is an error, since clipping in silence would falsify the signal; exactly +1.0, which integers just miss,
/// becomes the largest step. Everything is checked before the first byte is written, and nothing is sought: the writer may
/// be a pipe.
///
/// # Errors
/// Not one or two channels, different lengths, no samples, a rate outside [`MIN_RATE_HZ`](super::MIN_RATE_HZ) to
/// [`MAX_RATE_HZ`](super::MAX_RATE_HZ), a sample that is not finite or lies beyond full scale (integers), audio of about 4 GiB
/// or more, a writer that fails.
pub fn write_wav<W: Write>(
    writer: W,
    sample_rate_hz: u32,
    channels: &[&[f32]],
    format: WavFormat,
) -> Result<(), RecordingError> {
    let (n_channels, n_frames) = check(sample_rate_hz, channels, format)?;
    let header = header(sample_rate_hz, n_channels, n_frames, format);
    write(writer, &header, channels, format).map_err(|source| RecordingError::Write { source })
}

/// The numbers of channels and frames, as the header wants them.
fn check(
    sample_rate_hz: u32,
    channels: &[&[f32]],
    format: WavFormat,
) -> Result<(u16, u32), RecordingError> {
    check_rate(sample_rate_hz)?;
    let (first, last, n_channels) = match channels {
        [only] => (only, only, 1),
        [first, last] => (first, last, 2),
        _ => {
            return Err(RecordingError::UnwritableChannels {
                n_channels: channels.len(),
            });
        }
    };
    if first.len() != last.len() {
        return Err(RecordingError::LengthsDiffer {
            source_frames: first.len(),
            driver_frames: last.len(),
        });
    }
    if first.is_empty() {
        return Err(RecordingError::Empty);
    }
    let seconds = |n_frames: usize| n_frames as f64 / f64::from(sample_rate_hz);
    // The length field of the file covers the header and a pad byte, too.
    let limit = (u32::MAX - HEAD_BYTES - 1) / u32::from(n_channels * format.sample_bytes());
    let n_frames = u32::try_from(first.len())
        .ok()
        .filter(|&n| n <= limit)
        .ok_or_else(|| RecordingError::TooLong {
            duration_s: seconds(first.len()),
            limit_s: seconds(limit as usize),
        })?;
    for (index, samples) in channels.iter().enumerate() {
        check_finite(samples, index + 1, sample_rate_hz)?;
        let beyond = samples.iter().position(|sample| sample.abs() > 1.0);
        if let (Some(_), Some(frame)) = (format.steps(), beyond) {
            return Err(RecordingError::BeyondFullScale {
                channel: index + 1,
                at_s: seconds(frame),
                value: samples[frame],
            });
        }
    }
    Ok((n_channels, n_frames))
}

fn header(sample_rate_hz: u32, n_channels: u16, n_frames: u32, format: WavFormat) -> Vec<u8> {
    let sample_bytes = format.sample_bytes();
    let frame_bytes = n_channels * sample_bytes;
    let data_bytes = n_frames * u32::from(frame_bytes);
    let tag: u8 = match format {
        WavFormat::Pcm16 | WavFormat::Pcm24 => 1,
        WavFormat::Float32 => 3,
    };
    // Front centre, or front left and front right.
    let speakers: u32 = if n_channels == 1 { 4 } else { 3 };
    let mut header = Vec::with_capacity(HEAD_BYTES as usize);
    header.extend_from_slice(b"RIFF");
    header.extend_from_slice(&(HEAD_BYTES - 8 + data_bytes + data_bytes % 2).to_le_bytes());
    header.extend_from_slice(b"WAVEfmt \x28\0\0\0\xFE\xFF");
    header.extend_from_slice(&n_channels.to_le_bytes());
    header.extend_from_slice(&sample_rate_hz.to_le_bytes());
    header.extend_from_slice(&(sample_rate_hz * u32::from(frame_bytes)).to_le_bytes());
    header.extend_from_slice(&frame_bytes.to_le_bytes());
    header.extend_from_slice(&(8 * sample_bytes).to_le_bytes());
    header.extend_from_slice(&22_u16.to_le_bytes());
    header.extend_from_slice(&(8 * sample_bytes).to_le_bytes());
    header.extend_from_slice(&speakers.to_le_bytes());
    header.extend_from_slice(&[
        tag, 0, 0, 0, 0, 0, 0x10, 0, 0x80, 0, 0, 0xAA, 0, 0x38, 0x9B, 0x71,
    ]);
    header.extend_from_slice(b"fact\x04\0\0\0");
    header.extend_from_slice(&n_frames.to_le_bytes());
    header.extend_from_slice(b"data");
    header.extend_from_slice(&data_bytes.to_le_bytes());
    header
}

fn write<W: Write>(
    writer: W,
    header: &[u8],
    channels: &[&[f32]],
    format: WavFormat,
) -> io::Result<()> {
    let mut writer = BufWriter::new(writer);
    writer.write_all(header)?;
    let n_frames = channels.first().map_or(0, |channel| channel.len());
    for frame in 0..n_frames {
        for channel in channels {
            let sample = channel[frame];
            match format.steps() {
                Some(steps) => {
                    let step = (f64::from(sample) * f64::from(steps)).round() as i32;
                    let bytes = step.min(steps - 1).to_le_bytes();
                    writer.write_all(&bytes[..usize::from(format.sample_bytes())])?;
                }
                None => writer.write_all(&sample.to_le_bytes())?,
            }
        }
    }
    if !(n_frames * channels.len() * usize::from(format.sample_bytes())).is_multiple_of(2) {
        writer.write_all(&[0])?;
    }
    writer.flush()
}
