//! Stretches and places of a recording that do not follow what was played.

use super::level::{GAP, SIDE, step_candidates};
use super::statistics::{extremes, median};
use crate::recording::Take;
use crate::signal::{Follow, FollowWindow, stretch_delay};

/// A place where the delay jumps.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Jump {
    /// Where, frame of what was played.
    pub at_frame: f64,
    /// By how much, frames; negative where frames were lost.
    pub frames: f64,
    /// Frequency there, Hz.
    pub frequency_hz: f64,
}

/// A stretch, in frames of what was played.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Stretch {
    pub start: usize,
    pub end: usize,
    /// Whether nothing comes after it.
    pub to_the_end: bool,
}

/// A phase that a smooth response may turn by over a few windows, radian: 10°. Two frames at 1 kHz and 48 kHz are 15°.
const PHASE: f64 = 0.175;
/// Corner that is allowed for AC coupling, Hz: its phase at a frequency may be gone a few windows later.
const COUPLING_HZ: f64 = 10.0;
/// A step of delay below this is never one, frames.
const LEAST_FRAMES: f64 = 1.2;

/// Frames by which the delay at this frequency may change from one window to the next.
fn allowed_frames(frequency_hz: f64, rate_hz: f64) -> f64 {
    let phase = PHASE + (COUPLING_HZ / frequency_hz).atan();
    let frames = phase / std::f64::consts::TAU / frequency_hz * rate_hz;
    if frames > LEAST_FRAMES {
        frames
    } else {
        LEAST_FRAMES
    }
}

/// Delays of the windows that were found, without the clocks' drift.
fn steady_delays<'a>(
    followed: &Follow,
    asked: &[&'a FollowWindow],
) -> (Vec<&'a FollowWindow>, Vec<f64>) {
    let slope = 1e-6 * followed.drift_ppm.unwrap_or(0.0);
    asked
        .iter()
        .filter_map(|w| w.delay_frames.map(|delay| (*w, delay - slope * w.middle())))
        .unzip()
}

/// Where the delay jumps.
pub(super) fn jumps(followed: &Follow, asked: &[&FollowWindow], rate_hz: f64) -> Vec<Jump> {
    let (windows, delays) = steady_delays(followed, asked);
    let allowed = |start: usize| {
        let end = (start + 2 * SIDE + GAP).min(windows.len());
        windows[start..end]
            .iter()
            .map(|w| allowed_frames(w.frequency_hz, rate_hz))
            .fold(0.0, |m: f64, v| if v > m { v } else { m })
    };
    step_candidates(&delays, allowed)
        .into_iter()
        .map(|(before, after, frames)| Jump {
            at_frame: 0.5 * (windows[before].middle() + windows[after].middle()),
            frames,
            frequency_hz: windows[before].frequency_hz,
        })
        .collect()
}

/// Counts the frames of a jump again, over the stretches before and after it: a window of one wave knows its delay only up to whole
/// waves, a stretch of several octaves better.
pub(super) fn counted(
    jump: Jump,
    (played, recorded): (&[f32], &[f32]),
    followed: &Follow,
    rate_hz: f64,
) -> Jump {
    let (first, last) = followed.sounding;
    let part = (last - first) / 4;
    let at = jump.at_frame.clamp(first as f64, last as f64) as usize;
    // A tenth of a second or an eighth of the stimulus away from where it is only roughly known.
    let away = ((0.1 * rate_hz) as usize).min(part / 2);
    let reach = (jump.frames.abs() + 0.2 * rate_hz) as usize;
    let around = followed.delay_frames.unwrap_or(0.0);
    let delay = |from: usize, to: usize| {
        (to > from + away)
            .then(|| stretch_delay(played, recorded, from..to, around, reach))
            .flatten()
    };
    let before = delay(at.saturating_sub(part).max(first), at.saturating_sub(away));
    let after = delay(at + away, (at + part).min(last));
    // Only whole waves are in question; the window's own figure is the finer one otherwise.
    const WHOLE: f64 = 0.3;
    let frames = match before.zip(after).map(|(before, after)| after - before) {
        Some(counted) => {
            let waves = (counted - jump.frames) * jump.frequency_hz / rate_hz;
            let is_whole = (waves - waves.round()).abs() < WHOLE;
            if is_whole && waves.abs() > 0.5 {
                counted
            } else {
                jump.frames
            }
        }
        None => jump.frames,
    };
    Jump { frames, ..jump }
}

/// By how many frames the delay wanders besides a steady drift, if it does: medians over sixths of the windows above 1 kHz.
pub(super) fn wander(followed: &Follow, asked: &[&FollowWindow], rate_hz: f64) -> Option<f64> {
    const FROM_HZ: f64 = 1000.0;
    const FEWEST: usize = 60;
    const PARTS: usize = 6;
    const MOST_S: f64 = 6.3e-5;
    let (windows, delays) = steady_delays(followed, asked);
    let high: Vec<f64> = windows
        .iter()
        .zip(&delays)
        .filter(|(w, _)| w.frequency_hz > FROM_HZ)
        .map(|(_, &delay)| delay)
        .collect();
    if high.len() < FEWEST {
        return None;
    }
    let middles: Vec<f64> = high
        .chunks(high.len().div_ceil(PARTS))
        .filter_map(|part| median(&mut part.to_vec()))
        .collect();
    let (low, top) = extremes(&middles);
    (top - low > MOST_S * rate_hz).then_some(top - low)
}

/// Stretches of three and more windows that were not found. At the end of the stimulus a fiftieth of it must be missing.
pub(super) fn lost_stretches(asked: &[&FollowWindow]) -> Vec<Stretch> {
    const FEWEST: usize = 3;
    let mut stretches = vec![];
    let mut first: Option<usize> = None;
    for (i, window) in asked.iter().enumerate() {
        let lost = window.delay_frames.is_none();
        let last = i + 1 == asked.len();
        if lost && first.is_none() {
            first = Some(i);
        }
        if let Some(from) = first
            && (!lost || last)
        {
            let end = if lost { i + 1 } else { i };
            if end - from >= FEWEST {
                stretches.push(Stretch {
                    start: asked[from].middle() as usize,
                    end: asked[end - 1].middle() as usize,
                    to_the_end: lost && last,
                });
            }
            first = None;
        }
    }
    stretches
}

/// Single windows that are much less like what was played than their neighbours.
pub(super) fn dips(asked: &[&FollowWindow]) -> Vec<Stretch> {
    const AROUND: usize = 4;
    const CLEAR: f64 = 0.97;
    const DIP: f64 = 0.05;
    let mut found: Vec<Stretch> = vec![];
    for i in AROUND..asked.len().saturating_sub(AROUND) {
        let around = |range: std::ops::Range<usize>| {
            median(
                &mut asked[range]
                    .iter()
                    .map(|w| w.explained)
                    .collect::<Vec<f64>>(),
            )
            .unwrap_or(0.0)
        };
        let (before, after) = (around(i - AROUND..i), around(i + 1..i + 1 + AROUND));
        let usual = if before < after { before } else { after };
        if usual < CLEAR || asked[i].explained > usual - DIP {
            continue;
        }
        let (start, end) = (asked[i].start, asked[i].start + asked[i].n_frames);
        match found.last_mut() {
            Some(last) if start <= last.end => last.end = end,
            _ => found.push(Stretch {
                start,
                end,
                to_the_end: false,
            }),
        }
    }
    found
}

/// Exact zeros in both channels, for longer than this, s, while the stimulus sounds.
pub(super) const BLANK_S: f64 = 0.003;
/// A stimulus that would be below this in the recording may well be rounded to zero: 4 steps of 16 bits.
pub(super) const AUDIBLE: f64 = 1.2e-4;

/// Blank stretches inside the stimulus.
pub(super) fn blank_stretches(
    played: &[f32],
    take: &Take,
    followed: &Follow,
    rate_hz: f64,
) -> Vec<Stretch> {
    let Some(global) = followed.delay_frames else {
        return vec![];
    };
    let mut gains: Vec<f64> = followed
        .windows
        .iter()
        .filter(|w| w.delay_frames.is_some())
        .map(|w| w.gain)
        .collect();
    let gain = median(&mut gains).unwrap_or(0.0);
    let shortest = (BLANK_S * rate_hz).ceil() as usize;
    let mut found = vec![];
    let mut run = 0;
    let frames = take.source().iter().zip(take.driver());
    let ended = frames.map(|(&a, &b)| a == 0.0 && b == 0.0).chain([false]);
    for (at, blank) in ended.enumerate() {
        if blank {
            run += 1;
            continue;
        }
        let length = std::mem::take(&mut run);
        if length < shortest {
            continue;
        }
        // The delay near it, since earlier gaps may have moved it.
        let start = (at - length) as f64 - global;
        let beyond = followed
            .windows
            .iter()
            .take_while(|w| w.middle() < start)
            .filter_map(|w| w.delay_frames)
            .last()
            .unwrap_or(0.0);
        let clip = |frame: f64| frame.clamp(followed.sounding.0 as f64, followed.sounding.1 as f64);
        let from = clip(start - beyond) as usize;
        let to = clip(start - beyond + length as f64) as usize;
        let peak = played[from..to]
            .iter()
            .fold(0.0, |m: f32, v| if v.abs() > m { v.abs() } else { m });
        if to - from >= shortest && f64::from(peak) * gain > AUDIBLE {
            found.push(Stretch {
                start: from,
                end: to,
                to_the_end: false,
            });
        }
    }
    found
}
