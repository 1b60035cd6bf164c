//! A card with everything that is agreed about it, and what can be done with it.

use farcone::capture::{CaptureError, Playback, Recorded, SoundCard};
use farcone::faults::{
    Expected, GainFacts, PlaybackCheck, compression, distortion, own_findings, playback_check,
};
use farcone::finding::{Code, Finding, Severity};
use farcone::jig::Jig;
use farcone::level::{
    BurstJig, Chosen, Goal, Limitation, Next, Reading, Seek, read_burst, read_calibration_burst,
};
use farcone::recording::Take;
use farcone::session::{Condition, Devices, JigInput, TakeLevel, expected};
use farcone::signal::harmonics;

use super::monitor::TakeMonitor;
use super::stop::{self, Sounding};
use super::{LevelArgs, LiveCard, On, Sound, SoundArgs};
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
pub struct Desk {
    card: LiveCard,
    sound: Sound,
    jig: JigInput,
    fixed_level_dbfs: Option<f64>,
    /// Peak volts at the source input's full scale.
    pub source_full_scale_v: Option<f64>,
    /// Whether a power amplifier is in between.
    pub amplifier: bool,
    /// The driver's share of the source's voltage at its impedance peak, as the last burst showed it.
    driver_share: Option<f64>,
    /// Notes that were given: said once, they hold for the whole set-up.
    noted: Vec<Code>,
    quiet: bool,
}

impl Desk {
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
        let sound = Sound::new(sound, level.ceiling, card.sample_rate_hz());
        Ok(Self {
            card,
            sound,
            jig: *jig,
            fixed_level_dbfs: level.level,
            source_full_scale_v: None,
            amplifier: level.amplifier,
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
        &self.sound
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
        let silence = self.sound.silence(length_s);
        Ok(self.record(on, &silence, what)?.take)
    }

    /// One take at a level, checked against what was played and by itself, as long as somebody is there who can mend what is wrong.
    pub fn take(
        &mut self,
        name: &str,
        condition: Condition,
        level_dbfs: f64,
    ) -> Result<Made, Failure> {
        let playback = self.sound.full(level_dbfs)?;
        let recorded = self.record(On::Condition(condition), &playback, name)?;
        let expected = self.expected(condition);
        let mut findings = playback_check(name, &playback, &recorded, expected).findings;
        refuse_exchanged(&playback, &recorded, &findings)?;
        drop(playback);
        // What is made again anyway is not looked at twice.
        if redo(&findings).next().is_none() {
            findings.extend(own_findings(name, &recorded.take, expected, &findings));
        }
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

    fn expected(&self, condition: Condition) -> Expected {
        expected(&condition, Some(self.jig.wiring))
    }

    /// Peak volts across the driver at its impedance peak; `None` where the input is not calibrated in volts, or nothing
    /// tells the driver's share.
    fn driver_peak_v(&self, take: &Take, condition: Condition, level_dbfs: f64) -> Option<f64> {
        let full_scale_v = self.source_full_scale_v?;
        if condition.is_calibration() {
            return None;
        }
        if take.n_frames() <= READ_UP_TO_FRAMES {
            return read_burst(take, level_dbfs, &self.burst_jig())
                .driver?
                .peak_v;
        }
        let source_peak = take
            .source()
            .iter()
            .fold(0.0, |m: f32, v| if v.abs() > m { v.abs() } else { m });
        Some(self.driver_share? * full_scale_v * f64::from(source_peak))
    }

    fn burst_jig(&self) -> BurstJig {
        BurstJig {
            jig: Jig {
                wiring: self.jig.wiring,
                sense_ohm: self.jig.sense_ohm.value,
                lead_ohm: 0.0,
                load_ohm: f64::INFINITY,
                gain: 1.0,
            },
            band_hz: self.sound.band_hz(),
            input_full_scale_v: self.source_full_scale_v,
        }
    }

    /// What a search for the level has to reach and to keep.
    pub fn goal(&self, condition: Condition) -> Goal {
        // Behind an amplifier nothing is assumed: an input calibrated in volts is asked for before.
        let assumed_v = (!self.amplifier).then_some(Goal::LINE_OUTPUT_PEAK_V);
        Goal {
            relative_uncertainty: if condition.is_calibration() {
                Goal::CALIBRATION_UNCERTAINTY
            } else {
                Goal::RELATIVE_UNCERTAINTY
            },
            full_over_burst: self.sound.full_over_burst(),
            start_dbfs: Goal::START_DBFS,
            ceiling_dbfs: self.sound.ceiling_dbfs(),
            driver_peak_v: Goal::DRIVER_PEAK_V,
            output_full_scale_v: assumed_v,
        }
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
        let mut seek = Seek::new(self.goal(condition));
        let mut before: Option<GainFacts> = None;
        let mut again = N_REPEATS;
        loop {
            let level_dbfs = match seek.next() {
                Next::Use(chosen) => {
                    return Ok(Sought::Level {
                        level_dbfs: chosen.playback_dbfs,
                        chosen: Some(chosen),
                    });
                }
                Next::Burst(level_dbfs) => level_dbfs,
            };
            let what = format!("burst at {level_dbfs:.0} dBFS");
            let playback = self.sound.burst(level_dbfs)?;
            let recorded = self.record(On::Condition(condition), &playback, &what)?;
            let check = playback_check("burst", &playback, &recorded, self.expected(condition));
            refuse_exchanged(&playback, &recorded, &check.findings)?;
            let damaged = fatal(&check.findings);
            let by_chance = by_chance(&check.findings);
            if damaged && by_chance && again > 0 {
                again -= 1;
                continue;
            }
            if damaged && !(by_chance && level_dbfs < HEARD_BY_DBFS) {
                return Ok(Sought::Damaged {
                    findings: check.findings,
                });
            }
            if damaged {
                // It drowned in noise; a louder one tells.
                let drowned = Reading {
                    relative_uncertainty: None,
                    ..read_calibration_burst(&recorded.take, level_dbfs, &self.burst_jig())
                };
                report(&drowned);
                seek.saw(drowned);
                continue;
            }
            let reading = self.reading(
                condition,
                &playback,
                level_dbfs,
                &recorded,
                &check,
                &mut before,
            );
            self.driver_share = reading
                .driver
                .map(|driver| driver.share)
                .or(self.driver_share);
            report(&reading);
            seek.saw(reading);
        }
    }

    fn reading(
        &self,
        condition: Condition,
        playback: &Playback,
        level_dbfs: f64,
        recorded: &Recorded,
        check: &PlaybackCheck,
        before: &mut Option<GainFacts>,
    ) -> Reading {
        let burst = self.burst_jig();
        let mut reading = if condition.is_calibration() {
            read_calibration_burst(&recorded.take, level_dbfs, &burst)
        } else {
            read_burst(&recorded.take, level_dbfs, &burst)
        };
        let gain = check.gain_db.map(|gain_db| GainFacts {
            played_dbfs: level_dbfs,
            gain_db,
        });
        let gave_in = match (*before, gain) {
            (Some(low), Some(high)) => !compression("burst", low, high).is_empty(),
            _ => false,
        };
        let clipped = check
            .findings
            .iter()
            .any(|finding| finding.code == Code::Clipped);
        let distorted = reading
            .readout
            .is_some_and(|seen| self.distorts(level_dbfs, recorded, playback, seen.fs_hz.value));
        reading.strained = if clipped {
            Some(Limitation::Clipped)
        } else if gave_in {
            Some(Limitation::OutputGaveIn)
        } else if distorted {
            Some(Limitation::Distorted)
        } else {
            None
        };
        *before = gain.or(*before);
        reading
    }

    fn distorts(
        &self,
        level_dbfs: f64,
        recorded: &Recorded,
        playback: &Playback,
        fs_hz: f64,
    ) -> bool {
        let sweep = self.sound.burst_sweep(level_dbfs);
        let take = &recorded.take;
        let of = |channel: &[f32]| {
            harmonics(
                &sweep,
                playback.samples(),
                channel,
                f64::from(take.sample_rate_hz()),
            )
        };
        let found = distortion("burst", &of(take.source()), &of(take.driver()), Some(fs_hz));
        !found.findings.is_empty()
    }
}

/// Refuses a damaged recording that would be a good one with its channels exchanged: no other take mends that, and what is
/// found wrong with it (lost frames, a moved level) is the driver's own response.
fn refuse_exchanged(
    playback: &Playback,
    recorded: &Recorded,
    findings: &[Finding],
) -> Result<(), Failure> {
    if !fatal(findings) {
        return Ok(());
    }
    let exchanged = Recorded {
        take: recorded.take.clone().swapped(),
        n_reported_losses: recorded.n_reported_losses,
    };
    // What is channel 1 there may be anything.
    let anything = Expected {
        silent_driver: true,
        ..Expected::default()
    };
    let check = playback_check("exchanged", playback, &exchanged, anything);
    if check.delay_frames.is_none() || fatal(&check.findings) {
        return Ok(());
    }
    Err(Failure::SetUp {
        message: "channel 2 holds what was played, and channel 1 only what the driver leaves of it: the plugs of the two inputs \
                  are exchanged. Exchange them, or add --input-channels 2,1. Takes that were made before are exchanged as well: \
                  begin in a new folder"
            .to_owned(),
    })
}

/// Longer takes are not analysed for their voltage alone: their samples fill the memory that is promised already.
const READ_UP_TO_FRAMES: usize = 2_000_000;

/// A burst that is not heard at this level is not heard because it goes elsewhere: no converter's noise drowns it.
const HEARD_BY_DBFS: f64 = -36.0;

/// What a search cannot go on from. Clipping only says that it was too loud.
fn fatal(findings: &[Finding]) -> bool {
    redo(findings).any(|finding| finding.code != Code::Clipped)
}

fn redo(findings: &[Finding]) -> impl Iterator<Item = &Finding> {
    findings
        .iter()
        .filter(|finding| finding.severity == Severity::Redo)
}

/// Whether everything that is wrong may be gone the next time: frames that got lost, a volume that somebody turned, noise.
pub fn by_chance(findings: &[Finding]) -> bool {
    redo(findings).all(|finding| {
        matches!(
            finding.code,
            Code::FramesLost | Code::LevelMoved | Code::PlaybackAbsent
        )
    })
}

/// How often a damaged take or burst is made again before somebody is asked.
pub const N_REPEATS: usize = 2;

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
