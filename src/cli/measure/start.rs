//! From flags, a jig profile and what a folder holds already to a session that can be measured.

use std::path::{Path, PathBuf};

use farcone::finding::Finding;
use farcone::quantity::Stated;
use farcone::session::{
    Condition, Devices, JigInput, JigProfile, SessionFile, TakeFile, profile_findings,
};

use super::StepName;
use crate::cli::args::{AnalysisArgs, DriverArgs, JigArgs};
use crate::cli::failure::Failure;
use crate::cli::live::{BENCH_HOST, CardArgs, LevelArgs, LiveArgs, SoundArgs};
use crate::cli::takes::{UNNAMED, outrank};
use crate::cli::today;
use crate::store::{self, SessionFolder};

/// A session folder, new or to be gone on with.
pub struct Started {
    pub folder: SessionFolder,
    pub session: SessionFile,
    /// What is to be known about the jig profile.
    pub findings: Vec<Finding>,
}

type ReadProfile = Option<(PathBuf, JigProfile)>;

/// Opens or makes the folder, and lets profile and flags outrank what it says.
pub fn start(
    folder: &Path,
    profile: Option<&str>,
    live: &LiveArgs,
    driver: &DriverArgs,
) -> Result<Started, Failure> {
    let profile = profile.map(read_profile).transpose()?;
    let (opened, known) = if is_session(folder) {
        SessionFolder::open(folder)?
    } else {
        (
            SessionFolder::create(folder)?,
            SessionFile::new(UNNAMED, vec![]),
        )
    };
    let mut session = described(known, folder, &profile, live, driver)?;
    let mut findings = vec![];
    if let Some((path, profile)) = &profile {
        findings = today().map_or_else(Vec::new, |today| profile_findings(profile, today));
        let calibrated = |take: &TakeFile| take.condition.is_calibration();
        if !session.takes.iter().any(calibrated) {
            let copies = store::copy_calibration(path, profile, opened.path(), &session.takes)?;
            session.takes.extend(copies);
        }
    }
    for photo in &driver.photo {
        session
            .photos
            .push(opened.add_photo(&photo.of, &photo.file)?);
    }
    keep(&opened, &session)?;
    Ok(Started {
        folder: opened,
        session,
        findings,
    })
}

/// Refuses a call that asks nobody and lacks something, or contradicts itself, before a folder is made for it.
pub fn refuse_incomplete(
    folder: &Path,
    profile: Option<&str>,
    live: &LiveArgs,
    driver: &DriverArgs,
    check_ohm: Option<Stated>,
) -> Result<(), Failure> {
    refuse_above_ceiling(&live.level)?;
    refuse_short_multisine(&live.sound)?;
    let profile = profile.map(read_profile).transpose()?;
    let known = if is_session(folder) {
        store::read_session(folder)?
    } else {
        SessionFile::new(UNNAMED, vec![])
    };
    let session = described(known, folder, &profile, live, driver)?;
    let (jig, _) = needed(&session)?;
    if let Some(check) = check_ohm {
        refuse_equal_check(jig.sense_ohm.value, check.value)?;
    }
    refuse_blind_amplifier(&session)
}

fn is_session(folder: &Path) -> bool {
    folder.join(farcone::session::SESSION_FILE_NAME).exists()
}

/// What is known of a session once profile and flags have been heard.
fn described(
    mut session: SessionFile,
    folder: &Path,
    profile: &ReadProfile,
    live: &LiveArgs,
    driver: &DriverArgs,
) -> Result<SessionFile, Failure> {
    let LiveArgs {
        card, level, jig, ..
    } = live;
    let table = |take: &&TakeFile| take.files.iter().any(|file| store::is_table(file));
    if let Some(take) = session.takes.iter().find(table) {
        return Err(Failure::usage(
            format!(
                "{} is made of impedance tables (\"{}\"), which do not mix with recordings",
                folder.display(),
                take.name
            ),
            "measure into another folder",
        ));
    }
    if let Some((_, profile)) = profile {
        session.jig = session.jig.or(Some(profile.jig));
        session.devices = session.devices.or_else(|| profile.devices.clone());
        session.source_full_scale_v = session
            .source_full_scale_v
            .or(profile.input_full_scale_v[0]);
        session.amplifier |= profile.amplifier;
    }
    if session.jig.is_none() && (jig.sense.is_some() || jig.wiring.is_some()) {
        session.jig = Some(jig.with_defaults()?);
    }
    // Flags about a jig that is still to be asked for wait until it is.
    let none = JigArgs::default();
    let heard = if session.jig.is_some() { jig } else { &none };
    outrank(&mut session, heard, driver, &AnalysisArgs::default())?;
    session.devices = devices(card, session.devices.take());
    session.source_full_scale_v = level.full_scale.or(session.source_full_scale_v);
    session.amplifier |= level.amplifier;
    Ok(session)
}

/// Writes down what is known before the card is open. A sound card whose rate only opening tells is left out: a session file
/// states a rate or no card at all.
pub fn keep(folder: &SessionFolder, session: &SessionFile) -> Result<(), Failure> {
    let mut known = session.clone();
    known.devices = known.devices.filter(|devices| devices.sample_rate_hz > 0);
    Ok(folder.save(&known)?)
}

fn read_profile(name: &str) -> Result<(PathBuf, JigProfile), Failure> {
    let path = store::profile_path(name)?;
    let profile = store::read_profile(&path)?;
    Ok((path, profile))
}

/// The sound card that the flags name, with what is known besides; `None` while an output or an input is missing.
fn devices(card: &CardArgs, known: Option<Devices>) -> Option<Devices> {
    let of = |pick: fn(&Devices) -> &String| known.as_ref().map(|devices| pick(devices).clone());
    let host = card.host.clone().or_else(|| of(|devices| &devices.host))?;
    // The invented card has usual sockets.
    let usual = |name: &str| (host == BENCH_HOST).then(|| name.to_owned());
    let output = card
        .output
        .clone()
        .or_else(|| of(|d| &d.output))
        .or_else(|| usual("headphones"))?;
    let input = card
        .input
        .clone()
        .or_else(|| of(|d| &d.input))
        .or_else(|| usual("line"))?;
    Some(Devices {
        host,
        output,
        input,
        sample_rate_hz: card
            .rate
            .or_else(|| known.as_ref().map(|devices| devices.sample_rate_hz))
            .unwrap_or(0),
        channels: card
            .input_channels
            .or(known.and_then(|devices| devices.channels)),
    })
}

/// The error for a call that has to be complete, and is not.
pub fn needed(session: &SessionFile) -> Result<(JigInput, Devices), Failure> {
    let jig = session.jig.ok_or_else(|| {
        Failure::usage(
            "the jig is not described",
            "add --sense 47ohm+-1% --wiring across-driver, or --jig NAME (farcone jig new makes one)",
        )
    })?;
    let devices = session.devices.clone().ok_or_else(|| {
        Failure::usage(
            "the sound card is not named",
            "add --host, --output and --input as `farcone devices` prints them, or --host bench to practise without one",
        )
    })?;
    Ok((jig, devices))
}

/// Refuses a level above the ceiling before anything is made or opened.
pub fn refuse_above_ceiling(level: &LevelArgs) -> Result<(), Failure> {
    match level.level {
        Some(level_dbfs) if level_dbfs > level.ceiling => Err(Failure::usage(
            format!(
                "--level {level_dbfs:.1}dBFS is above the ceiling of {:.1} dBFS",
                level.ceiling
            ),
            "play more quietly, or raise --ceiling after making sure what that is in volts",
        )),
        _ => Ok(()),
    }
}

/// Refuses a multisine whose periods are shorter than a resonance rings and than the checks of a take look back: below 6 s, which
/// is three periods of 2 s, takes on the virtual bench gave no parameters, or seemed to lack a whole period.
pub fn refuse_short_multisine(sound: &SoundArgs) -> Result<(), Failure> {
    const LEAST_S: f64 = 6.0;
    if !sound.multisine || sound.length >= LEAST_S {
        return Ok(());
    }
    Err(Failure::usage(
        format!("a multisine of {} s is too short", sound.length),
        format!("add --length {LEAST_S}s or more, or leave --multisine out"),
    ))
}

/// Refuses to play through an amplifier while nobody knows the volts.
pub fn refuse_blind_amplifier(session: &SessionFile) -> Result<(), Failure> {
    if session.amplifier && session.source_full_scale_v.is_none() {
        return Err(Failure::usage(
            "behind a power amplifier nothing is played before an input is calibrated in volts",
            "run `farcone jig volts NAME` and give --jig NAME, or give --full-scale with the peak volts that you know",
        ));
    }
    Ok(())
}

/// Steps with what was stated about them, in order: each `added-mass` takes the next --mass, each `test-box` the next --volume.
pub fn conditions(
    steps: &[StepName],
    masses: &[Stated],
    volumes: &[Stated],
    check_ohm: Option<Stated>,
) -> Result<Vec<Condition>, Failure> {
    let (mut masses, mut volumes) = (masses.iter(), volumes.iter());
    let missing = |step: &str, flag: &str| {
        Failure::usage(
            format!("the step {step} needs a {flag} of its own"),
            format!("add one {flag} for each {step}, in the order of --steps"),
        )
    };
    let conditions = steps
        .iter()
        .map(|step| {
            Ok(match step {
                StepName::FreeAir => Condition::FreeAir,
                StepName::SameNode => Condition::SameNode,
                StepName::ShortedLeads => Condition::ShortedLeads,
                StepName::OpenLeads => Condition::OpenLeads,
                StepName::AddedMass => Condition::AddedMass {
                    mass_kg: *masses
                        .next()
                        .ok_or_else(|| missing("added-mass", "--mass"))?,
                },
                StepName::TestBox => Condition::TestBox {
                    volume_m3: *volumes
                        .next()
                        .ok_or_else(|| missing("test-box", "--volume"))?,
                },
                StepName::CheckResistor => Condition::CheckResistor {
                    ohm: check_ohm.ok_or_else(|| missing("check-resistor", "--check-ohm"))?,
                },
            })
        })
        .collect::<Result<Vec<_>, Failure>>()?;
    if masses.next().is_some() || volumes.next().is_some() {
        return Err(Failure::usage(
            "there are more --mass or --volume than steps that need one",
            "give one --mass for each added-mass and one --volume for each test-box in --steps",
        ));
    }
    Ok(conditions)
}

/// A check resistor near the sense resistor reads the same in either wiring, and so tells nothing about it.
pub fn refuse_equal_check(sense_ohm: f64, check_ohm: f64) -> Result<(), Failure> {
    const LEAST_RATIO: f64 = 2.0;
    let ratio = if check_ohm > sense_ohm {
        check_ohm / sense_ohm
    } else {
        sense_ohm / check_ohm
    };
    if ratio >= LEAST_RATIO {
        return Ok(());
    }
    Err(Failure::usage(
        format!(
            "a check resistor of {check_ohm} ohm is too near the sense resistor of {sense_ohm} ohm: equal ones hide a wrong \
             wiring"
        ),
        "take one of at least twice or at most half the sense resistor",
    ))
}
