//! Whether a recording holds what was played, all of it, unchanged but for a delay and a smooth response.

use super::clipping::{clipped, flat_tops, smallest_step};
use super::contact::{contact_lost, lost_contact};
use super::level::{LEVEL_STEP_DB, LevelStep, level_steps};
use super::monitoring::{fed_back, loop_echo};
use super::recording::Expected;
use super::resampled::{collapse, fades, resampled};
use super::statistics::median;
use super::stretches::{
    Jump, Stretch, blank_stretches, counted, dips, jumps, lost_stretches, wander,
};
use crate::capture::{Playback, Recorded};
use crate::finding::{Code, Finding, Severity};
use crate::signal::{Follow, FollowWindow, band_gains, follow, follow_again, loading_share};

/// Windows below this frequency are not asked whether they were found: coupling and hum take them, Hz.
pub(super) const LOWEST_HZ: f64 = 20.0;
/// Share of the sample rate above which filters of converters may take a window.
pub(super) const TOP: f64 = 0.42;
/// How much of one wave a window has to be before its delay and gain are anybody's.
pub(super) const TONAL: f64 = 0.7;
/// Share of the windows that has to be found for the recording to be one of this stimulus at all.
const FOUND_SHARE: f64 = 0.4;
/// Jumps whose frames are counted again.
const N_COUNTED: usize = 3;
/// Frames of jump that are visible above 1 kHz.
const SMALLEST_JUMP: f64 = 2.0;

/// What laying the source channel against the stimulus showed.
#[derive(Clone, Debug, PartialEq)]
pub struct PlaybackCheck {
    /// What is wrong.
    pub findings: Vec<Finding>,
    /// Delay of the recording, latency of playback and capture together, frames; `None` if what was played is not in it.
    pub delay_frames: Option<f64>,
    /// Recorded over played amplitude of the source channel, the median over the windows, dB; `None` likewise.
    pub gain_db: Option<f64>,
    /// By how much the clocks differ, parts per million; `None` if nothing tells. Any value is no fault.
    pub drift_ppm: Option<f64>,
    /// Share of the source channel's energy that the stimulus explains, the median over the windows.
    pub explained: Option<f64>,
    /// How much of the driver channel is in the source channel: 0 for a source without impedance, 0.5 across the driver for one
    /// as large as the sense resistor, negative across the resistor.
    pub loading_share: f64,
}

/// Findings about the playback of one take.
pub fn playback_findings(
    name: &str,
    playback: &Playback,
    recorded: &Recorded,
    expected: Expected,
) -> Vec<Finding> {
    playback_check(name, playback, recorded, expected).findings
}

/// Lays the source channel against what was played and looks for everything that may have happened between; and whether the
/// driver channel kept its signal, unless it may be silent.
pub fn playback_check(
    name: &str,
    playback: &Playback,
    recorded: &Recorded,
    expected: Expected,
) -> PlaybackCheck {
    let take = &recorded.take;
    let rate_hz = f64::from(take.sample_rate_hz());
    let played = playback.samples();
    let mut findings = vec![];
    for (what, samples) in [
        ("channel 1 (source)", take.source()),
        ("channel 2 (driver)", take.driver()),
    ] {
        if let Some(flat) = flat_tops(samples, smallest_step(samples)) {
            findings.push(clipped(name, what, flat, rate_hz));
        }
    }
    let first = follow(played, take.source(), rate_hz);
    // The driver's resonance, heard through the source's impedance, moves level and delay of the source node as no output does.
    let share = loading_share(played, take.source(), take.driver(), &first, rate_hz);
    let followed = if share == 0.0 {
        first
    } else {
        let unloaded: Vec<f32> = take
            .source()
            .iter()
            .zip(take.driver())
            .map(|(&source, &driver)| source - share as f32 * driver)
            .collect();
        follow_again(played, &unloaded, rate_hz, &first)
    };
    let bands = band_gains(played, take.source(), &followed, rate_hz);
    let top = collapse(&bands, rate_hz).filter(|top| fades(&followed, top));
    let highest_hz = top.map_or(TOP * rate_hz, |top| 0.9 * top.from_hz);
    let in_band: Vec<&FollowWindow> = followed
        .windows
        .iter()
        .filter(|w| w.frequency_hz > LOWEST_HZ && w.frequency_hz < highest_hz)
        .collect();
    let tonal: Vec<&FollowWindow> = in_band
        .iter()
        .filter(|w| w.tonal > TONAL)
        .copied()
        .collect();
    // Noise and music have no windows of one wave; whether they were found can be asked all the same.
    let asked = if 4 * tonal.len() > in_band.len() {
        tonal
    } else {
        in_band
    };
    let n_found = asked.iter().filter(|w| w.delay_frames.is_some()).count();
    let silent = playback.peak_dbfs() == f64::NEG_INFINITY;
    if silent || (n_found as f64) < FOUND_SHARE * asked.len() as f64 || asked.is_empty() {
        if !silent {
            findings.push(absent(name, recorded, from_second(&asked, rate_hz)));
        }
        return PlaybackCheck {
            findings,
            delay_frames: None,
            gain_db: None,
            drift_ppm: None,
            explained: None,
            loading_share: 0.0,
        };
    }
    let contact = if expected.silent_driver {
        None
    } else {
        lost_contact(played, take, &followed, (LOWEST_HZ, highest_hz), rate_hz)
    };
    if let Some(echo) = loop_echo(playback, recorded, &followed) {
        // Echoes beat with what plays: levels and delays then mean nothing.
        findings.push(fed_back(name, &echo));
    } else if let Some(at_frame) = contact {
        // The driver's current is no longer known, so neither is what the source does with it.
        findings.push(contact_lost(name, at_frame / rate_hz));
    } else {
        findings.extend(lost_frames(name, playback, recorded, &followed, &asked));
    }
    if let Some(top) = top {
        findings.push(resampled(name, &top, rate_hz));
    }
    let mut explained: Vec<f64> = asked.iter().map(|w| w.explained).collect();
    let mut gains: Vec<f64> = asked
        .iter()
        .filter(|w| w.delay_frames.is_some())
        .map(|w| 20.0 * w.gain.log10())
        .collect();
    let mut delays: Vec<f64> = asked.iter().filter_map(|w| w.delay_frames).collect();
    PlaybackCheck {
        findings,
        delay_frames: followed
            .delay_frames
            .zip(median(&mut delays))
            .map(|(global, beyond)| global + beyond),
        gain_db: median(&mut gains),
        drift_ppm: followed.drift_ppm,
        explained: median(&mut explained),
        loading_share: share,
    }
}

/// Gaps, jumps, steps: whatever is not the same from the first window to the last.
fn lost_frames(
    name: &str,
    playback: &Playback,
    recorded: &Recorded,
    followed: &Follow,
    asked: &[&FollowWindow],
) -> Vec<Finding> {
    let rate_hz = f64::from(recorded.take.sample_rate_hz());
    let mut findings = vec![];
    let lost = lost_stretches(asked);
    let gone = lost.last().filter(|stretch| stretch.to_the_end).copied();
    if let Some(stretch) = gone {
        let at_s = stretch.start as f64 / rate_hz;
        findings.push(absent(name, recorded, Some(at_s)));
    }
    let end = gone.map_or(f64::INFINITY, |stretch| stretch.start as f64);
    let samples = (playback.samples(), recorded.take.source());
    let mut jumps: Vec<Jump> = jumps(followed, asked, rate_hz)
        .into_iter()
        .filter(|jump| jump.at_frame < end)
        .collect();
    // Only the largest are named, and counting takes long.
    jumps.sort_by(|a, b| b.frames.abs().total_cmp(&a.frames.abs()));
    for jump in jumps.iter_mut().take(N_COUNTED) {
        *jump = counted(*jump, samples, followed, rate_hz);
    }
    let blanks = blank_stretches(playback.samples(), &recorded.take, followed, rate_hz);
    let blanks: Vec<Stretch> = blanks
        .into_iter()
        .filter(|blank| (blank.start as f64) < end)
        .collect();
    let mut steps: Vec<LevelStep> = level_steps(followed, rate_hz);
    steps.retain(|step| step.at_frame < end);
    let near = |frame: f64, at: f64| (frame - at).abs() < 0.05 * rate_hz;
    let wide: Vec<Stretch> = lost
        .iter()
        .filter(|stretch| !stretch.to_the_end)
        .filter(|s| !blanks.iter().any(|b| b.start < s.end && s.start < b.end))
        .copied()
        .collect();
    let dips: Vec<Stretch> = dips(asked)
        .into_iter()
        .filter(|dip| (dip.start as f64) < end && (dip.end as f64) < end)
        .filter(|dip| {
            let middle = 0.5 * (dip.start + dip.end) as f64;
            !steps.iter().any(|step| near(step.at_frame, middle))
                && !wide.iter().any(|s| dip.start < s.end && s.start < dip.end)
        })
        .collect();
    if let Some(message) = what_was_lost(&jumps, &blanks, &wide, &dips, followed, asked, rate_hz) {
        findings.push(frames_lost(name, message));
    } else if recorded.n_reported_losses > 0 {
        findings.push(reported(name, recorded.n_reported_losses));
    }
    // A step of level beside a jump of delay is the jump's.
    steps.retain(|step| !jumps.iter().any(|jump| near(step.at_frame, jump.at_frame)));
    steps.retain(|step| {
        let inside =
            |s: &Stretch| near(step.at_frame, s.start as f64) || near(step.at_frame, s.end as f64);
        !blanks.iter().any(inside)
    });
    if let Some(step) = steps.first() {
        findings.push(level_moved(name, step, steps.len(), rate_hz));
    }
    findings
}

/// The worst of what was lost, in words, with its figure: value, unit, limit.
pub(super) fn what_was_lost(
    jumps: &[Jump],
    blanks: &[Stretch],
    wide: &[Stretch],
    dips: &[Stretch],
    followed: &Follow,
    asked: &[&FollowWindow],
    rate_hz: f64,
) -> Option<(String, f64, &'static str, f64)> {
    let second = |frame: f64| frame / rate_hz;
    let worst = jumps
        .iter()
        .max_by(|a, b| a.frames.abs().total_cmp(&b.frames.abs()));
    if let Some(jump) = worst {
        let what = if jump.frames < 0.0 {
            "were lost"
        } else {
            "were repeated or put in"
        };
        let more = match jumps.len() {
            1 => String::new(),
            n => format!(" (the largest of {n} such places)"),
        };
        let text = format!(
            "about {:.0} frames {what} {:.2} s after the start of what was played{more}",
            jump.frames.abs(),
            second(jump.at_frame)
        );
        return Some((text, jump.frames, "1", SMALLEST_JUMP));
    }
    for (stretches, what) in [
        (blanks, "the recording is blank"),
        (wide, "what was played is missing"),
        (dips, "the recording is damaged"),
    ] {
        let longest = stretches.iter().max_by_key(|s| s.end - s.start);
        if let Some(stretch) = longest {
            let length_s = second((stretch.end - stretch.start) as f64);
            let text = format!(
                "{what} for about {:.0} ms, {:.2} s after the start of what was played",
                1e3 * length_s,
                second(stretch.start as f64)
            );
            return Some((text, length_s, "s", 0.003));
        }
    }
    wander(followed, asked, rate_hz).map(|frames| {
        let text = format!(
            "the delay between playback and recording wanders by {frames:.0} frames: frames were lost or put in, or \
             something adapts the pace"
        );
        (text, frames, "1", SMALLEST_JUMP)
    })
}

pub(super) fn frames_lost(
    name: &str,
    (message, value, unit, limit): (String, f64, &'static str, f64),
) -> Finding {
    Finding::new(
        Code::FramesLost,
        Severity::Redo,
        message,
        "make the take again; if it happens again, close other programs, use a larger buffer or another sound system, and \
         leave the computer alone meanwhile",
    )
    .with_evidence(value, unit, Some(limit))
    .about(name)
}

fn reported(name: &str, n_reported: u32) -> Finding {
    Finding::new(
        Code::FramesLost,
        Severity::Note,
        format!(
            "the sound system reported lost frames ({n_reported} times), but none are missing where the stimulus sounds"
        ),
        "nothing to do; if it happens often, close other programs or use a larger buffer",
    )
    .with_evidence(f64::from(n_reported), "1", Some(0.0))
    .about(name)
}

pub(super) fn level_moved(name: &str, step: &LevelStep, n_steps: usize, rate_hz: f64) -> Finding {
    let at_s = step.at_frame / rate_hz;
    let more = if n_steps > 1 {
        format!(" (the largest of {n_steps} steps)")
    } else {
        String::new()
    };
    Finding::new(
        Code::LevelMoved,
        Severity::Redo,
        format!(
            "the level changed by {:+.1} dB {at_s:.2} s after the start of what was played{more}",
            step.step_db
        ),
        "leave every volume control alone during a take, turn off automatic gain, limiters and \"enhancements\", and make the \
         take again",
    )
    .with_evidence(step.step_db, "dB", Some(LEVEL_STEP_DB))
    .about(name)
}

/// Where the last found window ends, s; `None` if none was.
fn from_second(asked: &[&FollowWindow], rate_hz: f64) -> Option<f64> {
    // Single windows match by chance (hum, for one): three in a row do not.
    const IN_A_ROW: usize = 3;
    asked
        .windows(IN_A_ROW)
        .rfind(|three| three.iter().all(|w| w.delay_frames.is_some()))
        .and_then(|three| three.last())
        .map(|w| w.middle() / rate_hz)
}

fn absent(name: &str, recorded: &Recorded, from_s: Option<f64>) -> Finding {
    /// Below this a channel is silent: the last two bits of 16.
    const SILENT: f32 = 1e-4;
    let peak = recorded
        .take
        .source()
        .iter()
        .fold(0.0, |m: f32, v| if v.abs() > m { v.abs() } else { m });
    let (message, advice) = match from_s {
        Some(at_s) => (
            format!(
                "what was played vanishes from the source channel {at_s:.2} s after its start: the sound went silent or to \
                 another device"
            ),
            "check that the output is still plugged in and chosen, keep other programs from switching devices, and make the \
             take again",
        ),
        None if peak < SILENT => (
            "the source channel holds nothing of what was played, nor anything else".to_owned(),
            "check that the chosen output is the one that is wired to the jig and its volume is up, and that the chosen input \
             is the one that records the source node",
        ),
        None => (
            "the source channel holds something, but not what was played".to_owned(),
            "check that the chosen output and input are the ones that are wired to the jig; turn up the level if it drowns in \
             noise; close other programs that play",
        ),
    };
    let finding = Finding::new(Code::PlaybackAbsent, Severity::Redo, message, advice).about(name);
    match from_s {
        Some(at_s) => finding.with_evidence(at_s, "s", None),
        None => finding,
    }
}
