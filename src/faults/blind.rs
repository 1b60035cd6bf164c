//! Frames, steps and contacts of a take whose stimulus nobody gave: a sweep is recovered from the take and followed through it.

use super::contact::{contact_lost, lost_contact};
use super::extent::Extent;
use super::level::{LevelStep, level_steps};
use super::losses::{Losses, counted_again};
use super::playback::{LOWEST_HZ, TONAL, TOP, unloaded};
use super::recording::Expected;
use super::stretches::{blank_stretches, dips, jumps, lost_stretches};
use crate::finding::Finding;
use crate::recording::Take;
use crate::signal::{Follow, FollowWindow, follow, follow_at, loading_share_from, recovered_sweep};

/// Share of the windows above 150 Hz that has to be found, and how well the best fifth: else it is no sweep, or drowns in noise. Where
/// frames were lost the rest is found less well.
const FOUND_SHARE: f64 = 0.8;
const EXPLAINED: f64 = 0.95;
const BEST_PART: f64 = 0.2;
const FROM_HZ: f64 = 150.0;
/// Nobody says what drives the jig: an output of 15 ohm before a resistor of 1 ohm has −15.
const LEAST_SHARE: f64 = -15.0;
/// Steps of level below this may come from the jig, dB: what drives it is only known roughly, and a short sweep passes the resonance, which
/// loads it, within a few windows. One step of most volume controls is 0.5 to 2 dB (common practice, no source).
const BLIND_STEP_DB: f64 = 0.8;

/// Findings of following the sweep that a take holds; none if it holds no sweep.
pub(super) fn blind_findings(
    name: &str,
    take: &Take,
    expected: Expected,
    extent: &Extent,
) -> Vec<Finding> {
    let rate_hz = f64::from(take.sample_rate_hz());
    let Some(found) = recovered_sweep(take.source(), rate_hz, &extent.sounding) else {
        return vec![];
    };
    let sweep = found.samples;
    let first = if found.throughout {
        follow_at(&sweep, take.source(), rate_hz, found.start as isize, false)
    } else {
        follow(&sweep, take.source(), rate_hz)
    };
    let share = loading_share_from(
        LEAST_SHARE,
        &sweep,
        take.source(),
        take.driver(),
        &first,
        rate_hz,
    );
    let followed = unloaded(&sweep, take, first.clone(), share);
    let asked = tellable_windows(&followed, rate_hz);
    if !is_followed(&asked) {
        return vec![];
    }
    let contact = if expected.silent_driver {
        None
    } else {
        lost_contact(&sweep, take, &followed, (LOWEST_HZ, TOP * rate_hz), rate_hz)
    };
    if let Some(at_frame) = contact {
        return vec![contact_lost(name, at_frame / rate_hz)];
    }
    let mut happened = what_happened(name, &sweep, take, &followed, &asked);
    if share != 0.0 && !happened.is_empty() {
        // What happened to the recording shows in the channel as it is too. What shows only after the driver's share was taken off was put in
        // by that share: hum and noise can make a wrong one.
        let plain = what_happened(
            name,
            &sweep,
            take,
            &first,
            &tellable_windows(&first, rate_hz),
        );
        happened.retain(|finding| plain.iter().any(|other| other.code == finding.code));
    }
    happened
}

/// The windows that something can be asked of.
fn tellable_windows(followed: &Follow, rate_hz: f64) -> Vec<&FollowWindow> {
    let tells = |w: &&FollowWindow| {
        w.frequency_hz > LOWEST_HZ && w.frequency_hz < TOP * rate_hz && w.tonal > TONAL
    };
    followed.windows.iter().filter(tells).collect()
}

/// Whether the sweep that was recovered is what the recording holds.
fn is_followed(asked: &[&FollowWindow]) -> bool {
    let high: Vec<&&FollowWindow> = asked.iter().filter(|w| w.frequency_hz > FROM_HZ).collect();
    let n_found = high.iter().filter(|w| w.delay_frames.is_some()).count();
    let mut explained: Vec<f64> = high.iter().map(|w| w.explained).collect();
    explained.sort_by(|a, b| b.total_cmp(a));
    n_found as f64 > FOUND_SHARE * high.len() as f64
        && explained
            .get((BEST_PART * explained.len() as f64) as usize)
            .is_some_and(|&explained| explained > EXPLAINED)
}

fn what_happened(
    name: &str,
    sweep: &[f32],
    take: &Take,
    followed: &Follow,
    asked: &[&FollowWindow],
) -> Vec<Finding> {
    let rate_hz = f64::from(take.sample_rate_hz());
    let mut steps: Vec<LevelStep> = level_steps(followed, rate_hz);
    steps.retain(|step| step.step_db.abs() > BLIND_STEP_DB);
    // What is missing at the start or the end may be no part of the sweep at all.
    let first_found = asked.iter().find(|w| w.delay_frames.is_some());
    let from = first_found.map_or(0, |w| w.start);
    let samples = (sweep, take.source());
    let losses = Losses {
        jumps: counted_again(jumps(followed, asked, rate_hz), samples, followed, rate_hz),
        blanks: blank_stretches(sweep, take, followed, rate_hz),
        wide: lost_stretches(asked)
            .into_iter()
            .filter(|s| !s.to_the_end && s.start > from)
            .collect(),
        dips: dips(asked),
        steps,
    };
    losses.findings(name, followed, asked, rate_hz, None)
}
