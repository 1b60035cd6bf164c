//! One take: judged, and written as it was recorded.

use std::io::Cursor;

use serde::Deserialize;
use serde_json::{Value, json};

use super::answer::{Answer, Refusal};
use super::frame::Request;
use super::given::{One, SoundJson};
use super::sound::{findings_json, take_of};
use crate::capture::Recorded;
use crate::desk::Desk;
use crate::faults::{Facts, Played, recording_findings};
use crate::finding::{Finding, Severity};
use crate::recording::{Take, WavFormat, join_mono, read_take, read_wav, write_wav};
use crate::session::{TakeLevel, sha256_hex};

#[derive(Deserialize)]
struct Made {
    session: Value,
    take: Value,
    sound: SoundJson,
    sample_rate_hz: u32,
    level_dbfs: f64,
    n_reported_losses: u32,
}

/// A recording that the page made becomes a file and an entry of session.json.
pub(super) fn take(request: &Request<'_>) -> Result<Answer, Refusal> {
    let args: Made = request.args()?;
    let mut one = One::read(args.session, args.take)?;
    let desk = one.desk(args.sound.at(args.sample_rate_hz))?;
    let recorded = take_of(request, args.sample_rate_hz)?;
    let mut wav = vec![];
    let channels = [recorded.source(), recorded.driver()];
    write_wav(&mut wav, args.sample_rate_hz, &channels, WavFormat::Pcm24)?;
    // Judged is what was written, so that whoever reads the file judges the same samples.
    let (written, _) = read_take(Cursor::new(&wav), None)?;
    let (findings, exchanged) = judge(
        &desk,
        &one,
        written,
        args.level_dbfs,
        args.n_reported_losses,
    )?;
    one.take.sha256 = vec![sha256_hex(&mut wav.as_slice())?];
    one.take.level = Some(TakeLevel {
        playback_dbfs: args.level_dbfs,
        driver_peak_v: None,
    });
    answer(one, &findings, exchanged, vec![wav])
}

fn judge(
    desk: &Desk,
    one: &One,
    take: Take,
    level_dbfs: f64,
    n_reported_losses: u32,
) -> Result<(Vec<Finding>, bool), Refusal> {
    let playback = desk.sound.full(level_dbfs)?;
    let recorded = Recorded {
        take,
        n_reported_losses,
    };
    let judged = desk.judge(&one.take.name, one.take.condition, &playback, &recorded);
    Ok((judged.findings, judged.exchanged))
}

#[derive(Deserialize)]
struct Brought {
    session: Value,
    take: Value,
    /// What was played; null if it was something else than the page's own stimulus.
    sound: Option<SoundJson>,
    level_dbfs: Option<f64>,
    /// The rate of the file that was played, Hz.
    played_rate_hz: Option<u32>,
}

/// A recording from any recorder at any rate, one stereo file or two mono files: judged against the stimulus where that is known.
pub(super) fn dropped(request: &Request<'_>) -> Result<Answer, Refusal> {
    let args: Brought = request.args()?;
    let mut one = One::read(args.session, args.take)?;
    let channels = one.take.channels;
    let (take, mut findings) = match request.blobs.as_slice() {
        [both] => read_take(Cursor::new(both), channels)?,
        [source, driver] => {
            let (source, mut findings) = read_wav(Cursor::new(source))?;
            let (driver, others) = read_wav(Cursor::new(driver))?;
            findings.extend(others);
            (join_mono(source, driver)?, findings)
        }
        _ => {
            return Err(Refusal::new(
                "a recording is one stereo file or two mono files",
            ));
        }
    };
    for finding in &mut findings {
        finding.take = Some(one.take.name.clone());
    }
    let mut exchanged = false;
    match (args.sound, args.level_dbfs, args.played_rate_hz) {
        (Some(sound), Some(level_dbfs), Some(rate_hz)) if rate_hz == take.sample_rate_hz() => {
            let desk = one.desk(sound.at(rate_hz))?;
            let (judged, swapped) = judge(&desk, &one, take, level_dbfs, 0)?;
            findings.extend(judged);
            exchanged = swapped;
        }
        (sound, level_dbfs, rate_hz) => {
            let played = match (sound, level_dbfs, rate_hz) {
                (Some(sound), Some(level_dbfs), Some(rate_hz)) => Some(Played {
                    samples: sound.at(rate_hz).full(level_dbfs)?.samples().to_vec(),
                    sample_rate_hz: rate_hz,
                }),
                _ => None,
            };
            let expected = crate::session::expected(&one.take.condition, Some(one.jig()?.wiring));
            let facts = Facts::of(&take);
            let name = &one.take.name;
            findings.extend(recording_findings(
                name,
                &take,
                &facts,
                expected,
                played.as_ref(),
            ));
        }
    }
    one.take.sha256 = request
        .blobs
        .iter()
        .map(|blob| sha256_hex(&mut &**blob))
        .collect::<Result<_, _>>()?;
    answer(one, &findings, exchanged, vec![])
}

/// The reply to whoever made or brought a take.
pub(super) fn answer(
    one: One,
    findings: &[Finding],
    exchanged: bool,
    blobs: Vec<Vec<u8>>,
) -> Result<Answer, Refusal> {
    let damaged = findings
        .iter()
        .any(|finding| finding.severity == Severity::Redo);
    Ok(Answer {
        result: json!({
            "take": one.entry()?,
            "findings": findings_json(findings),
            "damaged": damaged,
            "exchanged": exchanged,
        }),
        blobs,
    })
}
