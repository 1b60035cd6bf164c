//! Whether a recording holds what was played, all of it, unchanged but for a delay and a smooth response.

use super::clipping::{clipped, flat_tops, smallest_step};
use super::contact::{contact_lost, lost_contact};
use super::level::{LevelStep, level_steps};
use super::losses::{Losses, counted_again};
use super::monitoring::{fed_back, loop_echo};
use super::recording::Expected;
use super::resampled::{collapse, fades, resampled};
use super::statistics::median;
use super::stretches::{blank_stretches, dips, jumps, lost_stretches};
use crate::capture::{Playback, Recorded};
use crate::finding::{Code, Finding, Severity};
use crate::recording::Take;
use crate::signal::{Follow, FollowWindow, band_gains, follow, follow_again, loading_share};

/// Windows below this frequency are not asked whether they were found: coupling and hum take them, Hz.
pub(super) const LOWEST_HZ: f64 = 20.0;
/// Share of the sample rate above which filters of converters may take a window.
pub(super) const TOP: f64 = 0.42;
/// How much of one wave a window has to be before its delay and gain are anybody's.
pub(super) const TONAL: f64 = 0.7;
/// Share of the windows that has to be found for the recording to be one of this stimulus at all.
const FOUND_SHARE: f64 = 0.4;

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
    let followed = unloaded(played, take, first, share);
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

/// The stimulus followed again through a source channel that the given share of the driver channel was taken off.
pub(super) fn unloaded(played: &[f32], take: &Take, first: Follow, share: f64) -> Follow {
    if share == 0.0 {
        return first;
    }
    let unloaded: Vec<f32> = take
        .source()
        .iter()
        .zip(take.driver())
        .map(|(&source, &driver)| source - share as f32 * driver)
        .collect();
    follow_again(played, &unloaded, f64::from(take.sample_rate_hz()), &first)
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
    let jumps = jumps(followed, asked, rate_hz)
        .into_iter()
        .filter(|jump| jump.at_frame < end);
    let mut steps: Vec<LevelStep> = level_steps(followed, rate_hz);
    steps.retain(|step| step.at_frame < end);
    let losses = Losses {
        jumps: counted_again(jumps.collect(), samples, followed, rate_hz),
        blanks: blank_stretches(playback.samples(), &recorded.take, followed, rate_hz)
            .into_iter()
            .filter(|blank| (blank.start as f64) < end)
            .collect(),
        wide: lost.into_iter().filter(|s| !s.to_the_end).collect(),
        dips: dips(asked)
            .into_iter()
            .filter(|dip| (dip.start as f64) < end && (dip.end as f64) < end)
            .collect(),
        steps,
    };
    let otherwise = reported_losses(name, recorded.n_reported_losses);
    findings.extend(losses.findings(name, followed, asked, rate_hz, otherwise));
    findings
}

/// What to say of losses that the sound system reported, where the recording shows none; `None` if it reported none.
pub fn reported_losses(name: &str, n_reported: u32) -> Option<Finding> {
    if n_reported == 0 {
        return None;
    }
    let finding = Finding::new(
        Code::FramesLost,
        Severity::Note,
        format!(
            "the sound system reported lost frames ({n_reported} times), but none are missing where the stimulus sounds"
        ),
        "nothing to do; if it happens often, close other programs or use a larger buffer",
    )
    .with_evidence(f64::from(n_reported), "1", Some(0.0));
    Some(finding.about(name))
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
