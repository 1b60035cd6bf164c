//! Whether the driver channel kept its contact.

use super::playback::TONAL;
use super::statistics::extremes;
use super::stretches::{AUDIBLE, BLANK_S};
use crate::finding::{Code, Finding, Severity};
use crate::recording::Take;
use crate::signal::{Follow, FollowWindow, fit_windows};

/// A fall of the driver channel against the source by this much within a few waves, dB, is none of a driver: in the 7.5 waves that
/// are compared one with a Q of 15 rings down by 14 dB.
const FALL_DB: f64 = 20.0;
/// A rise by this much, dB, to a level that then stays the same within so much, dB.
const LEAP_DB: f64 = 0.7;
const SAME_DB: f64 = 0.04;
/// Windows that may straddle the fall.
const GAP: usize = 2;
/// Windows for which it has to last, and how many at least before the end: a notch comes back sooner, or is not entered as suddenly.
const LASTS: usize = 8;
const FEWEST: usize = 4;
/// Windows that are compared lie within this ratio of frequencies: where a multisine begins anew, both ends of the band meet.
const NEAR: f64 = 2.0;
/// Share of the driver channel that what was played has to explain before the fall.
const HELD: f64 = 0.7;

/// Where the driver channel first loses its signal while the source channel goes on, in frames of what was played.
pub(super) fn lost_contact(
    played: &[f32],
    take: &Take,
    followed: &Follow,
    (lowest_hz, highest_hz): (f64, f64),
    rate_hz: f64,
) -> Option<f64> {
    let driver = fit_windows(played, take.driver(), rate_hz, followed);
    let pairs: Vec<(&FollowWindow, &FollowWindow)> = followed
        .windows
        .iter()
        .zip(&driver)
        .filter(|(source, _)| {
            source.delay_frames.is_some()
                && source.tonal > TONAL
                && (lowest_hz..highest_hz).contains(&source.frequency_hz)
        })
        .collect();
    let blank = blank_driver(played, take, followed, &pairs, rate_hz);
    let found = [blank, fall(&pairs), opens(&pairs)];
    found.into_iter().flatten().min_by(f64::total_cmp)
}

/// Level of the driver channel over that of the source channel, dB.
fn level_db((source, driver): &(&FollowWindow, &FollowWindow)) -> f64 {
    20.0 * (driver.gain / source.gain + 1e-10).log10()
}

/// Whether two windows can be compared.
fn near(before: &(&FollowWindow, &FollowWindow), after: &(&FollowWindow, &FollowWindow)) -> bool {
    (1.0 / NEAR..NEAR).contains(&(after.0.frequency_hz / before.0.frequency_hz))
}

/// Where the driver channel comes to follow the source channel to the hair: the clip at the driver is off, and nothing loads the
/// jig any more. No driver's impedance leaps and then stays the same.
fn opens(pairs: &[(&FollowWindow, &FollowWindow)]) -> Option<f64> {
    let leaps = |last: usize| {
        let (before, after) = (&pairs[last], &pairs[last + 1 + GAP..]);
        let after = &after[..LASTS.min(after.len())];
        let levels: Vec<f64> = after.iter().map(level_db).collect();
        let (low, high) = extremes(&levels);
        after.len() >= LASTS
            && before.1.explained > HELD
            && near(before, &after[0])
            && high - low < SAME_DB
            && low > level_db(before) + LEAP_DB
            // A slope that ends in a plateau is none.
            && last > GAP
            && (level_db(before) - level_db(&pairs[last - GAP - 1])).abs() < 0.5 * LEAP_DB
    };
    (0..pairs.len().saturating_sub(1 + GAP))
        .find(|&last| leaps(last))
        .map(|last| pairs[last + 1].0.middle())
}

/// Where the driver channel falls against the source and stays down.
fn fall(pairs: &[(&FollowWindow, &FollowWindow)]) -> Option<f64> {
    let falls = |last: usize| {
        let (before, after) = (&pairs[last], &pairs[last + 1 + GAP..]);
        let after = &after[..LASTS.min(after.len())];
        after.len() >= FEWEST
            && before.1.explained > HELD
            && near(before, &after[0])
            && after
                .iter()
                .all(|w| level_db(w) < level_db(before) - FALL_DB)
    };
    (0..pairs.len().saturating_sub(1 + GAP))
        .find(|&last| falls(last))
        .map(|last| pairs[last + 1].0.middle())
}

/// Exact zeros in the driver channel alone where the stimulus would be heard.
fn blank_driver(
    played: &[f32],
    take: &Take,
    followed: &Follow,
    pairs: &[(&FollowWindow, &FollowWindow)],
    rate_hz: f64,
) -> Option<f64> {
    let global = followed.delay_frames?;
    let shortest = (BLANK_S * rate_hz).ceil() as usize;
    let (mut run, mut with_source) = (0, 0);
    let frames = take.source().iter().zip(take.driver());
    let ended = frames
        .map(|(&a, &b)| (a != 0.0, b == 0.0))
        .chain([(false, false)]);
    for (at, (source, blank)) in ended.enumerate() {
        if blank {
            run += 1;
            with_source += usize::from(source);
            continue;
        }
        let (length, sounding) = (std::mem::take(&mut run), std::mem::take(&mut with_source));
        if length < shortest || 2 * sounding < length {
            continue;
        }
        let start = (at - length) as f64 - global;
        let next = pairs.partition_point(|w| w.0.middle() < start);
        let beyond = next
            .checked_sub(1)
            .and_then(|last| pairs[last].0.delay_frames)
            .unwrap_or(0.0);
        // What is heard on either side: the quieter one, since the response may change in between.
        let heard = |w: &&(&FollowWindow, &FollowWindow)| w.1.explained > HELD;
        let before = pairs[..next].iter().rfind(heard);
        let after = pairs[next..]
            .iter()
            .find(|w| heard(w) && w.0.middle() > start + length as f64);
        let gain = before
            .into_iter()
            .chain(after)
            .map(|w| w.1.gain)
            .min_by(f64::total_cmp);
        let Some(gain) = gain else {
            continue;
        };
        let clip = |frame: f64| {
            frame.clamp(followed.sounding.0 as f64, followed.sounding.1 as f64) as usize
        };
        let (from, to) = (clip(start - beyond), clip(start - beyond + length as f64));
        let peak = played[from..to]
            .iter()
            .fold(0.0, |m: f32, v| if v.abs() > m { v.abs() } else { m });
        // Before the first window the response may still be rising, and slow waves are long near zero.
        if next > 0 && to - from >= shortest && f64::from(peak) * gain > AUDIBLE {
            return Some(from as f64);
        }
    }
    None
}

/// The finding.
pub(super) fn contact_lost(name: &str, at_s: f64) -> Finding {
    Finding::new(
        Code::ContactLost,
        Severity::Redo,
        format!(
            "channel 2 (driver) loses its signal {at_s:.2} s after the start of what was played, while channel 1 (source) goes on"
        ),
        "check the clips at the driver and at the sense resistor, and the cable and plug of input 2; move nothing during a take, \
         and make it again",
    )
    .with_evidence(at_s, "s", None)
    .about(name)
}
