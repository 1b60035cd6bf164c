//! One driver's measurement: the session folder, the card, and what is done with both.

use std::path::{Path, PathBuf};

use farcone::capture::CaptureError;
use farcone::desk::{N_REPEATS, burst_line, by_chance, chosen_line};
use farcone::finding::{Finding, Severity};
use farcone::level::Reading;
use farcone::progress::Unwatched;
use farcone::session::{
    CheckReading, Condition, JigReading, SessionFile, SessionTake, TakeFile, analyse, read_jig,
};
use farcone::sheet::Sheet;

use farcone::jig::Wiring;
use farcone::quantity::Stated;

use super::ask::{Dialogue, Ready};
use crate::cli::failure::Failure;
use crate::cli::live::{LiveArgs, LiveDesk, Made, Sought};
use crate::cli::view;
use crate::store::{self, SessionFolder};

/// Draws of the quick look between takes: only values are shown.
const QUICK_DRAWS: usize = 1000;
/// How long is listened before the first sound, s.
const LISTEN_S: f64 = 0.8;

/// What came of a step.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Done {
    /// A take was kept.
    Kept,
    /// Nothing was kept, because somebody said so.
    Dropped,
}

/// A measurement under way.
pub struct Job {
    pub folder: SessionFolder,
    pub session: SessionFile,
    pub desk: LiveDesk,
    pub dialogue: Dialogue,
    driver_level_dbfs: Option<f64>,
    calibration_level_dbfs: Option<f64>,
    /// Peak of the louder input in the last take, dBFS.
    pub last_peak_dbfs: Option<f64>,
    listened: bool,
    /// What is to be known about the jig profile; stands in the sheet too.
    pub noted: Vec<Finding>,
}

impl Job {
    pub fn new(
        folder: SessionFolder,
        session: SessionFile,
        mut desk: LiveDesk,
        dialogue: Dialogue,
    ) -> Result<Self, Failure> {
        desk.agreed().source_full_scale_v = session.source_full_scale_v.map(|stated| stated.value);
        desk.agreed().amplifier |= session.amplifier;
        let job = Self {
            // A session that goes on goes on as loud as it was.
            driver_level_dbfs: last_level(&session, false),
            calibration_level_dbfs: last_level(&session, true),
            folder,
            session,
            desk,
            dialogue,
            last_peak_dbfs: None,
            listened: false,
            noted: vec![],
        };
        if let Some(device_hz) = job.desk.resampling() {
            job.dialogue.warn(&format!(
                "Note: the sound server runs this device at {device_hz} Hz and converts to {} Hz on the way; --rate {device_hz}Hz avoids \
                 that.",
                job.desk.sample_rate_hz()
            ));
        }
        Ok(job)
    }

    /// Writes down what is known.
    pub fn save(&self) -> Result<(), Failure> {
        Ok(self.folder.save(&self.session)?)
    }

    /// Listens before the first sound of this run; stops at a howl, a mono input, or a supply for microphones.
    pub fn listen_first(&mut self, condition: Condition) -> Result<(), Failure> {
        if self.listened {
            return Ok(());
        }
        let on = crate::cli::live::On::Condition(condition);
        let take = self.desk.listen(on, LISTEN_S, "listening")?;
        let findings = farcone::faults::quiet_findings("before any sound", &take);
        self.report(&findings);
        if worst(&findings) == Some(Severity::Redo) {
            return Err(set_up(&findings));
        }
        self.listened = true;
        Ok(())
    }

    /// One take of a condition, at the lowest level that serves, made again while it is damaged; kept in the session.
    pub fn take(&mut self, condition: Condition, remounted: bool) -> Result<Done, Failure> {
        self.listen_first(condition)?;
        let level_dbfs = self.level_for(condition)?;
        self.take_at(condition, level_dbfs, remounted, false)
    }

    /// One take at a level.
    pub fn take_at(
        &mut self,
        condition: Condition,
        level_dbfs: f64,
        remounted: bool,
        aside: bool,
    ) -> Result<Done, Failure> {
        let name = self.folder.next_name(&self.session, &condition);
        let mut repeats = N_REPEATS;
        let made = loop {
            let made = match self.desk.take(&name, condition, level_dbfs) {
                Ok(made) => made,
                Err(Failure::Capture(error)) if self.dialogue.can_ask() => {
                    if self.once_more(&error)? {
                        continue;
                    }
                    return Ok(Done::Dropped);
                }
                Err(failure) => return Err(failure),
            };
            self.report(&made.findings);
            if !made.is_damaged() {
                break made;
            }
            if self.dialogue.can_ask() {
                self.dialogue.say("This take is damaged and was not kept.");
                if self.dialogue.ready("Make it again?", true)? == Ready::Skip {
                    return Ok(Done::Dropped);
                }
            } else if repeats == 0 || !by_chance(&made.findings) {
                return Err(set_up(&made.findings));
            } else {
                repeats -= 1;
                self.dialogue
                    .warn(&format!("{name} is damaged and is made again."));
            }
        };
        if !condition.is_calibration() && !aside {
            self.last_peak_dbfs = Some(peak_dbfs(&made));
        }
        self.keep(&name, condition, &made, remounted, aside)
    }

    /// Whether somebody wants to try again after the card failed.
    fn once_more(&self, error: &CaptureError) -> Result<bool, Failure> {
        self.dialogue.warn(&format!("The card failed: {error}"));
        Ok(self.dialogue.ready("Try again?", true)? == Ready::Go)
    }

    /// The wiring, for what is said about it.
    pub fn wiring(&self) -> Wiring {
        self.session
            .jig
            .map_or(Wiring::AcrossDriver, |jig| jig.wiring)
    }

    /// The sense resistor's value, ohm.
    pub fn sense_ohm(&self) -> f64 {
        self.session.jig.map_or(f64::NAN, |jig| jig.sense_ohm.value)
    }

    /// Notes the volts at the source input's full scale.
    pub fn set_full_scale(&mut self, full_scale_v: Stated) -> Result<(), Failure> {
        self.session.source_full_scale_v = Some(full_scale_v);
        self.desk.agreed().source_full_scale_v = Some(full_scale_v.value);
        self.save()
    }

    /// Opens the card again, after the session's devices have changed.
    pub fn reopen(&mut self, live: &LiveArgs) -> Result<(), Failure> {
        let (jig, devices) = super::start::needed(&self.session)?;
        let mut desk = LiveDesk::open(&devices, &jig, &live.sound, &live.level, false)?;
        let (volts, amplifier) = (
            self.desk.agreed().source_full_scale_v,
            self.desk.agreed().amplifier,
        );
        desk.agreed().source_full_scale_v = volts;
        desk.agreed().amplifier = amplifier;
        self.desk = desk;
        Ok(())
    }

    /// Takes the last take of a condition out of the session, so that it is made again. Its file stays.
    pub fn take_back(&mut self, condition: &Condition) -> Result<(), Failure> {
        let of_condition = |take: &TakeFile| take.condition == *condition && !take.aside;
        if let Some(at) = self.session.takes.iter().rposition(of_condition) {
            self.session.takes.remove(at);
        }
        if !condition.is_calibration() {
            // What was wrong may have been the level.
            self.driver_level_dbfs = None;
        }
        self.save()
    }

    /// The findings of a sheet that are about the last take.
    pub fn about_last(&self, sheet: &Sheet) -> String {
        let Some(last) = self.session.takes.last() else {
            return String::new();
        };
        let about = |finding: &&farcone::sheet::Finding| {
            let take = finding.take.as_deref();
            finding.severity != Severity::Note.as_str()
                && (take == Some(&last.name) || take == Some(last.condition.as_str()))
        };
        let about: Vec<_> = sheet.findings.iter().filter(about).cloned().collect();
        view::findings_of_sheet(&about, self.dialogue.look())
    }

    /// Keeps a take; where it cannot be written, it stays in memory until somebody decides.
    fn keep(
        &mut self,
        name: &str,
        condition: Condition,
        made: &Made,
        remounted: bool,
        aside: bool,
    ) -> Result<Done, Failure> {
        loop {
            let added = self.folder.add_take(name, condition, &made.take);
            match added.map_err(Failure::from).and_then(|entry| {
                self.session.takes.push(TakeFile {
                    remounted,
                    level: Some(made.level),
                    aside,
                    ..entry
                });
                self.save()
            }) {
                Ok(()) => return Ok(Done::Kept),
                Err(failure) if self.dialogue.can_ask() => {
                    // Written, but not entered: it must not be entered twice.
                    self.session.takes.retain(|take| take.name != name);
                    self.dialogue
                        .warn(&format!("The take cannot be kept: {failure}"));
                    if !self.rescue(name, made)? {
                        return Ok(Done::Dropped);
                    }
                }
                Err(failure) => return Err(failure),
            }
        }
    }

    /// What to do with a take that cannot be written; whether to try once more.
    fn rescue(&self, name: &str, made: &Made) -> Result<bool, Failure> {
        let answers = [
            "try again, after making room or unlocking the folder".to_owned(),
            "write it into another folder, as a single file".to_owned(),
            "drop it".to_owned(),
        ];
        match self
            .dialogue
            .choose("It is still in memory. What now?", &answers)?
        {
            0 => Ok(true),
            1 => {
                self.dialogue.text("Which folder?", None, |text| {
                    let path = Path::new(text).join(format!("{name}.wav"));
                    store::write_take(&path, &made.take).map(|()| path)
                })?;
                Ok(false)
            }
            _ => Ok(false),
        }
    }

    /// The level for a condition: sought once for the driver, once for calibrations.
    fn level_for(&mut self, condition: Condition) -> Result<f64, Failure> {
        let calibration = condition.is_calibration();
        let known = if calibration {
            self.calibration_level_dbfs
        } else {
            self.driver_level_dbfs
        };
        if let Some(level_dbfs) = known {
            return Ok(level_dbfs);
        }
        let sought = loop {
            let dialogue = &self.dialogue;
            let mut report = |reading: &Reading| dialogue.say(&burst_line(reading));
            match self.desk.seek(condition, &mut report) {
                Err(Failure::Capture(error)) if self.dialogue.can_ask() => {
                    if !self.once_more(&error)? {
                        return Err(Failure::Stopped);
                    }
                }
                other => break other?,
            }
        };
        let level_dbfs = match sought {
            Sought::Damaged { findings } => {
                self.report(&findings);
                return Err(set_up(&findings));
            }
            Sought::Level { level_dbfs, chosen } => {
                if let Some(chosen) = chosen {
                    self.dialogue.say(&chosen_line(
                        &chosen,
                        &self.desk.goal(condition),
                        Some(["--ceiling", "--length"]),
                    ));
                }
                level_dbfs
            }
        };
        if calibration {
            self.calibration_level_dbfs = Some(level_dbfs);
        } else {
            self.driver_level_dbfs = Some(level_dbfs);
        }
        Ok(level_dbfs)
    }

    /// The level that the driver's takes have, once known.
    pub fn driver_level_dbfs(&self) -> Option<f64> {
        self.driver_level_dbfs
    }

    /// Shows findings of a take.
    pub fn report(&self, findings: &[Finding]) {
        if !findings.is_empty() {
            self.dialogue
                .show(&view::findings_of_take(findings, self.dialogue.look()));
        }
    }

    /// The sheet of what there is, or `None` without a free-air take.
    pub fn look(&self) -> Result<Option<Sheet>, Failure> {
        let mut session = self.session.clone();
        session.n_draws = QUICK_DRAWS;
        if !has_free_air(&session) {
            return Ok(None);
        }
        let session = store::load(session, self.folder.path(), &mut Unwatched)?;
        Ok(Some(analyse(session, &mut Unwatched)?))
    }

    /// What the calibration takes say.
    pub fn read_jig(&self) -> Result<JigReading, Failure> {
        let mut session = self.session.clone();
        session.takes.retain(|take| take.condition.is_calibration());
        let takes: Vec<SessionTake> =
            store::load(session.clone(), self.folder.path(), &mut Unwatched)?.takes;
        Ok(read_jig(session.with_data(takes))?)
    }

    /// The last check resistor; `None` without a take of one.
    pub fn last_check(&self) -> Result<Option<CheckReading>, Failure> {
        Ok(self.read_jig()?.checks.pop())
    }

    /// The whole analysis; the sheet is written beside the takes.
    pub fn finish(&self, quiet: bool) -> Result<(Sheet, PathBuf), Failure> {
        let sheet = crate::cli::fit::sheet_of(
            self.session.clone(),
            self.folder.path(),
            self.noted.clone(),
            quiet,
        )?;
        let stem = store::safe_file_name(&sheet.label);
        // A sheet that may have been sent around is never overwritten.
        let path = store::free_path(self.folder.path(), &stem, ".driver.json");
        store::write_new_text(&path, &sheet.to_json()?)?;
        Ok((sheet, path))
    }
}

pub fn has_free_air(session: &SessionFile) -> bool {
    session
        .takes
        .iter()
        .any(|take| take.condition == Condition::FreeAir && !take.aside)
}

fn last_level(session: &SessionFile, calibration: bool) -> Option<f64> {
    let of_kind = |take: &&TakeFile| take.condition.is_calibration() == calibration && !take.aside;
    let last = session.takes.iter().rfind(of_kind)?;
    last.level.map(|level| level.playback_dbfs)
}

fn worst(findings: &[Finding]) -> Option<Severity> {
    findings.iter().map(|finding| finding.severity).max()
}

/// The failure that says what to change before it makes sense to go on.
fn set_up(findings: &[Finding]) -> Failure {
    let worst = findings
        .iter()
        .find(|finding| finding.severity == Severity::Redo);
    Failure::SetUp {
        message: worst.map_or_else(
            || "the set-up has to be changed first".to_owned(),
            |finding| {
                format!(
                    "{} ({}). {}",
                    finding.message.trim_end_matches('.'),
                    finding.code.as_str(),
                    finding.advice
                )
            },
        ),
    }
}

/// Peak of the louder input, dBFS.
fn peak_dbfs(made: &Made) -> f64 {
    let samples = made.take.source().iter().chain(made.take.driver());
    let peak = samples.fold(0.0, |m: f32, v| if v.abs() > m { v.abs() } else { m });
    20.0 * f64::from(peak).log10()
}
