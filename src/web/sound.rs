//! What is played, and what silence, taps and the channels show.

use serde::Deserialize;
use serde_json::{Value, json};

use super::answer::{Answer, Refusal};
use super::frame::{Request, bytes_of};
use super::given::SoundJson;
use crate::bundle::without_flags;
use crate::capture::Recorded;
use crate::coins::DriverClass;
use crate::faults::{Expected, Heard, playback_check, quiet_findings, tapped};
use crate::recording::Take;
use crate::sheet;

/// Sounding part of a take of the driver, s: a bundle of eight takes then goes through mail.
const TAKE_S: f64 = 7.0;
/// The same for a calibration, which has no resonance to resolve, s.
const CALIBRATION_S: f64 = 4.0;

#[derive(Deserialize)]
struct Class {
    class: String,
    calibration: bool,
}

/// What is played to a driver of some class.
pub(super) fn sound(request: &Request<'_>) -> Result<Answer, Refusal> {
    let args: Class = request.args()?;
    let class = DriverClass::parse(&args.class)
        .ok_or_else(|| Refusal::new(format!("\"{}\" is no class of driver", args.class)))?;
    Ok(json!({"sound": {
        "start_hz": class.start_hz(),
        "length_s": if args.calibration { CALIBRATION_S } else { TAKE_S },
        "ceiling_dbfs": class.ceiling_dbfs(),
    }})
    .into())
}

#[derive(Deserialize)]
struct Play {
    sound: SoundJson,
    sample_rate_hz: u32,
    kind: String,
    level_dbfs: Option<f64>,
    length_s: Option<f64>,
}

/// The samples of the left output.
pub(super) fn playback(request: &Request<'_>) -> Result<Answer, Refusal> {
    let args: Play = request.args()?;
    let sound = args.sound.at(args.sample_rate_hz);
    let level_dbfs = || {
        args.level_dbfs
            .ok_or_else(|| Refusal::new("how loud is missing"))
    };
    let playback = match args.kind.as_str() {
        "take" => sound.full(level_dbfs()?)?,
        "burst" => sound.burst(level_dbfs()?)?,
        "silence" => sound.silence(args.length_s.unwrap_or(1.0)),
        other => return Err(Refusal::new(format!("\"{other}\" is nothing to play"))),
    };
    Ok(Answer {
        result: json!({
            "n_frames": playback.samples().len(),
            "duration_s": playback.duration_s(),
            "peak_dbfs": finite(playback.peak_dbfs()),
        }),
        blobs: vec![bytes_of(playback.samples())],
    })
}

pub(super) fn finite(value: f64) -> Option<f64> {
    value.is_finite().then_some(value)
}

#[derive(Deserialize)]
struct Rate {
    sample_rate_hz: u32,
}

pub(super) fn take_of(request: &Request<'_>, sample_rate_hz: u32) -> Result<Take, Refusal> {
    Ok(Take::new(
        sample_rate_hz,
        request.samples(0)?,
        request.samples(1)?,
    )?)
}

/// Findings about one take, which know it by its name.
pub(super) fn findings_json(findings: &[crate::finding::Finding]) -> Value {
    let entries: Vec<sheet::Finding> = findings.iter().map(Into::into).collect();
    told(&entries, |subject| vec![subject])
}

/// Findings as somebody reads them who has no command line, each with the takes that its subject means.
pub(super) fn told<'a>(
    findings: impl IntoIterator<Item = &'a sheet::Finding>,
    meant_by: impl Fn(&'a str) -> Vec<&'a str>,
) -> Value {
    let plain = |finding: &'a sheet::Finding| {
        json!({
            "code": finding.code,
            "severity": finding.severity,
            "take": finding.take,
            "takes": finding.take.as_deref().map_or(vec![], &meant_by),
            "message": without_flags(&finding.message),
            "advice": without_flags(&finding.advice),
            "evidence": finding.evidence,
        })
    };
    findings.into_iter().map(plain).collect()
}

/// What the inputs hold while nothing plays.
pub(super) fn quiet(request: &Request<'_>) -> Result<Answer, Refusal> {
    let args: Rate = request.args()?;
    let findings = quiet_findings("before any sound", &take_of(request, args.sample_rate_hz)?);
    Ok(json!({"findings": findings_json(&findings)}).into())
}

/// Where taps on the cone were heard.
pub(super) fn taps(request: &Request<'_>) -> Result<Answer, Refusal> {
    let args: Rate = request.args()?;
    let tapped = tapped(&take_of(request, args.sample_rate_hz)?);
    let heard = match tapped.heard {
        Heard::Source => "source",
        Heard::Driver => "driver",
        Heard::Both => "both",
        Heard::Neither => "neither",
    };
    Ok(json!({"heard": heard, "rise_db": tapped.rise_db}).into())
}

/// By how much either channel's gain may differ between two levels, dB: automatic gain moves it by decibels (common practice, no
/// source), and what noise leaves is bounded below.
const GAIN_DB: f64 = 0.2;
/// Most of a burst's energy that may be noise before its level means anything: what is subtracted of it is known to a tenth or so,
/// which is 0.04 dB.
const MOST_NOISE: f64 = 0.1;
/// Silence at the beginning that noise is read from, s; the page records that much before it plays.
const QUIET_S: f64 = 0.3;

#[derive(Deserialize)]
struct Two {
    sound: SoundJson,
    sample_rate_hz: u32,
    low_dbfs: f64,
    high_dbfs: f64,
}

/// Whether the recording is what came in: two bursts at two levels, each whole, and both channels louder by what was played louder.
pub(super) fn raw(request: &Request<'_>) -> Result<Answer, Refusal> {
    let args: Two = request.args()?;
    let sound = args.sound.at(args.sample_rate_hz);
    let mut findings = vec![];
    let mut levels_db = vec![];
    let bursts = [
        (args.low_dbfs, "first burst"),
        (args.high_dbfs, "second burst"),
    ];
    for (i, (level_dbfs, name)) in bursts.into_iter().enumerate() {
        let channels = [request.samples(2 * i)?, request.samples(2 * i + 1)?];
        levels_db.push(
            channels
                .each_ref()
                .map(|samples| Some(level_db(samples, args.sample_rate_hz)? - level_dbfs)),
        );
        let [source, driver] = channels;
        let recorded = Recorded {
            take: Take::new(args.sample_rate_hz, source, driver)?,
            n_reported_losses: 0,
        };
        // Channel 2 is anybody's before the wiring was checked.
        let expected = Expected {
            silent_driver: true,
            ..Expected::default()
        };
        let check = playback_check(name, &sound.burst(level_dbfs)?, &recorded, expected);
        findings.extend(check.findings);
    }
    let difference = |channel: usize| Some(levels_db[1][channel]? - levels_db[0][channel]?);
    let differences: Vec<Option<f64>> = (0..2).map(difference).collect();
    let steady = differences
        .iter()
        .flatten()
        .all(|difference_db| difference_db.abs() <= GAIN_DB);
    Ok(json!({
        "steady": differences.iter().any(Option::is_some) && steady,
        "difference_db": differences,
        "limit_db": GAIN_DB,
        "findings": findings_json(&findings),
    })
    .into())
}

/// Energy of what was heard above the noise, dB; `None` where the noise is too much of it.
fn level_db(samples: &[f32], sample_rate_hz: u32) -> Option<f64> {
    let n_quiet = (QUIET_S * f64::from(sample_rate_hz)) as usize;
    let quiet = samples.get(..n_quiet)?;
    let mean = samples.iter().map(|&v| f64::from(v)).sum::<f64>() / samples.len() as f64;
    let energy = |part: &[f32]| {
        let squares = part.iter().map(|&v| (f64::from(v) - mean).powi(2));
        squares.sum::<f64>()
    };
    let all = energy(samples);
    let noise = energy(quiet) * samples.len() as f64 / n_quiet as f64;
    (noise <= MOST_NOISE * all && all > 0.0).then(|| 10.0 * (all - noise).log10())
}
