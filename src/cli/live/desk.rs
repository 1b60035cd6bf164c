//! A card with everything that is agreed about it, and what can be done with it.

use farcone::capture::{CaptureError, Playback, Recorded, SoundCard};
use farcone::desk::{Desk, LevelSearch, Sound, Step};
use farcone::finding::{Code, Finding, Severity};
use farcone::level::{Chosen, Goal, Reading, read_burst};
use farcone::recording::Take;
use farcone::session::{Condition, Devices, JigInput, TakeLevel};

use super::monitor::TakeMonitor;
use super::stop::{self, Sounding};
use super::{LevelArgs, LiveCard, On, SoundArgs};
use crate::cli::failure::Failure;

/// A take that was made, with what it shows by itself and laid against the stimulus.
pub struct Made {
    /// The take.
    pub take: Take,
    /// What is wrong with it.
    pub findings: Vec<Finding>,
    /// How loud it was.
    pub level: TakeLevel,
}

impl Made {
    /// Whether it has to be made again.
    pub fn is_damaged(&self) -> bool {
        self.findings
            .iter()
            .any(|finding| finding.severity == Severity::Redo)
    }
}

/// The card, the jig that hangs on it, and the limits.
pub struct LiveDesk {
    card: LiveCard,
    desk: Desk,
    fixed_level_dbfs: Option<f64>,
    /// The driver's share of the source's voltage at its impedance peak, as the last burst showed it.
    driver_share: Option<f64>,
    /// Notes that were given: said once, they hold for the whole set-up.
    noted: Vec<Code>,
    quiet: bool,
}

impl LiveDesk {
    /// Opens the card.
    pub fn open(
        devices: &Devices,
        jig: &JigInput,
        sound: &SoundArgs,
        level: &LevelArgs,
        quiet: bool,
    ) -> Result<Self, Failure> {
        let mut card = LiveCard::open(devices, 1)?;
        card.connect(jig);
        let sound = Sound {
            multisine: sound.multisine,
            length_s: sound.length,
            start_hz: sound.start,
            ceiling_dbfs: level.ceiling,
            sample_rate_hz: card.sample_rate_hz(),
        };
        Ok(Self {
            card,
            desk: Desk {
                jig: *jig,
                sound,
                source_full_scale_v: None,
                amplifier: level.amplifier,
            },
            fixed_level_dbfs: level.level,
            driver_share: None,
            noted: vec![],
            quiet,
        })
    }

    /// Sample rate of the card, Hz.
    pub fn sample_rate_hz(&self) -> u32 {
        self.card.sample_rate_hz()
    }

    /// The device's own rate where a server converts, Hz.
    pub fn resampling(&self) -> Option<u32> {
        self.card.resampling()
    }

    /// What is played.
    pub fn sound(&self) -> &Sound {
        &self.desk.sound
    }

    /// What is agreed about jig and sound.
    pub fn agreed(&mut self) -> &mut Desk {
        &mut self.desk
    }

    /// Plays and records.
    pub fn record(&mut self, on: On, playback: &Playback, what: &str) -> Result<Recorded, Failure> {
        self.card.arrange(on);
        let mut monitor = TakeMonitor::new(what, self.quiet);
        let _sounding = Sounding::begin();
        let recorded = self.card.record(playback, &mut monitor);
        drop(monitor);
        if stop::wanted() {
            return Err(Failure::Stopped);
        }
        match recorded {
            Err(CaptureError::Stopped) => Err(Failure::Stopped),
            other => Ok(other?),
        }
    }

    /// Listens without playing.
    pub fn listen(&mut self, on: On, length_s: f64, what: &str) -> Result<Take, Failure> {
        let silence = self.desk.sound.silence(length_s);
        Ok(self.record(on, &silence, what)?.take)
    }

    /// One take at a level, checked against what was played and by itself, as long as somebody is there who can mend what is wrong.
    pub fn take(
        &mut self,
        name: &str,
        condition: Condition,
        level_dbfs: f64,
    ) -> Result<Made, Failure> {
        let playback = self.desk.sound.full(level_dbfs)?;
        let recorded = self.record(On::Condition(condition), &playback, name)?;
        let judged = self.desk.judge(name, condition, &playback, &recorded);
        if judged.exchanged {
            return Err(exchanged());
        }
        drop(playback);
        let mut findings = judged.findings;
        findings.retain(|finding| {
            let again = finding.severity == Severity::Note && self.noted.contains(&finding.code);
            self.noted.push(finding.code);
            !again
        });
        let driver_peak_v = self.driver_peak_v(&recorded.take, condition, level_dbfs);
        Ok(Made {
            take: recorded.take,
            findings,
            level: TakeLevel {
                playback_dbfs: level_dbfs,
                driver_peak_v,
            },
        })
    }

    /// Peak volts across the driver at its impedance peak; `None` where the input is not calibrated in volts, or nothing
    /// tells the driver's share.
    fn driver_peak_v(&self, take: &Take, condition: Condition, level_dbfs: f64) -> Option<f64> {
        let full_scale_v = self.desk.source_full_scale_v?;
        if condition.is_calibration() {
            return None;
        }
        if take.n_frames() <= READ_UP_TO_FRAMES {
            return read_burst(take, level_dbfs, &self.desk.burst_jig())
                .driver?
                .peak_v;
        }
        let source_peak = take
            .source()
            .iter()
            .fold(0.0, |m: f32, v| if v.abs() > m { v.abs() } else { m });
        Some(self.driver_share? * full_scale_v * f64::from(source_peak))
    }

    /// What a search for the level has to reach and to keep.
    pub fn goal(&self, condition: Condition) -> Goal {
        self.desk.goal(condition)
    }

    /// The lowest level that serves for a condition, or the one that was asked for. `report` hears of every burst. The
    /// findings are those of the burst that ended the search, if it was damaged.
    pub fn seek(
        &mut self,
        condition: Condition,
        report: &mut dyn FnMut(&Reading),
    ) -> Result<Sought, Failure> {
        if let Some(level_dbfs) = self.fixed_level_dbfs {
            return Ok(Sought::Level {
                level_dbfs,
                chosen: None,
            });
        }
        let mut search = LevelSearch::new(&self.desk, condition);
        loop {
            let level_dbfs = match search.next() {
                Step::Burst(level_dbfs) => level_dbfs,
                Step::Use(chosen) => {
                    return Ok(Sought::Level {
                        level_dbfs: chosen.playback_dbfs,
                        chosen: Some(chosen),
                    });
                }
                Step::Damaged(findings) => return Ok(Sought::Damaged { findings }),
                Step::Exchanged => return Err(exchanged()),
            };
            let what = format!("burst at {level_dbfs:.0} dBFS");
            let playback = self.desk.sound.burst(level_dbfs)?;
            let recorded = self.record(On::Condition(condition), &playback, &what)?;
            if let Some(reading) = search.saw(&self.desk, &playback, &recorded) {
                let share = reading.driver.map(|driver| driver.share);
                self.driver_share = share.or(self.driver_share);
                report(&reading);
            }
        }
    }
}

/// Refuses a recording that would be a good one with its channels exchanged.
fn exchanged() -> Failure {
    Failure::SetUp {
        message: "channel 2 holds what was played, and channel 1 only what the driver leaves of it: the plugs of the two inputs \
                  are exchanged. Exchange them, or add --input-channels 2,1. Takes that were made before are exchanged as well: \
                  begin in a new folder"
            .to_owned(),
    }
}

/// Longer takes are not analysed for their voltage alone: their samples fill the memory that is promised already.
const READ_UP_TO_FRAMES: usize = 2_000_000;

/// What came of a search.
pub enum Sought {
    /// A level; without [`Chosen`] it was asked for.
    Level {
        /// Peak level to play at, dBFS.
        level_dbfs: f64,
        /// How it was chosen.
        chosen: Option<Chosen>,
    },
    /// Something is wrong that no level mends.
    Damaged {
        /// What.
        findings: Vec<Finding>,
    },
}
