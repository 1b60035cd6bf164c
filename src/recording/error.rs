//! What can go wrong between a file and a take.

use std::io;

use super::{MAX_RATE_HZ, MIN_RATE_HZ};

/// Why a recording cannot be read, put together or written. Channels are numbered from 1, as people count them.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum RecordingError {
    /// The reader failed.
    #[error("reading the recording failed: {source}")]
    Read {
        /// What the reader said.
        source: io::Error,
    },
    /// The writer failed.
    #[error("writing the recording failed: {source}")]
    Write {
        /// What the writer said.
        source: io::Error,
    },
    /// The bytes are no WAV file.
    #[error(
        "this is not a WAV file but {found}; export the recording as WAV (PCM 16, 24 or 32 bits, or 32-bit float)"
    )]
    NotWav {
        /// What it looks like.
        found: &'static str,
    },
    /// A WAV file of the 64-bit kind.
    #[error(
        "this is an {form} file (WAV with 64-bit lengths); export it as plain WAV, which suffices below 4 GB, and \
         cut it to the part with the signal"
    )]
    LongForm {
        /// `RF64` or `BW64`.
        form: &'static str,
    },
    /// Samples are stored in a way that is not read.
    #[error(
        "the samples are stored as {format}; export the recording as PCM 16, 24 or 32 bits, or as 32-bit float"
    )]
    UnsupportedFormat {
        /// Name of the sample format.
        format: String,
    },
    /// The description of the samples contradicts itself.
    #[error(
        "the header of this WAV file is broken: {what}; open it in an audio editor and export it again"
    )]
    BrokenHeader {
        /// What is wrong with it.
        what: &'static str,
    },
    /// A rate no sound card uses for this.
    #[error(
        "the sample rate is {rate_hz} Hz; record at {MIN_RATE_HZ} to {MAX_RATE_HZ} Hz (48000 Hz suits every driver)"
    )]
    RateOutOfRange {
        /// What the header or the caller states.
        rate_hz: u32,
    },
    /// The file ends before its audio does.
    #[error(
        "the file is cut off: {present_s:.3} s of {declared_s:.3} s are there ({missing_bytes} bytes are missing); copy \
         it again from where it was recorded"
    )]
    Truncated {
        /// Seconds that the header states.
        declared_s: f64,
        /// Seconds that are there.
        present_s: f64,
        /// Bytes of audio that are missing.
        missing_bytes: u64,
    },
    /// No audio.
    #[error(
        "the recording is empty; record it again, and check that the recorder was running and armed"
    )]
    Empty,
    /// Longer than the memory it may take.
    #[error(
        "the recording lasts {duration_s:.0} s, and at most {limit_s:.0} s are read at this rate; cut it to the part with \
         the signal (10 to 60 s suffice)"
    )]
    TooLong {
        /// Length of the recording in seconds.
        duration_s: f64,
        /// Longest that is read at this rate, in seconds.
        limit_s: f64,
    },
    /// The memory for the samples was refused.
    #[error(
        "there is not enough memory for {n_bytes} bytes of samples; cut the recording to the part with the signal"
    )]
    OutOfMemory {
        /// Bytes asked for.
        n_bytes: usize,
    },
    /// One channel where two are needed.
    #[error(
        "the recording has a single channel, and two are needed, recorded together: the source node and the driver node; \
         record in stereo, or give the two mono files of one recording (source.wav,driver.wav)"
    )]
    SingleChannel,
    /// More than two channels, and nobody said which.
    #[error(
        "the recording has {n_channels} channels; say which two carry the source node and the driver node, source first \
         (for example --channels 1,2)"
    )]
    ChannelsNotPicked {
        /// How many there are.
        n_channels: usize,
    },
    /// A channel was asked for that is not there.
    #[error(
        "channel {channel} was asked for, but the channels are 1 to {n_channels}; correct the pick"
    )]
    NoSuchChannel {
        /// Which channel, from 1.
        channel: usize,
        /// How many there are.
        n_channels: usize,
    },
    /// Channels are counted from 1.
    #[error("there is no channel 0: channels are counted from 1, so the first two are 1,2")]
    ChannelZero,
    /// One channel in both roles.
    #[error(
        "channel {channel} was picked as source and as driver; pick two different ones, source first"
    )]
    SameChannel {
        /// Which channel, from 1.
        channel: usize,
    },
    /// A file that should have one channel has more.
    #[error(
        "the {role} file has {n_channels} channels, and a pair of files must be mono; give one stereo file, or export each \
         track as mono"
    )]
    NotMono {
        /// `source` or `driver`.
        role: &'static str,
        /// How many channels it has.
        n_channels: usize,
    },
    /// Two channels of different rates.
    #[error(
        "the source is sampled at {source_hz} Hz and the driver at {driver_hz} Hz; both must come from one recording with \
         one device, so export them again without conversion"
    )]
    RatesDiffer {
        /// Rate of the source channel.
        source_hz: u32,
        /// Rate of the driver channel.
        driver_hz: u32,
    },
    /// Two channels of different lengths.
    #[error(
        "the source has {source_frames} samples and the driver {driver_frames}; both must come from one recording and start \
         at the same sample, so export both tracks again over the same range"
    )]
    LengthsDiffer {
        /// Length of the source channel.
        source_frames: usize,
        /// Length of the driver channel.
        driver_frames: usize,
    },
    /// A sample that is no number.
    #[error(
        "channel {channel} holds {value} at {at_s:.6} s, which no converter delivers; export the recording again without \
         effects, or record it again"
    )]
    NotFinite {
        /// Which channel, from 1.
        channel: usize,
        /// Where, in seconds from the start.
        at_s: f64,
        /// NaN or an infinity.
        value: f32,
    },
    /// A sample that an integer file cannot hold.
    #[error(
        "channel {channel} reaches {value} at {at_s:.6} s, beyond full scale (1.0); lower the level, or write 32-bit float"
    )]
    BeyondFullScale {
        /// Which channel, from 1.
        channel: usize,
        /// Where, in seconds from the start.
        at_s: f64,
        /// The sample.
        value: f32,
    },
    /// A number of channels that is not written.
    #[error("{n_channels} channels were given to write; one or two can be")]
    UnwritableChannels {
        /// How many were given.
        n_channels: usize,
    },
}
