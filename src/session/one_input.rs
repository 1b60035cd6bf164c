//! Takes of one input, which heard the source node and the driver's side in turn.

use super::SessionError;
use super::curves::no_signal;
use super::expected::expected;
use super::session::{Condition, Data, OneInputTake, Session};
use crate::faults::{noise_finding, one_input_findings, one_input_lost, one_input_samples};
use crate::finding::{Code, Finding, Severity};
use crate::jig::Wiring;
use crate::progress::Watcher;
use crate::signal::{ChannelRatio, OneInputError, RatioSettings, one_input};

/// What a take of one input came to.
pub(super) struct Heard {
    pub ratio: ChannelRatio,
    /// Standard uncertainty of the time between what was heard on the two nodes, s.
    pub delay_doubt_s: f64,
    /// Level of the source, RMS, dB relative to full scale.
    pub source_dbfs: f64,
}

/// Whether all recordings are of one input; an error if only some are, since one calibration cannot serve both.
pub(super) fn only_one(session: &Session) -> Result<bool, SessionError> {
    let n_one = session
        .takes
        .iter()
        .filter(|take| matches!(take.data, Data::OneInput(_)))
        .count();
    let n_two = session
        .takes
        .iter()
        .filter(|take| matches!(take.data, Data::Recording(_)))
        .count();
    match (n_one, n_two) {
        (0, _) => Ok(false),
        (_, 0) => Ok(true),
        _ => Err(SessionError::OneAndTwo),
    }
}

/// Findings about a take of one input by itself, as soon as it is made. It can be used if none of them asks to make it again.
///
/// # Errors
/// [`SessionError::Cancelled`].
pub fn one_input_check(
    name: &str,
    condition: &Condition,
    recording: &OneInputTake,
    wiring: Wiring,
    watcher: &mut dyn Watcher,
) -> Result<Vec<Finding>, SessionError> {
    let (low_hz, high_hz) = Session::DEFAULT_BAND_HZ;
    let settings = RatioSettings {
        low_hz,
        high_hz,
        resolution_hz: recording.period.spacing_hz(),
        may_vanish: false,
        left_out: vec![],
    };
    let mut findings = vec![];
    hear(
        name,
        condition,
        recording,
        Some(wiring),
        &settings,
        &mut findings,
        watcher,
    )?;
    Ok(findings)
}

/// Reads a take; `None` if it cannot be used, which a finding then says.
pub(super) fn hear(
    name: &str,
    condition: &Condition,
    recording: &OneInputTake,
    wiring: Option<Wiring>,
    settings: &RatioSettings,
    findings: &mut Vec<Finding>,
    watcher: &mut dyn Watcher,
) -> Result<Option<Heard>, SessionError> {
    if *condition == Condition::SameNode {
        findings.push(
            Finding::new(
                Code::ClipNotMoved,
                Severity::Note,
                "a take of one node says nothing here: one input hears both, and matches itself; it was not used",
                "leave it out",
            )
            .about(name),
        );
        return Ok(None);
    }
    let rate_hz = f64::from(recording.sample_rate_hz);
    let own = one_input_samples(name, &recording.samples, rate_hz);
    let lost = own.iter().any(|found| found.severity == Severity::Redo);
    findings.extend(own);
    if lost {
        return Ok(None);
    }
    let expected = expected(condition, wiring);
    let found = match one_input(
        &recording.samples,
        rate_hz,
        recording.period,
        expected.alike,
        watcher,
    ) {
        Ok(found) => found,
        Err(OneInputError::Cancelled) => return Err(SessionError::Cancelled),
        Err(error) => {
            findings.push(one_input_lost(name, &error, expected));
            return Ok(None);
        }
    };
    let settings = RatioSettings {
        may_vanish: expected.silent_driver,
        ..settings.clone()
    };
    let ratio = found.ratio(&settings);
    let about = one_input_findings(name, &found, ratio.as_ref().ok(), expected, wiring, rate_hz);
    let lost = about.iter().any(|found| found.severity == Severity::Redo);
    findings.extend(about);
    if lost {
        return Ok(None);
    }
    match ratio {
        Ok(ratio) => {
            if !settings.may_vanish {
                findings.extend(noise_finding(name, &ratio));
            }
            Ok(Some(Heard {
                ratio,
                delay_doubt_s: found.delay_doubt_s,
                source_dbfs: found.source_dbfs,
            }))
        }
        Err(error) => {
            findings.push(no_signal(name, &error.to_string()));
            Ok(None)
        }
    }
}

/// The ratio with channel 2 later by so much, s.
pub(super) fn later(ratio: &ChannelRatio, delay_s: f64) -> ChannelRatio {
    let mut ratio = ratio.clone();
    for (h, f_hz) in ratio.h.iter_mut().zip(ratio.frequency.as_slice()) {
        *h *= num_complex::Complex64::cis(-std::f64::consts::TAU * f_hz * delay_s);
    }
    ratio
}
