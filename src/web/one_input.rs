//! One input whose clip is moved.

use std::io::Cursor;

use serde::Deserialize;
use serde_json::{Value, json};

use super::answer::{Answer, Refusal};
use super::frame::{Request, bytes_of};
use super::given::{One, SoundJson};
use super::take::answer;
use crate::faults::reported_losses;
use crate::finding::Code;
use crate::progress::Unwatched;
use crate::recording::{WavFormat, read_wav, write_wav};
use crate::session::{OneInputTake, TakeLevel, one_input_check, sha256_hex};
use crate::signal::{Envelope, Multisine, Period, Tilt};

/// Length of one period, s: what `farcone stimulus one-input` makes.
const PERIOD_S: f64 = 1.4;

#[derive(Deserialize)]
struct Play {
    sound: SoundJson,
    sample_rate_hz: u32,
    level_dbfs: f64,
}

/// One period, to be played over and over.
pub(super) fn sound(request: &Request<'_>) -> Result<Answer, Refusal> {
    let args: Play = request.args()?;
    let sound = args.sound.at(args.sample_rate_hz);
    if args.level_dbfs > sound.ceiling_dbfs {
        return Err(Refusal::new(format!(
            "{:.1} dBFS is above the ceiling of {:.1} dBFS",
            args.level_dbfs, sound.ceiling_dbfs
        )));
    }
    let (start_hz, stop_hz) = sound.band_hz();
    let period = Multisine {
        start_hz,
        stop_hz,
        period_s: PERIOD_S,
        n_periods: 1,
        tilt: Tilt::Pink,
        envelope: Envelope {
            sample_rate_hz: f64::from(args.sample_rate_hz),
            level_dbfs: args.level_dbfs,
            ..Envelope::default()
        },
    }
    .period()?;
    let samples: Vec<f32> = period.iter().map(|&v| v as f32).collect();
    Ok(Answer {
        result: json!({
            "period_frames": samples.len(),
            "duration_s": samples.len() as f64 / f64::from(args.sample_rate_hz),
        }),
        blobs: vec![bytes_of(&samples)],
    })
}

/// Peak below which 16 bits are too coarse, −46 dBFS: the search for the level ends at −36 dBFS where it can, and what 16 bits round off,
/// −101 dBFS in RMS, is then 45 dB and more below what is heard, before any averaging.
const FAINT: f32 = 0.005;

/// 24 bits would not go through mail.
fn format_of(samples: &[f32]) -> WavFormat {
    if samples.iter().any(|sample| sample.abs() > FAINT) {
        WavFormat::Pcm16
    } else {
        WavFormat::Pcm24
    }
}

#[derive(Deserialize)]
struct Made {
    session: Value,
    take: Value,
    sample_rate_hz: u32,
    level_dbfs: f64,
    period_frames: u32,
    n_reported_losses: u32,
}

/// A recording of one input becomes a file and an entry of session.json.
pub(super) fn take(request: &Request<'_>) -> Result<Answer, Refusal> {
    let args: Made = request.args()?;
    let mut one = One::read(args.session, args.take)?;
    let samples = request.samples(0)?;
    let mut wav = vec![];
    let format = format_of(&samples);
    write_wav(&mut wav, args.sample_rate_hz, &[&samples], format)?;
    // Judged is what was written.
    let (written, _) = read_wav(Cursor::new(&wav))?;
    let period = Period {
        frames: args.period_frames,
        sample_rate_hz: args.sample_rate_hz,
    };
    let recording = OneInputTake {
        samples: written.channel(0).unwrap_or_default().to_vec(),
        sample_rate_hz: args.sample_rate_hz,
        period,
    };
    let wiring = one.jig()?.wiring;
    let (name, condition) = (&one.take.name, &one.take.condition);
    let mut findings = one_input_check(name, condition, &recording, wiring, &mut Unwatched)?;
    if !findings.iter().any(|found| found.code == Code::FramesLost) {
        findings.extend(reported_losses(name, args.n_reported_losses));
    }
    for finding in &mut findings {
        finding.take.get_or_insert_with(|| name.clone());
    }
    one.take.sha256 = vec![sha256_hex(&mut wav.as_slice())?];
    one.take.one_input = Some(period);
    one.take.level = Some(TakeLevel {
        playback_dbfs: args.level_dbfs,
        driver_peak_v: None,
    });
    answer(one, &findings, false, vec![wav])
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn faint_recordings_keep_24_bits() {
        assert_eq!(format_of(&[0.0, -0.02]), WavFormat::Pcm16);
        assert_eq!(format_of(&[0.0, 0.004]), WavFormat::Pcm24);
        assert_eq!(format_of(&[]), WavFormat::Pcm24);
    }
}
