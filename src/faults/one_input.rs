//! What goes wrong where one clip hears both nodes in turn.

use super::clipping::{clipped, flat_tops, smallest_step};
use super::recording::Expected;
use crate::finding::{Code, Finding, Severity};
use crate::jig::Wiring;
use crate::signal::{ChannelRatio, Jump, OneInput, OneInputError};

/// Below this peak there is no signal, dB relative to full scale: the last bit of 16, which noise fills.
const DEAD_DBFS: f64 = -90.0;
/// By how much a level may move, dB: 0.1 dB is 1 % of the impedance.
const MOVED_DB: f64 = 0.1;
/// By how much a clock may change within a recording, parts per million. Crystals stay within a tenth of it for a minute (common
/// practice, no source); what moves more is a program that keeps two clocks together by converting the rate.
const BENT_PPM: f64 = 1.0;

/// Findings about the samples of one input: what they show by themselves.
pub fn one_input_samples(name: &str, samples: &[f32], sample_rate_hz: f64) -> Vec<Finding> {
    let peak = samples
        .iter()
        .fold(0.0, |m: f32, v| if v.abs() > m { v.abs() } else { m });
    let peak_dbfs = 20.0 * f64::from(peak).log10();
    if peak_dbfs < DEAD_DBFS {
        return vec![
            Finding::new(
                Code::DeadChannel,
                Severity::Redo,
                "the input holds no signal at all",
                "check that this input is plugged in, switched to line and turned up",
            )
            .with_evidence(peak_dbfs, "dB", Some(DEAD_DBFS))
            .about(name),
        ];
    }
    flat_tops(samples, smallest_step(samples))
        .map(|flat| clipped(name, "the input", flat, sample_rate_hz))
        .into_iter()
        .collect()
}

/// The finding of a recording of which nothing could be made.
pub fn one_input_lost(name: &str, error: &OneInputError, expected: Expected) -> Finding {
    let (code, severity, advice) = match error {
        OneInputError::OneStretch { .. } if expected.silent_driver => (
            Code::ClipNotMoved,
            Severity::Caution,
            "leave this take out: what is left across shorted leads is too quiet to be followed (their resistance can be given as --lead)",
        ),
        OneInputError::OneStretch { .. } | OneInputError::TooShort { .. } => (
            Code::ClipNotMoved,
            Severity::Redo,
            "start the recording before the sound; leave the clip on the source node, move it once, leave it on the driver's side, \
             each for nine periods at least, without touching anything meanwhile",
        ),
        _ => (
            Code::PeriodNotFound,
            Severity::Redo,
            "play the periodic signal made for this, without a break, and say its period; check the input and its gain; send the file \
             as it was recorded, unconverted",
        ),
    };
    Finding::new(code, severity, error.to_string(), advice).about(name)
}

/// Findings about how the recording went.
pub fn one_input_findings(
    name: &str,
    found: &OneInput,
    ratio: Option<&ChannelRatio>,
    expected: Expected,
    wiring: Option<Wiring>,
    sample_rate_hz: f64,
) -> Vec<Finding> {
    let mut findings: Vec<Finding> = found
        .jumps
        .iter()
        .map(|jump| lost(name, jump, sample_rate_hz))
        .collect();
    findings.extend(found.disturbed.iter().map(|gap| {
        let at_s = 0.5 * (gap.start + gap.end) as f64 / sample_rate_hz;
        Finding::new(
            Code::ClipDisturbed,
            Severity::Note,
            format!("the sound was disturbed around {at_s:.1} s, while the clip should have rested; what was undisturbed was used"),
            "let go of the clip and the leads while the sound plays",
        )
        .with_evidence(at_s, "s", None)
        .about(name)
    }));
    findings.extend(level_moved(name, found));
    if found.reversed {
        findings.push(
            Finding::new(
                Code::ChannelsSwapped,
                Severity::Caution,
                "the clip was on the driver's side first: it was taken that way round",
                "nothing has to be done now; next time begin at the source node",
            )
            .about(name),
        );
    }
    if found.drift_change_ppm.abs() > BENT_PPM {
        findings.push(
            Finding::new(
                Code::ClockUnsteady,
                Severity::Caution,
                format!(
                    "the clocks of playback and recording moved against each other by {:.1} ppm within the recording",
                    found.drift_change_ppm
                ),
                "play and record with one device, and keep sound servers from converting the rate",
            )
            .with_evidence(found.drift_change_ppm, "[ppm]", Some(BENT_PPM))
            .about(name),
        );
    }
    let returned = found.source.len() > 1 || found.driver.len() > 1 && found.reversed;
    if !returned && findings.iter().all(|f| f.code != Code::FramesLost) {
        findings.extend(not_returned(name, ratio, expected, wiring, sample_rate_hz));
    }
    findings
}

fn lost(name: &str, jump: &Jump, sample_rate_hz: f64) -> Finding {
    let [from_s, to_s] =
        [jump.from_frame, jump.to_frame].map(|frame| frame as f64 / sample_rate_hz);
    let frames = jump.n_frames.round();
    let what = if frames > 0.0 { "too many" } else { "missing" };
    let meanwhile = if jump.within {
        ""
    } else {
        ", while the clip moved or beside it"
    };
    Finding::new(
        Code::FramesLost,
        Severity::Redo,
        format!(
            "between {from_s:.1} s and {to_s:.1} s {:.0} frames are {what} (or as many up to a whole period){meanwhile}: the time \
             between the two nodes is not known",
            frames.abs()
        ),
        "close other programs, use a larger buffer, then make the take again: here every frame counts",
    )
    .with_evidence(frames, "1", Some(0.0))
    .about(name)
}

fn level_moved(name: &str, found: &OneInput) -> Option<Finding> {
    let wander_db = found
        .source
        .iter()
        .chain(&found.driver)
        .map(|stretch| stretch.wander_db)
        .max_by(f64::total_cmp);
    let strange_db = found.strange_db.first().copied();
    let moved_db = found
        .source_moved_db
        .or(strange_db)
        .filter(|db| db.abs() > MOVED_DB);
    let (db, what) = match (moved_db, wander_db) {
        (Some(db), _) if found.source_moved_db.is_some() => (
            db,
            "from when the clip was there first to when it came back",
        ),
        (Some(db), _) => (
            db,
            "to a stretch that is neither the source node nor the driver's side",
        ),
        (None, Some(db)) if db > MOVED_DB => (db, "while the clip rested on one node"),
        _ => return None,
    };
    Some(
        Finding::new(
            Code::LevelMoved,
            Severity::Redo,
            format!("the level moved by {db:.2} dB {what}"),
            "leave all volume controls and the input's gain alone, turn off automatic gain and limiters, then make the take again",
        )
        .with_evidence(db, "dB", Some(MOVED_DB))
        .about(name),
    )
}

/// Share of the sample rate that the sound has to reach for a single frame to turn the phase by 120° there.
const REACHES: f64 = 1.0 / 3.0;
/// Points of the highest octave that have to be known …
const FEWEST_POINTS: usize = 20;
/// … within this share of the ratio, so that noise turns them by 6° at most.
const KNOWN: f64 = 0.1;
/// Phases of an impedance that a coil or a resistor can have, degrees, with room for noise and for what leads and inputs do.
const COIL_DEG: (f64, f64) = (-20.0, 100.0);
/// Share of the points that has to lie there. A frame too many or too few leaves less than half.
const INSIDE: f64 = 0.9;

/// What nobody can know, as the clip was not brought back; or that frames were lost meanwhile, since no driver has such phases.
fn not_returned(
    name: &str,
    ratio: Option<&ChannelRatio>,
    expected: Expected,
    wiring: Option<Wiring>,
    sample_rate_hz: f64,
) -> Option<Finding> {
    if expected.alike || expected.silent_driver {
        return None;
    }
    let inside = ratio
        .zip(wiring)
        .and_then(|(ratio, wiring)| plausible_share(ratio, wiring, sample_rate_hz));
    if let Some(share) = inside.filter(|share| *share < INSIDE) {
        return Some(
            Finding::new(
                Code::FramesLost,
                Severity::Redo,
                format!(
                    "the phases at high frequencies are those of no driver ({:.0} % of them could be): frames were lost or repeated while \
                     the clip moved",
                    100.0 * share
                ),
                "close other programs, use a larger buffer, then make the take again: here every frame counts",
            )
            .with_evidence(share, "1", Some(INSIDE))
            .about(name),
        );
    }
    let (severity, message) = match inside {
        Some(_) => (
            Severity::Note,
            "the clip was not brought back to the source node: a level that moved meanwhile would not be noticed",
        ),
        None => (
            Severity::Caution,
            "the clip was not brought back to the source node, and the sound does not reach high enough to show a lost frame: neither \
             that nor a level that moved meanwhile would be noticed",
        ),
    };
    Some(
        Finding::new(
            Code::ClipNotReturned,
            severity,
            message,
            "move the clip back to the source node at the end, and leave it there for nine periods",
        )
        .about(name),
    )
}

/// Share of the points in the highest octave whose impedance a coil or a resistor can have; `None` if too little is known there.
fn plausible_share(ratio: &ChannelRatio, wiring: Wiring, sample_rate_hz: f64) -> Option<f64> {
    let top_hz = *ratio.frequency.as_slice().last()?;
    if top_hz < REACHES * sample_rate_hz {
        return None;
    }
    let points = ratio
        .frequency
        .as_slice()
        .iter()
        .zip(&ratio.h)
        .zip(&ratio.covariance);
    let known: Vec<f64> = points
        .filter(|((f_hz, h), covariance)| {
            **f_hz > 0.5 * top_hz && (0.5 * covariance.trace()).sqrt() < KNOWN * h.norm()
        })
        .map(|((_, h), _)| {
            let z = match wiring {
                Wiring::AcrossDriver => h / (1.0 - h),
                Wiring::AcrossResistor => (1.0 - h) / h,
            };
            z.arg().to_degrees()
        })
        .collect();
    if known.len() < FEWEST_POINTS {
        return None;
    }
    let inside = known
        .iter()
        .filter(|deg| (COIL_DEG.0..=COIL_DEG.1).contains(*deg));
    Some(inside.count() as f64 / known.len() as f64)
}
