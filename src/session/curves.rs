//! From a session's takes to the curves that are fitted, for any assumed values of what was typed.

use std::borrow::Cow;

use num_complex::Complex64;

use super::expected::expected;
use super::groups::TakeGroups;
use super::loading::loading;
use super::mounting::stiffness_doubt;
use super::one_input;
use super::orientation::{blamed_on_driver, turn};
use super::session::{Condition, Data, Session, SessionTake, TakeLevel};
use super::{SessionError, typed::Which};
use crate::air::Air;
use crate::faults::{Facts, noise_finding, recording_findings, touching};
use crate::finding::{Code, Finding, Severity};
use crate::fit::{Observation, mean_curve};
use crate::impedance::{ImpedanceCurve, from_ratio, from_ratio_apart};
use crate::jig::{Calibration, CalibrationNoise, Corrections, Jig, Wiring};
use crate::progress::Watcher;
use crate::signal::{ChannelRatio, LeftOut, RatioSettings, SignalError, channel_ratio, sum};

/// Area that stands in for an unknown cone, m². Vas does not depend on it.
pub(super) const STAND_IN_SD_M2: f64 = 0.01;

/// A take after its samples have done their work.
pub(super) struct Member {
    pub name: String,
    pub remounted: bool,
    pub level: Option<TakeLevel>,
    pub reading: Reading,
}

pub(super) enum Reading {
    Ratio(ChannelRatio),
    Table(ImpedanceCurve),
}

/// Takes of one condition.
pub(super) struct Group {
    pub name: String,
    pub condition: Condition,
    pub members: Vec<Member>,
}

/// All groups: the driver's, free air first, and the jig's.
pub(super) struct Measured {
    pub wiring: Option<Wiring>,
    pub driver: Vec<Group>,
    pub jig: Vec<Group>,
    /// Free-air takes that only compare levels.
    pub aside: Vec<Member>,
    /// RMS level of channel 1 in the loudest free-air take.
    pub level_dbfs: Option<f64>,
    /// For takes of one input, the largest standard uncertainty of the time between the two nodes, s; `None` for two inputs.
    pub one_input_s: Option<f64>,
    /// Highest voltage noted across the driver at its impedance peak, V peak.
    pub driver_peak_v: Option<f64>,
}

/// Turns recordings into ratios; the samples are dropped on the way.
pub(super) fn measure(
    session: &mut Session,
    findings: &mut Vec<Finding>,
    watcher: &mut dyn Watcher,
) -> Result<Measured, SessionError> {
    let settings = RatioSettings {
        low_hz: session.band_hz.0,
        high_hz: session.band_hz.1,
        resolution_hz: coarsest(&session.takes),
        may_vanish: false,
        left_out: vec![],
    };
    let wiring = session.jig.map(|jig| jig.wiring);
    let swap = session.jig.is_some_and(|jig| jig.swap_channels);
    let turned = turn(&mut session.takes, wiring, swap);
    findings.extend(turned.findings);
    let mut measured = Measured {
        wiring,
        driver: vec![],
        jig: vec![],
        aside: vec![],
        level_dbfs: None,
        one_input_s: one_input::only_one(session)?.then_some(0.0),
        driver_peak_v: None,
    };
    let all = session.takes.iter();
    let names = TakeGroups::of(all.map(|take| (take.name.as_str(), take.condition, take.aside)));
    for take in session.takes.drain(..) {
        findings.extend(
            take.findings
                .iter()
                .cloned()
                .map(|finding| finding.about(take.name.clone())),
        );
        let reading = match take.data {
            Data::Table(curve) => match curve.between(settings.low_hz, settings.high_hz) {
                Some(curve) => Reading::Table(curve),
                None => {
                    findings.push(no_signal(
                        &take.name,
                        "the table holds no point within the band",
                    ));
                    continue;
                }
            },
            Data::OneInput(recording) => {
                let (name, condition) = (&take.name, &take.condition);
                let heard = one_input::hear(
                    name, condition, &recording, wiring, &settings, findings, watcher,
                )?;
                let Some(heard) = heard else { continue };
                measured.note_one_input(&heard, condition, take.aside);
                Reading::Ratio(heard.ratio)
            }
            Data::Recording(recording) => {
                let facts = Facts::of(&recording);
                let faults = recording_findings(
                    &take.name,
                    &recording,
                    &facts,
                    expected(&take.condition, wiring),
                    session.played.as_ref(),
                );
                let lost = faults
                    .iter()
                    .any(|finding| finding.severity == Severity::Redo);
                let driver_silent = || {
                    turned.inputs_work
                        && !take.condition.is_calibration()
                        && rms_dbfs(recording.driver()) < rms_dbfs(recording.source())
                };
                findings.extend(faults.into_iter().map(|finding| match finding.code {
                    Code::DeadChannel if driver_silent() => blamed_on_driver(finding, wiring),
                    _ => finding,
                }));
                if lost {
                    continue;
                }
                let known = take.findings.iter().any(|f| f.code == Code::Distorted);
                if !take.condition.is_calibration() && !known {
                    findings.extend(touching(&take.name, &recording));
                }
                if matches!(take.condition, Condition::FreeAir) && !take.aside {
                    measured.note_level(rms_dbfs(recording.source()));
                }
                let rate_hz = f64::from(recording.sample_rate_hz());
                let settings = RatioSettings {
                    may_vanish: expected(&take.condition, wiring).silent_driver,
                    left_out: hum(&facts),
                    ..settings.clone()
                };
                match channel_ratio(
                    recording.source(),
                    recording.driver(),
                    rate_hz,
                    &settings,
                    watcher,
                ) {
                    Ok(ratio) => {
                        if !settings.may_vanish {
                            findings.extend(noise_finding(&take.name, &ratio));
                        }
                        Reading::Ratio(ratio)
                    }
                    Err(SignalError::Cancelled) => return Err(SessionError::Cancelled),
                    Err(error) => {
                        let finding = no_signal(&take.name, &error.to_string());
                        findings.push(if driver_silent() {
                            blamed_on_driver(finding, wiring)
                        } else {
                            finding
                        });
                        continue;
                    }
                }
            }
        };
        let member = Member {
            name: take.name,
            remounted: take.remounted,
            level: take.level,
            reading,
        };
        if take.aside {
            measured.aside.push(member);
            continue;
        }
        let noted_v = take.level.and_then(|level| level.driver_peak_v);
        if noted_v > measured.driver_peak_v {
            measured.driver_peak_v = noted_v;
        }
        let groups = if take.condition.is_calibration() {
            &mut measured.jig
        } else {
            &mut measured.driver
        };
        match groups
            .iter_mut()
            .find(|group| group.condition == take.condition)
        {
            Some(group) => group.members.push(member),
            None => groups.push(Group {
                name: names.group_name(take.condition),
                condition: take.condition,
                members: vec![member],
            }),
        }
    }
    // Free air first: the fit reads the driver's own values there.
    measured
        .driver
        .sort_by_key(|group| !matches!(group.condition, Condition::FreeAir));
    Ok(measured)
}

/// The widest bin of all recordings, so that takes of one condition share their bands.
fn coarsest(takes: &[SessionTake]) -> f64 {
    let widths = takes.iter().filter_map(|take| match &take.data {
        Data::Recording(r) => Some(RatioSettings::resolution_hz(
            r.n_frames(),
            f64::from(r.sample_rate_hz()),
        )),
        Data::OneInput(_) | Data::Table(_) => None,
    });
    widths.max_by(f64::total_cmp).unwrap_or(1.0)
}

/// How far a line of hum reaches to either side, Hz. With tapers in the usual silences of half a second and a second it is down
/// by 40 dB there, and falls steeply beyond.
const HUM_REACH_HZ: f64 = 2.0;

/// The lines of hum in a recording.
fn hum(facts: &Facts) -> Vec<LeftOut> {
    let lines = facts.hum().map_or(&[][..], |hum| &hum.lines_hz);
    let line = |&frequency_hz: &f64| LeftOut {
        frequency_hz,
        half_width_hz: HUM_REACH_HZ,
    };
    lines.iter().map(line).collect()
}

pub(super) fn no_signal(take: &str, what: &str) -> Finding {
    Finding::new(
        Code::NoSignal,
        Severity::Redo,
        format!("this take cannot be used: {what}"),
        "play the stimulus a little louder, check the inputs' gain and the connections, and record again",
    )
    .about(take)
}

fn rms_dbfs(samples: &[f32]) -> f64 {
    10.0 * (sum(samples, |v| v * v) / samples.len() as f64).log10()
}

impl Measured {
    fn note_level(&mut self, level_dbfs: f64) {
        if self.level_dbfs.is_none_or(|loudest| level_dbfs > loudest) {
            self.level_dbfs = Some(level_dbfs);
        }
    }

    fn note_one_input(&mut self, heard: &one_input::Heard, condition: &Condition, aside: bool) {
        if *condition == Condition::FreeAir && !aside {
            self.note_level(heard.source_dbfs);
        }
        // Calibrations are laid on their own time.
        if !condition.is_calibration() && self.one_input_s < Some(heard.delay_doubt_s) {
            self.one_input_s = Some(heard.delay_doubt_s);
        }
    }

    /// The jig's groups with their numbers, and the ratio of each take in them.
    pub fn ratios(&self) -> impl Iterator<Item = (usize, &Group, &ChannelRatio)> {
        self.jig.iter().enumerate().flat_map(|(i, group)| {
            group
                .members
                .iter()
                .filter_map(move |member| match &member.reading {
                    Reading::Ratio(ratio) => Some((i, group, ratio)),
                    Reading::Table(_) => None,
                })
        })
    }

    /// The jig for assumed values.
    pub fn jig(&self, wiring: Wiring, value: &dyn Fn(Which) -> f64) -> Jig {
        Jig {
            wiring,
            sense_ohm: value(Which::Sense),
            lead_ohm: value(Which::Lead),
            load_ohm: 1.0 / value(Which::LoadSiemens),
            gain: value(Which::Gain),
        }
    }

    /// The corrections that the calibration takes give. `without_check` leaves check resistors out, so that they can be
    /// read instead.
    pub fn corrections(&self, value: &dyn Fn(Which) -> f64, without_check: bool) -> Corrections {
        let use_check = !without_check && value(Which::CheckUsed) > 0.0;
        let calibrations: Vec<Calibration<'_>> = self
            .ratios()
            .filter_map(|(i, group, ratio)| match group.condition {
                Condition::SameNode => Some(Calibration::SameNode(ratio)),
                Condition::CheckResistor { .. } => {
                    use_check.then(|| Calibration::CheckResistor(ratio, value(Which::Check(i))))
                }
                Condition::ShortedLeads => Some(Calibration::ShortedLeads(ratio)),
                Condition::OpenLeads => Some(Calibration::OpenLeads(ratio)),
                _ => None,
            })
            .collect();
        Corrections::new(&calibrations)
    }

    /// What the check resistors read, ohm; needs another calibration of the channels to mean anything.
    pub fn check_readings(&self, value: &dyn Fn(Which) -> f64) -> Vec<(String, f64)> {
        let Some(wiring) = self.wiring else {
            return vec![];
        };
        let jig = self.jig(wiring, value);
        let corrections = self.corrections(value, true);
        let read = |(_, group, ratio): (usize, &Group, &ChannelRatio)| {
            let curve = from_ratio(ratio, &jig, &corrections)?;
            let mut real: Vec<f64> = curve.z_ohm().iter().map(|z| z.re).collect();
            let middle = real.len() / 2;
            let (_, median, _) = real.select_nth_unstable_by(middle, f64::total_cmp);
            Some((group.name.clone(), *median))
        };
        let checks = self
            .ratios()
            .filter(|(_, group, _)| matches!(group.condition, Condition::CheckResistor { .. }));
        checks.filter_map(read).collect()
    }

    /// A driver's ratio for an assumed time between the two nodes.
    fn timed<'a>(
        &self,
        ratio: &'a ChannelRatio,
        value: &dyn Fn(Which) -> f64,
    ) -> Cow<'a, ChannelRatio> {
        match self.one_input_s {
            None => Cow::Borrowed(ratio),
            Some(_) => Cow::Owned(one_input::later(ratio, value(Which::Delay))),
        }
    }

    /// The curves of a driver group's members, each with its name.
    pub fn member_curves(
        &self,
        group: &Group,
        value: &dyn Fn(Which) -> f64,
    ) -> Vec<(String, ImpedanceCurve)> {
        self.curves_of(&group.members, value)
    }

    /// The curves of any takes of the driver, each with its name.
    pub fn curves_of(
        &self,
        members: &[Member],
        value: &dyn Fn(Which) -> f64,
    ) -> Vec<(String, ImpedanceCurve)> {
        let jig = self.wiring.map(|wiring| {
            let jig = self.jig(wiring, value);
            (jig, self.corrections(value, false))
        });
        let curve = |member: &Member| match (&member.reading, &jig) {
            (Reading::Ratio(ratio), Some((jig, corrections))) => {
                from_ratio(&self.timed(ratio, value), jig, corrections)
            }
            (Reading::Table(curve), _) => Some(curve.clone()),
            (Reading::Ratio(_), None) => None,
        };
        members
            .iter()
            .filter_map(|member| Some((member.name.clone(), curve(member)?)))
            .collect()
    }

    /// The curves of a driver group's members with their own noise only, each with the noise that all takes on the jig share.
    pub fn curves_apart(
        &self,
        group: &Group,
        value: &dyn Fn(Which) -> f64,
    ) -> Vec<(ImpedanceCurve, CalibrationNoise)> {
        let jig = self.wiring.map(|wiring| {
            let jig = self.jig(wiring, value);
            (jig, self.corrections(value, false))
        });
        let apart = |member: &Member| match (&member.reading, &jig) {
            (Reading::Ratio(ratio), Some((jig, corrections))) => {
                from_ratio_apart(&self.timed(ratio, value), jig, corrections)
            }
            (Reading::Table(curve), _) => Some((curve.clone(), CalibrationNoise::default())),
            (Reading::Ratio(_), None) => None,
        };
        group.members.iter().filter_map(apart).collect()
    }

    /// The observations for assumed values. `None` for a group whose curve has no finite value.
    pub fn observations(
        &self,
        use_group: &dyn Fn(&Group) -> bool,
        value: &dyn Fn(Which) -> f64,
    ) -> Vec<Observation> {
        let n_conditions = self.driver.iter().filter(|group| use_group(group)).count();
        let groups = self
            .driver
            .iter()
            .enumerate()
            .filter(|(_, group)| use_group(group));
        groups
            .filter_map(|(i, group)| {
                let (curve, calibration) =
                    mean_curve(&self.curves_apart(group, value), n_conditions)?;
                let loading = loading(group, i, &curve, value);
                Some(Observation {
                    name: group.name.clone(),
                    loading,
                    stiffness_doubt: stiffness_doubt(group, &self.driver),
                    curve,
                    calibration,
                })
            })
            .collect()
    }
}

/// The air for assumed values.
pub(super) fn air(value: &dyn Fn(Which) -> f64) -> Air {
    Air {
        temperature_k: value(Which::Temperature),
        pressure_pa: value(Which::Pressure),
        relative_humidity: value(Which::Humidity),
    }
}

/// Uncertainty of a curve's points, ohm: real and imaginary part; `None` if the source stated none.
pub(super) fn uncertainties_ohm(curve: &ImpedanceCurve) -> Option<(Vec<f64>, Vec<f64>)> {
    let list = curve.covariance()?;
    Some(
        list.iter()
            .map(|c| (c.re_re.sqrt(), c.im_im.sqrt()))
            .unzip(),
    )
}

/// Real and imaginary parts apart.
pub(super) fn parts(z_ohm: &[Complex64]) -> (Vec<f64>, Vec<f64>) {
    z_ohm.iter().map(|z| (z.re, z.im)).unzip()
}
