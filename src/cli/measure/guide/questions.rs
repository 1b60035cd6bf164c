//! What has to be typed.

use std::path::PathBuf;

use farcone::air::parse_air;
use farcone::jig::Wiring;
use farcone::quantity::Stated;
use farcone::session::{Cone, Devices, JigInput};
use farcone::sheet::parse_dimensions;

use crate::cli::failure::Failure;
use crate::cli::measure::MeasureArgs;
use crate::cli::measure::ask::Dialogue;
use crate::cli::measure::job::Job;
use crate::cli::takes::UNNAMED;
use crate::cli::values;
use crate::store;

/// The default jig.
const SENSE: &str = "47ohm+-1%";

pub fn folder_and_label(
    args: &MeasureArgs,
    dialogue: &Dialogue,
) -> Result<(PathBuf, Option<String>), Failure> {
    let exists = args
        .session
        .as_ref()
        .is_some_and(|folder| folder.join(farcone::session::SESSION_FILE_NAME).exists());
    if exists || args.driver.label.is_some() {
        let label = args.driver.label.clone();
        let folder = args
            .session
            .clone()
            .unwrap_or_else(|| store::safe_file_name(label.as_deref().unwrap_or(UNNAMED)).into());
        return Ok((folder, label));
    }
    dialogue.heading("Which driver is it?");
    let label = dialogue.text(
        "What do you call it? (for example: left unit)",
        None,
        |text| {
            if text.is_empty() {
                Err("give it any name")
            } else {
                Ok(text.to_owned())
            }
        },
    )?;
    let folder = args
        .session
        .clone()
        .unwrap_or_else(|| store::safe_file_name(&label).into());
    Ok((folder, Some(label)))
}

pub fn ask_jig(dialogue: &Dialogue) -> Result<(JigInput, bool), Failure> {
    dialogue.heading("Which jig is it?");
    let answers = [
        "a headphone or line output, a resistor of 47 ohm or so, ground at the driver's minus (across-driver)".to_owned(),
        "a power amplifier whose minus is truly ground, a resistor of 1 to 2.2 ohm, ground at the resistor's foot \
         (across-resistor)"
            .to_owned(),
        "a power amplifier, but ground at the driver's minus (across-driver)".to_owned(),
    ];
    let chosen = dialogue.choose("Which?", &answers)?;
    let (wiring, amplifier) = match chosen {
        0 => (Wiring::AcrossDriver, false),
        1 => (Wiring::AcrossResistor, true),
        _ => (Wiring::AcrossDriver, true),
    };
    dialogue.say("A 1 % marking is better than what a cheap meter reads on a few ohm.");
    let sense_ohm = dialogue.text(
        "The resistor's value, with its tolerance",
        Some(if wiring == Wiring::AcrossDriver {
            SENSE
        } else {
            "1ohm+-1%"
        }),
        values::resistance,
    )?;
    Ok((
        JigInput {
            wiring,
            sense_ohm,
            lead_ohm: None,
            input_load_ohm: [None, None],
            swap_channels: false,
        },
        amplifier,
    ))
}

#[cfg(feature = "audio")]
pub fn ask_devices(dialogue: &Dialogue) -> Result<Devices, Failure> {
    dialogue.heading("Which sound card?");
    let list = farcone::device::list();
    let suited: Vec<(String, farcone::device::Pair)> = list
        .hosts
        .into_iter()
        .flat_map(|host| {
            let name = host.host;
            host.pairs
                .into_iter()
                .filter(|pair| pair.suits)
                .map(move |pair| (name.clone(), pair))
        })
        .collect();
    if suited.is_empty() {
        return Err(farcone::capture::CaptureError::Unavailable {
            side: farcone::capture::Side::Input,
            device: "any".to_owned(),
            detail: "no output together with an input of two channels was found".to_owned(),
        }
        .into());
    }
    let answers: Vec<String> = suited
        .iter()
        .map(|(host, pair)| {
            format!(
                "{host}: play on {}, record from {}",
                pair.output, pair.input
            )
        })
        .collect();
    let (host, pair) = &suited[dialogue.choose("Which?", &answers)?];
    Ok(Devices {
        host: host.clone(),
        output: pair.output.clone(),
        input: pair.input.clone(),
        sample_rate_hz: 0,
        channels: None,
    })
}

#[cfg(not(feature = "audio"))]
pub fn ask_devices(_: &Dialogue) -> Result<Devices, Failure> {
    Err(Failure::usage(
        "this program was built without sound cards",
        "build it with the feature \"audio\", or practise with --host bench",
    ))
}

pub fn ask_cone(job: &mut Job) -> Result<(), Failure> {
    job.dialogue.heading("How large is the cone?");
    job.dialogue.say(
        "Lay a ruler across, from the middle of the surround on one side to the middle of the surround on the other; measure two or \
         three diameters.",
    );
    let diameter = job.dialogue.text(
        "Its diameter (such as 78mm+-1mm; Enter: not known)",
        Some(""),
        |text| match text {
            "" => Ok(None),
            text => values::diameter(text).map(Some),
        },
    )?;
    if let Some(diameter) = diameter {
        job.session.cone = Some(Cone::Diameter(diameter));
        job.save()?;
    }
    Ok(())
}

pub fn ask_air(job: &mut Job) -> Result<(), Failure> {
    job.dialogue.heading("Which air?");
    let air = job.dialogue.text(
        "Temperature and altitude of the room (such as 23C,450m; Enter: assume 20 °C at sea level)",
        Some(""),
        |text| match text {
            "" => Ok(None),
            text => parse_air(text).map(Some).map_err(|error| error.to_string()),
        },
    )?;
    if let Some(air) = air {
        job.session.air = air;
        job.save()?;
    }
    Ok(())
}

pub fn ask_mounting(job: &mut Job) -> Result<(), Failure> {
    job.dialogue.heading("How is it mounted?");
    job.dialogue.say(
        "For the enclosure's drawing: the diameters of the flange, of the hole that the driver needs, of the circle through the \
         middles of its screw holes and of the magnet, the number of screws, and the depth behind the flange. Leave out what you \
         cannot measure.",
    );
    let dimensions = job.dialogue.text(
        "Dimensions (such as flange=118mm,cutout=92mm,screw-circle=105mm,screws=4,depth=52mm,magnet=70mm; Enter: not now)",
        Some(""),
        |text| match text {
            "" => Ok(None),
            text => parse_dimensions(text).map(Some),
        },
    )?;
    if let Some(dimensions) = dimensions {
        job.session.dimensions = dimensions;
        job.save()?;
    }
    Ok(())
}

pub fn ask<E: std::fmt::Display>(
    dialogue: &Dialogue,
    question: &str,
    parse: impl Fn(&str) -> Result<Stated, E>,
) -> Result<Stated, Failure> {
    dialogue.text(question, None, parse)
}
