//! Recordings: every fixture, both directions, and bytes that nobody meant to be a recording.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    reason = "a test fails by panicking"
)]

use std::collections::BTreeMap;
use std::io::{self, Cursor, Read, Seek, SeekFrom, Write};
use std::path::PathBuf;

use farcone::finding::{Code, Finding, Severity};
use farcone::recording::{
    Audio, ChannelPick, RecordingError, Take, WavFormat, join_mono, read_take, read_wav, write_wav,
};
use proptest::prelude::*;

/// Rounding: half a step of a 24-bit integer, full scale being 1.
const HALF_STEP_16: f32 = 1.0 / 65_536.0;
const HALF_STEP_24: f32 = 1.0 / 16_777_216.0;

fn fixture(name: &str) -> Vec<u8> {
    let folder = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("fixtures/wav");
    std::fs::read(folder.join(name)).unwrap()
}

fn wav(name: &str) -> Cursor<Vec<u8>> {
    Cursor::new(fixture(&format!("{name}.wav")))
}

struct Expected {
    read: String,
    take: String,
    finding: String,
    rate_hz: Option<u32>,
    channels: Vec<Vec<f32>>,
}

fn expected() -> BTreeMap<String, Expected> {
    let table = String::from_utf8(fixture("expected.csv")).unwrap();
    let row = |line: &str| {
        let cells: Vec<&str> = line.split(',').collect();
        let samples = |channel: &str| channel.split(' ').map(|x| x.parse().unwrap()).collect();
        let expected = Expected {
            read: cells[1].to_owned(),
            take: cells[2].to_owned(),
            finding: cells[3].to_owned(),
            rate_hz: cells[4].parse().ok(),
            channels: cells[5]
                .split('|')
                .filter(|c| !c.is_empty())
                .map(samples)
                .collect(),
        };
        (cells[0].to_owned(), expected)
    };
    table.lines().skip(1).map(row).collect()
}

/// The name of an error's variant.
fn name_of(error: &RecordingError) -> String {
    let debug = format!("{error:?}");
    debug.split([' ', '(', '{']).next().unwrap().to_owned()
}

fn outcome<T>(result: &Result<T, RecordingError>) -> String {
    result.as_ref().err().map_or("ok".to_owned(), name_of)
}

fn message<T>(result: Result<T, RecordingError>) -> String {
    result.err().expect("an error").to_string()
}

fn check_finding(findings: &[Finding], expected: &Expected, name: &str) {
    let severities: Vec<&str> = findings.iter().map(|f| f.severity.as_str()).collect();
    let wanted: Vec<&str> = Some(expected.finding.as_str())
        .into_iter()
        .filter(|s| !s.is_empty())
        .collect();
    assert_eq!(severities, wanted, "{name}");
    assert!(
        findings.iter().all(|f| f.code == Code::WavLengthRecovered),
        "{name}"
    );
}

#[test]
fn every_fixture_reads_as_its_generator_says() {
    let table = expected();
    assert!(
        table.len() >= 81,
        "expected.csv has lost rows: {}",
        table.len()
    );
    for (name, expected) in &table {
        let all = read_wav(wav(name));
        assert_eq!(outcome(&all), expected.read, "{name}");
        if let Ok((audio, findings)) = &all {
            let channels: Vec<Vec<f32>> = (0..audio.n_channels())
                .map(|i| audio.channel(i).unwrap().to_vec())
                .collect();
            assert_eq!(channels, expected.channels, "{name}");
            assert_eq!(Some(audio.sample_rate_hz()), expected.rate_hz, "{name}");
            assert_eq!(audio.n_frames(), expected.channels[0].len(), "{name}");
            check_finding(findings, expected, name);
        }
        let take = read_take(wav(name), None);
        assert_eq!(outcome(&take), expected.take, "{name}");
        if let Ok((take, findings)) = &take {
            assert_eq!(take.source(), expected.channels[0], "{name}");
            assert_eq!(take.driver(), expected.channels[1], "{name}");
            check_finding(findings, expected, name);
        }
    }
}

/// Why the chunks are walked here and hound gets a header of ours. If this fails after an update of hound, some of that may
/// have become needless.
#[test]
fn hound_alone_refuses_or_misreads_these() {
    for name in [
        "odd-list-padded",
        "long-fact",
        "pcm32-fmt18",
        "float32-fmt40",
        "pcm20-in-24",
        "length-all-ones",
        "pcm24-in-32",
        "length-0-crashed",
    ] {
        let samples =
            hound::WavReader::new(wav(name)).and_then(|mut wav| match wav.spec().sample_format {
                hound::SampleFormat::Float => wav.samples::<f32>().collect::<Result<Vec<f32>, _>>(),
                hound::SampleFormat::Int => {
                    let full_scale = (1u64 << (wav.spec().bits_per_sample - 1)) as f32;
                    wav.samples::<i32>()
                        .map(|s| s.map(|s| s as f32 / full_scale))
                        .collect()
                }
            });
        let channels = &expected()[name].channels;
        let truth: Vec<f32> = (0..2 * channels[0].len())
            .map(|i| channels[i % 2][i / 2])
            .collect();
        assert!(samples.is_err() || samples.unwrap() != truth, "{name}");
    }
}

#[test]
fn a_recovered_length_says_how_much_there_is() {
    let (_, findings) = read_take(wav("length-0-crashed"), None).unwrap();
    let evidence = findings[0].evidence.as_ref().unwrap();
    assert_eq!((evidence.value, evidence.unit), (12.0 / 48_000.0, "s"));
    assert_eq!(findings[0].severity, Severity::Caution);
}

#[test]
fn messages_say_what_where_and_what_to_do() {
    for (name, parts) in [
        ("rf64", &["RF64", "export it as plain WAV"][..]),
        ("bw64", &["BW64"]),
        ("float64", &["64-bit float", "32-bit float"]),
        ("float64-extensible", &["64-bit float"]),
        ("pcm8", &["8-bit PCM"]),
        ("mu-law", &["mu-law", "0x0007"]),
        ("mp3-in-wav", &["MP3"]),
        ("flac", &["FLAC", "WAV"]),
        ("text-file", &["not a WAV file"]),
        (
            "truncated-audio",
            &["0.000 s of 1.000 s", "191952 bytes", "copy it again"],
        ),
        ("nan", &["channel 2", "NaN", "0.000125 s"]),
        ("infinite", &["channel 1", "-inf", "0.000063 s"]),
        ("rate-8000", &["8000 Hz", "44100 to 192000 Hz"]),
        ("mono", &["single channel", "source.wav,driver.wav"]),
        ("four-channels", &["4 channels", "--channels"]),
        ("no-audio", &["empty", "record it again"]),
    ] {
        let message = message(read_take(wav(name), None));
        for part in parts {
            assert!(
                message.contains(part),
                "{name}: {part:?} is not in {message:?}"
            );
        }
    }
}

#[test]
fn channels_are_picked_and_the_rest_is_ignored() {
    let channels = &expected()["four-channels"].channels;
    let pick = ChannelPick::from_numbers(4, 2).unwrap();
    let (take, _) = read_take(wav("four-channels"), Some(pick)).unwrap();
    assert_eq!(take.source(), channels[3]);
    assert_eq!(take.driver(), channels[1]);

    let swapped = take.clone().swapped();
    assert_eq!(
        (swapped.source(), swapped.driver()),
        (take.driver(), take.source())
    );

    let first_two = Some(ChannelPick::default());
    assert!(read_take(wav("nan-in-third-channel"), first_two).is_ok());
}

#[test]
fn picks_that_cannot_be() {
    assert_eq!(outcome(&ChannelPick::from_numbers(0, 1)), "ChannelZero");
    assert_eq!(outcome(&ChannelPick::from_numbers(2, 0)), "ChannelZero");
    assert_eq!(outcome(&ChannelPick::from_numbers(2, 2)), "SameChannel");
    for (source, driver) in [(1, 5), (usize::MAX, 2)] {
        let pick = ChannelPick::from_numbers(source, driver).unwrap();
        let message = message(read_take(wav("four-channels"), Some(pick)));
        assert!(message.contains("1 to 4"), "{message}");
    }
    let pick = Some(ChannelPick::default());
    assert_eq!(outcome(&read_take(wav("mono"), pick)), "SingleChannel");
}

fn mono(name: &str) -> Audio {
    read_wav(wav(name)).unwrap().0
}

#[test]
fn two_mono_files_make_a_take() {
    let take = join_mono(mono("mono"), mono("mono-driver")).unwrap();
    assert_eq!(take, read_take(wav("pcm16-fmt16"), None).unwrap().0);
}

#[test]
fn mono_files_that_do_not_belong_together() {
    let shorter = join_mono(mono("mono"), mono("mono-driver-shorter"));
    assert!(message(shorter).contains("12 samples and the driver 11"));
    let slower = join_mono(mono("mono"), mono("mono-driver-44100"));
    assert!(message(slower).contains("48000 Hz and the driver at 44100 Hz"));
    let stereo = join_mono(mono("mono"), mono("pcm16-fmt16"));
    assert!(message(stereo).contains("the driver file has 2 channels"));
}

#[test]
fn a_take_is_checked_when_it_is_made() {
    let take = |source: &[f32], driver: &[f32]| Take::new(48_000, source.to_vec(), driver.to_vec());
    assert_eq!(take(&[0.5], &[0.25]).unwrap().n_frames(), 1);
    assert_eq!(outcome(&take(&[0.5], &[])), "LengthsDiffer");
    assert_eq!(outcome(&take(&[], &[])), "Empty");
    assert!(message(take(&[0.0, 0.0], &[0.0, f32::NAN])).contains("channel 2"));
    assert_eq!(
        outcome(&Take::new(0, vec![0.0], vec![0.0])),
        "RateOutOfRange"
    );
}

fn written(rate_hz: u32, channels: &[&[f32]], format: WavFormat) -> Vec<u8> {
    let mut file = Vec::new();
    write_wav(&mut file, rate_hz, channels, format).unwrap();
    file
}

#[test]
fn what_cannot_be_written_is_refused_before_the_first_byte() {
    let ok = [0.0_f32, 0.5];
    let loud = [0.0_f32, -1.000_001];
    let nan = [f32::NAN, 0.0];
    let none: [f32; 0] = [];
    for (rate_hz, channels, format, error) in [
        (
            48_000,
            &[&ok[..], &loud][..],
            WavFormat::Pcm24,
            "BeyondFullScale",
        ),
        (48_000, &[&loud], WavFormat::Pcm16, "BeyondFullScale"),
        (48_000, &[&ok, &nan], WavFormat::Float32, "NotFinite"),
        (
            48_000,
            &[&ok, &ok[..1]],
            WavFormat::Float32,
            "LengthsDiffer",
        ),
        (48_000, &[&none], WavFormat::Float32, "Empty"),
        (48_000, &[], WavFormat::Float32, "UnwritableChannels"),
        (
            48_000,
            &[&ok, &ok, &ok],
            WavFormat::Float32,
            "UnwritableChannels",
        ),
        (8_000, &[&ok], WavFormat::Float32, "RateOutOfRange"),
    ] {
        let mut file = Vec::new();
        assert_eq!(
            outcome(&write_wav(&mut file, rate_hz, channels, format)),
            error
        );
        assert!(file.is_empty(), "{error}");
    }
    let file = written(48_000, &[&loud], WavFormat::Float32);
    assert_eq!(
        read_wav(Cursor::new(file)).unwrap().0.channel(0).unwrap(),
        loud
    );
}

#[test]
fn written_files_state_their_sizes_and_are_padded() {
    // One channel, three frames of three bytes: an odd chunk.
    let file = written(44_100, &[&[0.0, 0.5, -1.0]], WavFormat::Pcm24);
    let size = u32::from_le_bytes(file[4..8].try_into().unwrap()) as usize;
    assert_eq!(size + 8, file.len());
    assert_eq!(file.len() % 2, 0);
    let audio = b"data\x09\0\0\0\0\0\0\0\0\x40\0\0\x80\0";
    assert!(file.ends_with(audio));
    // Full scale just misses the largest integer.
    let file = written(44_100, &[&[1.0, 0.25, -1.0]], WavFormat::Pcm16);
    assert!(file.ends_with(b"data\x06\0\0\0\xFF\x7F\0\x20\0\x80"));
}

struct Broken;

impl Read for Broken {
    fn read(&mut self, _: &mut [u8]) -> io::Result<usize> {
        Err(io::Error::other("the stick was pulled"))
    }
}

impl Seek for Broken {
    fn seek(&mut self, _: SeekFrom) -> io::Result<u64> {
        Ok(1000)
    }
}

impl Write for Broken {
    fn write(&mut self, _: &[u8]) -> io::Result<usize> {
        Err(io::Error::other("the stick was pulled"))
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

#[test]
fn failing_readers_and_writers_are_errors() {
    assert!(message(read_wav(Broken)).contains("the stick was pulled"));
    let result = write_wav(Broken, 48_000, &[&[0.0]], WavFormat::Float32);
    assert!(message(result).contains("the stick was pulled"));
}

/// Says it is longer than it is, as a file does that another program cuts while it is read.
struct Shrinking(Cursor<Vec<u8>>);

impl Read for Shrinking {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        self.0.read(buffer)
    }
}

impl Seek for Shrinking {
    fn seek(&mut self, to: SeekFrom) -> io::Result<u64> {
        match to {
            SeekFrom::End(_) => Ok(10_000),
            to => self.0.seek(to),
        }
    }
}

#[test]
fn a_file_that_shrinks_while_it_is_read_is_an_error() {
    let result = read_wav(Shrinking(wav("length-all-ones")));
    assert_eq!(outcome(&result), "Read");
}

const RATES_HZ: [u32; 6] = [44_100, 48_000, 88_200, 96_000, 176_400, 192_000];

fn sample() -> impl Strategy<Value = f32> {
    prop_oneof![8 => -1.0_f32..=1.0, 1 => Just(1.0), 1 => Just(-1.0), 1 => Just(0.0)]
}

/// Any fixture with some bytes changed, cut out or put in.
fn mutated() -> impl Strategy<Value = Vec<u8>> {
    let files: Vec<Vec<u8>> = expected()
        .keys()
        .map(|name| fixture(&format!("{name}.wav")))
        .filter(|file| !file.is_empty())
        .collect();
    let byte = prop_oneof![any::<u8>(), Just(0), Just(0xFF), Just(0x7F), Just(0x80)];
    // Mostly in the header: the first 80 bytes.
    let place = prop_oneof![4 => 0..80_usize, 1 => any::<usize>()];
    let changes = prop::collection::vec((place, byte, 0..8_u8), 1..6);
    (prop::sample::select(files), changes).prop_map(|(mut file, changes)| {
        for (place, byte, kind) in changes {
            let place = place % file.len();
            match kind {
                0 => file.insert(place, byte),
                1 if file.len() > 1 => drop(file.remove(place)),
                2 if place > 0 => file.truncate(place),
                _ => file[place] = byte,
            }
        }
        file
    })
}

/// Whatever the bytes, the outcome is an error or samples that are really in them.
fn check_bytes(file: &[u8]) -> Result<(), TestCaseError> {
    if let Ok((audio, _)) = read_wav(Cursor::new(file)) {
        prop_assert!(audio.n_frames() > 0);
        prop_assert!(2 * audio.n_frames() * audio.n_channels() <= file.len());
    }
    for pick in [None, ChannelPick::from_numbers(3, 1).ok()] {
        if let Ok((take, _)) = read_take(Cursor::new(file), pick) {
            prop_assert!(
                take.source()
                    .iter()
                    .chain(take.driver())
                    .all(|sample| sample.is_finite())
            );
        }
    }
    Ok(())
}

fn seeded(cases: u32) -> ProptestConfig {
    ProptestConfig {
        cases,
        rng_seed: prop::test_runner::RngSeed::Fixed(20_261_125),
        failure_persistence: None,
        ..ProptestConfig::default()
    }
}

proptest! {
    #![proptest_config(seeded(4000))]

    #[test]
    fn arbitrary_bytes_never_panic(file in prop::collection::vec(any::<u8>(), 0..200)) {
        check_bytes(&file)?;
    }

    #[test]
    fn arbitrary_chunks_never_panic(
        chunks in prop::collection::vec((prop::sample::select(vec![*b"fmt ", *b"data", *b"LIST", *b"fact"]),
            prop_oneof![any::<u32>(), 0..64_u32], prop::collection::vec(any::<u8>(), 0..64)), 0..6)
    ) {
        let mut file = b"RIFF\0\0\0\0WAVE".to_vec();
        for (id, size, body) in chunks {
            file.extend_from_slice(&id);
            file.extend_from_slice(&size.to_le_bytes());
            file.extend_from_slice(&body);
        }
        check_bytes(&file)?;
    }

    #[test]
    fn mutated_files_never_panic(file in mutated()) {
        check_bytes(&file)?;
    }
}

proptest! {
    #![proptest_config(seeded(300))]

    #[test]
    fn written_files_read_back(
        frames in prop::collection::vec((sample(), sample()), 1..200),
        rate_hz in prop::sample::select(&RATES_HZ[..]),
    ) {
        let (source, driver): (Vec<f32>, Vec<f32>) = frames.into_iter().unzip();

        let file = written(rate_hz, &[&source, &driver], WavFormat::Float32);
        let (take, findings) = read_take(Cursor::new(&file), None).unwrap();
        prop_assert!(findings.is_empty());
        prop_assert_eq!(&take, &Take::new(rate_hz, source.clone(), driver.clone()).unwrap());
        let by_hound: Vec<f32> =
            hound::WavReader::new(Cursor::new(&file)).unwrap().samples::<f32>().map(Result::unwrap).collect();
        prop_assert_eq!(by_hound.iter().copied().step_by(2).collect::<Vec<f32>>(), source.clone());

        let mut mono = vec![];
        for (format, half_step) in [(WavFormat::Pcm16, HALF_STEP_16), (WavFormat::Pcm24, HALF_STEP_24)] {
            let file = written(rate_hz, &[&source, &driver], format);
            let (take, findings) = read_take(Cursor::new(&file), None).unwrap();
            prop_assert!(findings.is_empty());
            prop_assert_eq!(take.sample_rate_hz(), rate_hz);
            for (read, written) in take.source().iter().chain(take.driver()).zip(source.iter().chain(&driver)) {
                // +1.0 is one step beyond the largest integer.
                let tolerance = if *written > 1.0 - half_step { 2.0 * half_step } else { half_step };
                prop_assert!((read - written).abs() <= tolerance, "{} became {}", written, read);
            }
            let by_hound: Vec<i32> =
                hound::WavReader::new(Cursor::new(&file)).unwrap().samples::<i32>().map(Result::unwrap).collect();
            let first: Vec<f32> = by_hound.iter().step_by(2).map(|&step| step as f32 * 2.0 * half_step).collect();
            prop_assert_eq!(&first, take.source());
            mono = take.source().to_vec();
        }

        let file = written(rate_hz, &[&source], WavFormat::Pcm24);
        let (audio, _) = read_wav(Cursor::new(&file)).unwrap();
        prop_assert_eq!(audio.channel(0).unwrap(), mono);
    }
}
