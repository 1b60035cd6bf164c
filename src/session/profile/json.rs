//! The JSON form of a jig profile. What a session has too is written as there, by the same structs.

use std::path::Component;

use serde::{Deserialize, Serialize};

use super::{CheckResult, Day, JIG_SCHEMA, JigProfile, ProfileError};
use crate::session::file::devices::DevicesJson;
use crate::session::file::json::{JigJson, TakeJson};
use crate::session::file::stated::{Allowed, StatedJson};
use crate::session::{SessionFileError, TakeFile};

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct ProfileJson {
    schema: String,
    name: String,
    made: String,
    jig: JigJson,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    devices: Option<DevicesJson>,
    /// Of the source's and the driver's input; null where nobody measured it.
    #[serde(default)]
    input_full_scale: [Option<StatedJson>; 2],
    #[serde(default)]
    amplifier: bool,
    #[serde(default)]
    takes: Vec<TakeJson>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    check: Option<CheckJson>,
}

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct CheckJson {
    stated: StatedJson,
    read: StatedJson,
    passed: bool,
}

pub(super) fn read(text: &str) -> Result<JigProfile, ProfileError> {
    #[derive(Deserialize)]
    struct Version {
        schema: String,
    }
    let malformed = |source| ProfileError::Malformed { source };
    // The version first: a later one may have fields that would only be called unknown here.
    let version: Version = serde_json::from_str(text).map_err(malformed)?;
    if version.schema != JIG_SCHEMA {
        return Err(ProfileError::Version {
            found: version.schema,
        });
    }
    let json: ProfileJson = serde_json::from_str(text).map_err(malformed)?;
    let volts = |stated: Option<StatedJson>, what: &str| {
        stated
            .map(|stated| stated.read(what, "V", Allowed::Positive))
            .transpose()
    };
    let [source, driver] = json.input_full_scale;
    Ok(JigProfile {
        name: json.name,
        made: Day::parse(&json.made).ok_or(ProfileError::Day { found: json.made })?,
        jig: json.jig.read()?,
        devices: json.devices.map(DevicesJson::read).transpose()?,
        input_full_scale_v: [
            volts(source, "the full scale of the source's input")?,
            volts(driver, "the full scale of the driver's input")?,
        ],
        amplifier: json.amplifier,
        takes: json
            .takes
            .into_iter()
            .map(calibration)
            .collect::<Result<_, _>>()?,
        check: json.check.map(CheckJson::read).transpose()?,
    })
}

pub(super) fn write(profile: &JigProfile) -> Result<String, ProfileError> {
    profile.takes.iter().try_for_each(check_take)?;
    let json = ProfileJson {
        schema: JIG_SCHEMA.into(),
        name: profile.name.clone(),
        made: profile.made.to_string(),
        jig: JigJson::new(&profile.jig),
        devices: profile.devices.as_ref().map(DevicesJson::new),
        input_full_scale: profile
            .input_full_scale_v
            .map(|v| v.map(|v| StatedJson::new(v, "V"))),
        amplifier: profile.amplifier,
        takes: profile.takes.iter().map(TakeJson::new).collect(),
        check: profile.check.map(|check| CheckJson {
            stated: StatedJson::new(check.stated_ohm, "Ohm"),
            read: StatedJson::new(check.read_ohm, "Ohm"),
            passed: check.passed,
        }),
    };
    let mut text =
        serde_json::to_string_pretty(&json).map_err(|source| ProfileError::Malformed { source })?;
    text.push('\n');
    Ok(text)
}

impl CheckJson {
    fn read(self) -> Result<CheckResult, ProfileError> {
        Ok(CheckResult {
            stated_ohm: self
                .stated
                .read("the check resistor", "Ohm", Allowed::Positive)?,
            // A failed check may have read anything.
            read_ohm: self
                .read
                .read("what the check resistor read", "Ohm", Allowed::Any)?,
            passed: self.passed,
        })
    }
}

fn calibration(json: TakeJson) -> Result<TakeFile, ProfileError> {
    let take = json.read().map_err(|error| match error {
        SessionFileError::Outside { what, file } => ProfileError::Outside { what, file },
        other => other.into(),
    })?;
    check_take(&take)?;
    Ok(take)
}

/// Length of a SHA-256, hexadecimal digits.
const N_DIGITS: usize = 64;

/// What a profile wants of a take beyond what a session does.
fn check_take(take: &TakeFile) -> Result<(), ProfileError> {
    if !take.condition.is_calibration() {
        return Err(ProfileError::NotCalibration {
            take: take.name.clone(),
            condition: take.condition.as_str(),
        });
    }
    let ([file], [sha256]) = (&take.files[..], &take.sha256[..]) else {
        return Err(ProfileError::Hash {
            take: take.name.clone(),
        });
    };
    let mut parts = file.components();
    let is_bare = matches!(
        (parts.next(), parts.next()),
        (Some(Component::Normal(_)), None)
    );
    // A backslash leads into another folder where such a profile is opened on another system.
    if !is_bare || file.to_string_lossy().contains(['/', '\\']) {
        return Err(ProfileError::Outside {
            what: format!("the take \"{}\"", take.name),
            file: file.display().to_string(),
        });
    }
    let is_digit = |b: u8| b.is_ascii_digit() || (b'a'..=b'f').contains(&b);
    if sha256.len() != N_DIGITS || !sha256.bytes().all(is_digit) {
        return Err(ProfileError::Hash {
            take: take.name.clone(),
        });
    }
    Ok(())
}
