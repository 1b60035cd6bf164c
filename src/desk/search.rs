//! The search for the level, burst by burst.

use super::Desk;
use super::judge::{by_chance, exchanged, fatal};
use crate::capture::{Playback, Recorded};
use crate::faults::{GainFacts, PlaybackCheck, compression, playback_check};
use crate::finding::{Code, Finding};
use crate::level::{Chosen, Limitation, Next, Reading, Seek, read_burst, read_calibration_burst};
use crate::session::Condition;

/// How often a damaged take or burst is made again before somebody is asked.
pub const N_REPEATS: usize = 2;

/// A burst that is not heard at this level is not heard because it goes elsewhere: no converter's noise drowns it.
const HEARD_BY_DBFS: f64 = -36.0;

/// What to do next.
#[derive(Clone, Debug, PartialEq)]
pub enum Step {
    /// Play a burst at this peak level, dBFS.
    Burst(f64),
    /// The search is over.
    Use(Chosen),
    /// Something is wrong that no level mends.
    Damaged(Vec<Finding>),
    /// The plugs of the two inputs are exchanged.
    Exchanged,
}

/// A search under way for one condition.
#[derive(Clone, Debug)]
pub struct LevelSearch {
    condition: Condition,
    seek: Seek,
    before: Option<GainFacts>,
    repeats: usize,
    ended: Option<Step>,
}

impl LevelSearch {
    /// A search that has not heard anything yet.
    pub fn new(desk: &Desk, condition: Condition) -> Self {
        Self {
            condition,
            seek: Seek::new(desk.goal(condition)),
            before: None,
            repeats: N_REPEATS,
            ended: None,
        }
    }

    /// What to do next.
    pub fn next(&self) -> Step {
        if let Some(ended) = &self.ended {
            return ended.clone();
        }
        match self.seek.next() {
            Next::Burst(level_dbfs) => Step::Burst(level_dbfs),
            Next::Use(chosen) => Step::Use(chosen),
        }
    }

    /// Takes note of the burst that [`LevelSearch::next`] asked for; what it showed, unless it is simply made again. A burst after
    /// the search is over changes nothing.
    pub fn saw(
        &mut self,
        desk: &Desk,
        playback: &Playback,
        recorded: &Recorded,
    ) -> Option<Reading> {
        let Step::Burst(level_dbfs) = self.next() else {
            return None;
        };
        let check = playback_check("burst", playback, recorded, desk.expected(self.condition));
        if exchanged(playback, recorded, &check.findings) {
            self.ended = Some(Step::Exchanged);
            return None;
        }
        let damaged = fatal(&check.findings);
        let by_chance = by_chance(&check.findings);
        if damaged && by_chance && self.repeats > 0 {
            self.repeats -= 1;
            return None;
        }
        if damaged && !(by_chance && level_dbfs < HEARD_BY_DBFS) {
            self.ended = Some(Step::Damaged(check.findings));
            return None;
        }
        let reading = if damaged {
            // It drowned in noise; a louder one tells.
            Reading {
                relative_uncertainty: None,
                ..read_calibration_burst(&recorded.take, level_dbfs, &desk.burst_jig())
            }
        } else {
            self.read(desk, playback, level_dbfs, recorded, &check)
        };
        self.seek.saw(reading.clone());
        Some(reading)
    }

    fn read(
        &mut self,
        desk: &Desk,
        playback: &Playback,
        level_dbfs: f64,
        recorded: &Recorded,
        check: &PlaybackCheck,
    ) -> Reading {
        let burst = desk.burst_jig();
        let mut reading = if self.condition.is_calibration() {
            read_calibration_burst(&recorded.take, level_dbfs, &burst)
        } else {
            read_burst(&recorded.take, level_dbfs, &burst)
        };
        let gain = check.gain_db.map(|gain_db| GainFacts {
            played_dbfs: level_dbfs,
            gain_db,
        });
        let gave_in = match (self.before, gain) {
            (Some(low), Some(high)) => !compression("burst", low, high).is_empty(),
            _ => false,
        };
        let clipped = check
            .findings
            .iter()
            .any(|finding| finding.code == Code::Clipped);
        let distorted = reading
            .readout
            .is_some_and(|seen| desk.distorts(level_dbfs, recorded, playback, seen.fs_hz.value));
        reading.strained = if clipped {
            Some(Limitation::Clipped)
        } else if gave_in {
            Some(Limitation::OutputGaveIn)
        } else if distorted {
            Some(Limitation::Distorted)
        } else {
            None
        };
        self.before = gain.or(self.before);
        reading
    }
}
