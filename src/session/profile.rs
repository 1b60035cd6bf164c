//! Jig profiles: what belongs to the jig and not to the driver, made once and used for every driver, `farcone-jig/1`.
//!
//! The format is described in `docs/jig-profile.md`. Here it is text; files on disk are an adapter's business.

mod day;
mod error;
mod json;

use super::{Devices, JigInput, TakeFile};
use crate::finding::{Code, Finding, Severity};
use crate::quantity::Stated;

pub use day::Day;
pub use error::ProfileError;

/// The format's name and version, the value of `schema`.
pub const JIG_SCHEMA: &str = "farcone-jig/1";

/// Days for which a jig is taken to stay as it was: contacts corrode and knobs get touched (common practice, no source).
const FRESH_DAYS: i64 = 90;

/// What a known resistor in the driver's place came to.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CheckResult {
    /// What it was said to have, ohm.
    pub stated_ohm: Stated,
    /// What the jig read, ohm.
    pub read_ohm: Stated,
    /// Whether the two agree.
    pub passed: bool,
}

/// A jig, with the sound card that it is connected to.
#[derive(Clone, Debug, PartialEq)]
pub struct JigProfile {
    /// What somebody calls the jig.
    pub name: String,
    /// When it was made.
    pub made: Day,
    /// Wiring, sense resistor, leads and loads.
    pub jig: JigInput,
    /// The sound card; `None` if nobody said.
    pub devices: Option<Devices>,
    /// Peak voltage at full scale of the source's and the driver's input, V; `None` where nobody measured it.
    pub input_full_scale_v: [Option<Stated>; 2],
    /// Whether a power amplifier is between output and jig.
    pub amplifier: bool,
    /// Calibration takes: one file each, a bare name in the folder of takes beside the profile, with its SHA-256.
    pub takes: Vec<TakeFile>,
    /// The check resistor; `None` if none was measured.
    pub check: Option<CheckResult>,
}

impl JigProfile {
    /// Reads a profile.
    ///
    /// # Errors
    /// See [`ProfileError`].
    pub fn from_json(text: &str) -> Result<Self, ProfileError> {
        json::read(text)
    }

    /// The profile's text, with a line end at the end.
    ///
    /// # Errors
    /// See [`ProfileError`]: takes that [`JigProfile::from_json`] would refuse.
    pub fn to_json(&self) -> Result<String, ProfileError> {
        json::write(self)
    }
}

/// What whoever uses a profile `today` should know about it.
pub fn profile_findings(profile: &JigProfile, today: Day) -> Vec<Finding> {
    let name = &profile.name;
    let mut findings = vec![];
    let age_days = today.days_since(profile.made);
    if age_days > FRESH_DAYS {
        findings.push(
            Finding::new(
                Code::JigOld,
                Severity::Caution,
                format!(
                    "the jig profile \"{name}\" was made on {}, {age_days} days ago",
                    profile.made
                ),
                "Make the profile again: contacts, leads and knobs change without notice; the check resistor shows whether \
                 they did.",
            )
            .with_evidence(age_days as f64, "d", Some(FRESH_DAYS as f64)),
        );
    } else if age_days < 0 {
        findings.push(
            Finding::new(
                Code::JigOld,
                Severity::Caution,
                format!(
                    "the jig profile \"{name}\" says that it was made on {}, which is after today, {today}",
                    profile.made
                ),
                "Check this computer's date; if it is right, make the profile again.",
            )
            .with_evidence(age_days as f64, "d", Some(0.0)),
        );
    }
    match &profile.check {
        None => findings.push(Finding::new(
            Code::JigUnchecked,
            Severity::Note,
            format!("no check resistor was measured with the jig \"{name}\""),
            "Make the profile again with a resistor of known value, half the sense resistor or less, or twice it or more: it \
             shows a wrong wiring and a wrong value.",
        )),
        Some(check) if !check.passed => findings.push(
            Finding::new(
                Code::JigCheckFailed,
                Severity::Caution,
                format!(
                    "the check resistor of the jig \"{name}\" read {:.4} ohm where {:.4} ohm were stated",
                    check.read_ohm.value, check.stated_ohm.value
                ),
                "Check both resistors' values and the wiring, then make the profile again.",
            )
            .with_evidence(check.read_ohm.value, "Ohm", Some(check.stated_ohm.value)),
        ),
        Some(_) => {}
    }
    findings
}

#[cfg(test)]
mod tests;
