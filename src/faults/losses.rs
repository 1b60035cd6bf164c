//! What got lost between playback and recording, or changed its level: whatever is not the same from the first window to the last.

use super::level::{LEVEL_STEP_DB, LevelStep};
use super::stretches::{Jump, Stretch, counted, wander};
use crate::finding::{Code, Finding, Severity};
use crate::signal::{Follow, FollowWindow};

/// Jumps whose frames are counted again.
const N_COUNTED: usize = 3;
/// Frames of jump that are visible above 1 kHz.
const SMALLEST_JUMP: f64 = 2.0;
/// A step of level this close to something else is that one's, s.
const BESIDE_S: f64 = 0.05;

/// What was seen, before it is sorted out what belongs to what.
pub(super) struct Losses {
    /// Jumps of the delay, the largest first.
    pub(super) jumps: Vec<Jump>,
    /// Where the recording is all zeros.
    pub(super) blanks: Vec<Stretch>,
    /// Where the stimulus was not found.
    pub(super) wide: Vec<Stretch>,
    /// Where it was found badly.
    pub(super) dips: Vec<Stretch>,
    /// Steps of level.
    pub(super) steps: Vec<LevelStep>,
}

impl Losses {
    /// One finding of the worst that was lost, or `otherwise` if nothing was, and one of the level.
    pub(super) fn findings(
        mut self,
        name: &str,
        followed: &Follow,
        asked: &[&FollowWindow],
        rate_hz: f64,
        otherwise: Option<Finding>,
    ) -> Vec<Finding> {
        let near = |frame: f64, at: f64| (frame - at).abs() < BESIDE_S * rate_hz;
        let overlap = |a: &Stretch, b: &Stretch| a.start < b.end && b.start < a.end;
        let (blanks, steps) = (&self.blanks, &self.steps);
        self.wide.retain(|s| !blanks.iter().any(|b| overlap(b, s)));
        let wide = &self.wide;
        self.dips.retain(|dip| {
            let middle = 0.5 * (dip.start + dip.end) as f64;
            !steps.iter().any(|step| near(step.at_frame, middle))
                && !wide.iter().any(|s| overlap(s, dip))
        });
        let lost = self.worst(followed, asked, rate_hz);
        let mut findings: Vec<Finding> = lost
            .map(|lost| frames_lost(name, lost))
            .or(otherwise)
            .into_iter()
            .collect();
        // A step of level beside a jump of delay, or at an end of a blank stretch, is that one's.
        let (jumps, blanks) = (&self.jumps, &self.blanks);
        self.steps.retain(|step| {
            !jumps.iter().any(|jump| near(step.at_frame, jump.at_frame))
                && !blanks.iter().any(|s| {
                    near(step.at_frame, s.start as f64) || near(step.at_frame, s.end as f64)
                })
        });
        if let Some(step) = self.steps.first() {
            findings.push(level_moved(name, step, self.steps.len(), rate_hz));
        }
        findings
    }

    /// The worst of what was lost, in words, with its figure: value, unit, limit.
    fn worst(
        &self,
        followed: &Follow,
        asked: &[&FollowWindow],
        rate_hz: f64,
    ) -> Option<(String, f64, &'static str, f64)> {
        let second = |frame: f64| frame / rate_hz;
        let worst = self
            .jumps
            .iter()
            .max_by(|a, b| a.frames.abs().total_cmp(&b.frames.abs()));
        if let Some(jump) = worst {
            let what = if jump.frames < 0.0 {
                "were lost"
            } else {
                "were repeated or put in"
            };
            let more = match self.jumps.len() {
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
            (&self.blanks, "the recording is blank"),
            (&self.wide, "what was played is missing"),
            (&self.dips, "the recording is damaged"),
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
}

/// The jumps, the largest first, their frames counted again: only the largest are named, and counting takes long.
pub(super) fn counted_again(
    mut jumps: Vec<Jump>,
    samples: (&[f32], &[f32]),
    followed: &Follow,
    rate_hz: f64,
) -> Vec<Jump> {
    jumps.sort_by(|a, b| b.frames.abs().total_cmp(&a.frames.abs()));
    for jump in jumps.iter_mut().take(N_COUNTED) {
        *jump = counted(*jump, samples, followed, rate_hz);
    }
    jumps
}

fn frames_lost(
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

fn level_moved(name: &str, step: &LevelStep, n_steps: usize, rate_hz: f64) -> Finding {
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
