//! The guided measurement: one question a screen, findings after each take, and then the sheet.

use std::path::PathBuf;

use farcone::air::parse_air;
use farcone::capture::CaptureError;
use farcone::faults::{Heard, tapped};
use farcone::finding::Verdict;
use farcone::jig::Wiring;
use farcone::quantity::{DisplayUnit, Stated, format_estimate};
use farcone::recording::ChannelPick;
use farcone::session::{Condition, Cone, Devices, JigInput};
use farcone::sheet::Sheet;

use super::ask::{Dialogue, Ready};
use super::job::{Done, Job};
use super::plan::{Part, Ticked, next};
use super::{MeasureArgs, finish, levels, open_job, screens, start};
use crate::cli::failure::Failure;
use crate::cli::live::{LevelArgs, On, SoundArgs};
use crate::cli::takes::UNNAMED;
use crate::cli::values;
use crate::store;

/// How long is listened for taps, s.
const TAP_S: f64 = 4.0;
/// A check resistor that reads off by more than this says that something about the jig is not as described.
const CHECK_OFF: f64 = 0.02;
/// The default jig, ohm.
const SENSE: &str = "47ohm+-1%";

/// Leads through a measurement.
pub fn run(args: &MeasureArgs) -> Result<u8, Failure> {
    let dialogue = Dialogue::person()?;
    let mut ticked = Ticked::default();
    cautions(&dialogue)?;
    let (folder, label) = folder_and_label(args, &dialogue)?;
    let mut driver = args.driver.clone();
    driver.label = driver.label.or(label);
    let started = start::start(
        &folder,
        args.jig.as_deref(),
        &args.jig_args,
        &driver,
        &args.card,
        &args.level,
    )?;
    if !started.session.takes.is_empty() {
        dialogue.say(&format!(
            "{} holds {} takes already; it goes on from there.",
            folder.display(),
            started.session.takes.len()
        ));
    }
    let wanted = Wanted {
        sound: &args.sound,
        level: &args.level,
        check_ohm: args.check_ohm,
        mass_kg: args.mass.first().copied(),
        volume_m3: args.volume.first().copied(),
    };
    let mut job = set_up(started, &wanted, dialogue)?;
    loop {
        let next = next(&job.session, &ticked);
        if next == Part::Sheet {
            break;
        }
        part(&mut job, next, &wanted, &mut ticked)?;
    }
    levels::series(&mut job, args.levels)?;
    if !super::job::has_free_air(&job.session) {
        job.dialogue
            .say("Without a free-air take there is no sheet. The takes are kept; call this again to go on.");
        return Ok(crate::cli::EXIT_GOOD);
    }
    finish(&job, args.json)
}

/// What was given as flags, and is not asked for.
pub struct Wanted<'a> {
    pub sound: &'a SoundArgs,
    pub level: &'a LevelArgs,
    pub check_ohm: Option<Stated>,
    pub mass_kg: Option<Stated>,
    pub volume_m3: Option<Stated>,
}

/// Asks for jig and sound card where they are not known, shows the wiring, and opens the card.
pub fn set_up(
    mut started: start::Started,
    wanted: &Wanted<'_>,
    dialogue: Dialogue,
) -> Result<Job, Failure> {
    if started.session.jig.is_none() {
        let (jig, amplifier) = ask_jig(&dialogue)?;
        started.session.jig = Some(jig);
        started.session.amplifier |= amplifier;
        started.folder.save(&started.session)?;
    }
    if let Some(jig) = &started.session.jig {
        dialogue.heading("Is the jig right?");
        dialogue.show(&screens::wiring(jig));
        dialogue.ready(
            "Wired like this, amplifier off or muted while you plug?",
            false,
        )?;
    }
    if started.session.devices.is_none() {
        started.session.devices = Some(ask_devices(&dialogue)?);
    }
    open_job(started, wanted.sound, wanted.level, dialogue)
}

/// Shows the cautions and waits until they were read.
pub fn cautions(dialogue: &Dialogue) -> Result<(), Failure> {
    dialogue.heading("Before the first sound");
    for caution in screens::CAUTIONS {
        dialogue.show(&crate::cli::view::hanging("  - ", caution, dialogue.look()));
    }
    dialogue.ready("Read, and so?", false).map(|_| ())
}

fn folder_and_label(
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

fn ask_jig(dialogue: &Dialogue) -> Result<(JigInput, bool), Failure> {
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
fn ask_devices(dialogue: &Dialogue) -> Result<Devices, Failure> {
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
        return Err(CaptureError::Unavailable {
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
fn ask_devices(_: &Dialogue) -> Result<Devices, Failure> {
    Err(Failure::usage(
        "this program was built without sound cards",
        "build it with the feature \"audio\", or practise with --host bench",
    ))
}

/// One screen.
pub fn part(
    job: &mut Job,
    part: Part,
    wanted: &Wanted<'_>,
    ticked: &mut Ticked,
) -> Result<(), Failure> {
    match part {
        Part::Tap => tap(job, wanted)?,
        Part::Volts => {
            job.dialogue.heading("How many volts are full scale?");
            let full_scale_v = super::volts::ask_full_scale_v(&mut job.desk, &job.dialogue)?;
            job.set_full_scale(full_scale_v)?;
        }
        Part::SameNode => calibrate(job, "Are both inputs alike?", Condition::SameNode)?,
        Part::Open => calibrate(job, "What do the inputs draw?", Condition::OpenLeads)?,
        Part::Shorted => calibrate(job, "How much do the leads have?", Condition::ShortedLeads)?,
        Part::Check => check(job, wanted)?,
        Part::FreeAir => {
            driver_take(
                job,
                "Loud enough? The driver alone",
                Condition::FreeAir,
                false,
            )?;
        }
        Part::Again => {
            job.dialogue.heading("Is it steady?");
            job.dialogue.say("Take the driver out, put it back, and measure it once more: that shows how much a set-up changes.");
            driver_take(job, "", Condition::FreeAir, true)?;
        }
        Part::Cone => ask_cone(job)?,
        Part::Loaded => loaded(job, wanted)?,
        Part::Air => ask_air(job)?,
        Part::Sheet => {}
    }
    ticked.tick(part);
    Ok(())
}

/// Tap the cone: the driver is a microphone, and its channel jumps.
fn tap(job: &mut Job, wanted: &Wanted<'_>) -> Result<(), Failure> {
    job.dialogue.heading("Which input is which?");
    job.dialogue
        .say(&screens::arrange(&Condition::FreeAir, job.wiring()));
    job.listen_first(Condition::FreeAir)?;
    loop {
        job.dialogue.say(&format!(
            "Now tap the cone lightly with a finger, a few times, for {TAP_S:.0} seconds. Nothing is played."
        ));
        if job.dialogue.ready("Ready to tap?", true)? == Ready::Skip {
            return Ok(());
        }
        let take = job.desk.listen(On::TappedDriver, TAP_S, "tap the cone")?;
        let heard = tapped(&take);
        match heard.heard {
            Heard::Driver => {
                job.dialogue.say(&format!(
                    "Channel 2 jumped by {:.0} dB: it is the driver's, as it should be.",
                    heard.rise_db[1]
                ));
                return Ok(());
            }
            Heard::Source => {
                job.dialogue.say(
                    "Channel 1 jumped: the plugs are the other way round. That is corrected here; leave them as they are.",
                );
                return swap(job, wanted);
            }
            Heard::Both => {
                job.dialogue.say(
                    "Both channels jumped alike: both are at the same node, or it is one input for both. Check that the resistor \
                     lies between the two clips, and that two inputs are recorded.",
                );
                let answers = ["tap again".to_owned(), "stop here".to_owned()];
                if job.dialogue.choose("What now?", &answers)? == 1 {
                    return Err(Failure::SetUp {
                        message: "the two inputs cannot be told apart; put channel 1 on the source node and channel 2 on the \
                                  driver's side of the resistor, and record two inputs of one converter"
                            .to_owned(),
                    });
                }
            }
            Heard::Neither => job.dialogue.say(
                "Neither channel heard anything. Check that the driver is connected and the inputs are turned up; tap a little \
                 harder.",
            ),
        }
    }
}

/// Exchanges the channels at the card.
fn swap(job: &mut Job, wanted: &Wanted<'_>) -> Result<(), Failure> {
    let Some(devices) = &mut job.session.devices else {
        return Ok(());
    };
    let pick = devices.channels.unwrap_or_default();
    devices.channels = ChannelPick::from_numbers(pick.driver() + 1, pick.source() + 1).ok();
    job.reopen(wanted.sound, wanted.level)?;
    job.save()
}

/// A calibration take; may be skipped.
fn calibrate(job: &mut Job, heading: &str, condition: Condition) -> Result<(), Failure> {
    job.dialogue.heading(heading);
    job.dialogue
        .say(&screens::arrange(&condition, job.wiring()));
    loop {
        if job.dialogue.ready("Ready?", true)? == Ready::Skip
            || job.take(condition, false)? == Done::Dropped
        {
            return Ok(());
        }
        let reading = job.read_jig()?;
        let about = reading.findings.iter().filter(|finding| {
            finding
                .take
                .as_deref()
                .is_some_and(|take| take.starts_with(condition.as_str()))
        });
        let about: Vec<_> = about.cloned().collect();
        job.report(&about);
        let line = match condition {
            Condition::SameNode => reading.channels.map(|h| {
                format!(
                    "Channel 2 shows {:.2} % of channel 1; that is taken out from now on.",
                    100.0 * h.norm()
                )
            }),
            Condition::OpenLeads => reading.load_ohm.map(|ohm| {
                if ohm.abs() > 1e5 {
                    "The inputs draw next to nothing.".to_owned()
                } else {
                    format!(
                        "The inputs draw like {:.1} kilohm; that is taken out from now on.",
                        ohm / 1000.0
                    )
                }
            }),
            Condition::ShortedLeads => reading
                .leads_ohm
                .map(|ohm| format!("The leads have {ohm:.3} ohm; they are taken out from now on.")),
            _ => None,
        };
        if let Some(line) = line {
            job.dialogue.say(&line);
        }
        if about.is_empty() || !again(job, &condition)? {
            return Ok(());
        }
    }
}

/// Whether a take with findings is made again; it is taken back then.
fn again(job: &mut Job, condition: &Condition) -> Result<bool, Failure> {
    let answers = [
        "change it and make this take again".to_owned(),
        "go on with it".to_owned(),
    ];
    let again = job.dialogue.choose("What now?", &answers)? == 0;
    if again {
        job.take_back(condition)?;
    }
    Ok(again)
}

fn check(job: &mut Job, wanted: &Wanted<'_>) -> Result<(), Failure> {
    let sense_ohm = job.sense_ohm();
    job.dialogue
        .heading("Does the jig read a known resistor right?");
    job.dialogue.say(
        "Any resistor whose value you know well, at least twice or at most half the sense resistor: equal ones hide a wrong wiring.",
    );
    let stated = match wanted.check_ohm {
        Some(stated) => stated,
        None => {
            let typed = job.dialogue.text(
                "Its value with its tolerance (22ohm+-1%; Enter: there is none)",
                Some(""),
                |text| {
                    if text.is_empty() {
                        return Ok(None);
                    }
                    let stated = values::resistance(text).map_err(|error| error.to_string())?;
                    start::refuse_equal_check(sense_ohm, stated.value)
                        .map_err(|error| error.to_string())?;
                    Ok::<_, String>(Some(stated))
                },
            )?;
            match typed {
                Some(stated) => stated,
                None => return Ok(()),
            }
        }
    };
    let condition = Condition::CheckResistor { ohm: stated };
    job.dialogue
        .say(&screens::arrange(&condition, job.wiring()));
    loop {
        if job.dialogue.ready("Ready?", true)? == Ready::Skip
            || job.take(condition, false)? == Done::Dropped
        {
            return Ok(());
        }
        let reading = job.read_jig()?;
        let Some(read_ohm) = reading.checks.last().map(|check| check.read_ohm) else {
            return Ok(());
        };
        let off = read_ohm / stated.value - 1.0;
        if off.abs() <= CHECK_OFF {
            job.dialogue
                .say(&format!("{} ohm reads {read_ohm:.2}: good.", stated.value));
            return Ok(());
        }
        job.dialogue.warn(&format!(
            "{} ohm reads {read_ohm:.2}: off by {:.0} %. Check both resistors' values, the wiring against the drawing, and that the \
             knobs were not touched since both inputs were on one node.",
            stated.value,
            100.0 * off
        ));
        let answers = [
            "change it and make this take again".to_owned(),
            "stop here and start over".to_owned(),
            "go on all the same".to_owned(),
        ];
        match job.dialogue.choose("What now?", &answers)? {
            0 => job.take_back(&condition)?,
            1 => {
                return Err(Failure::SetUp {
                    message: format!(
                        "the check resistor of {} ohm reads {read_ohm:.2} ohm; start over in a new folder once the jig is right",
                        stated.value
                    ),
                });
            }
            _ => return Ok(()),
        }
    }
}

/// A take of the driver, with what it says at once.
fn driver_take(
    job: &mut Job,
    heading: &str,
    condition: Condition,
    remounted: bool,
) -> Result<(), Failure> {
    if !heading.is_empty() {
        job.dialogue.heading(heading);
    }
    job.dialogue
        .say(&screens::arrange(&condition, job.wiring()));
    loop {
        if job
            .dialogue
            .ready("Ready?", remounted || condition != Condition::FreeAir)?
            == Ready::Skip
            || job.take(condition, remounted)? == Done::Dropped
        {
            return Ok(());
        }
        let Some(sheet) = job.look()? else {
            return Ok(());
        };
        job.dialogue.say(&so_far(&sheet));
        let about = job.about_last(&sheet);
        job.dialogue.show(&about);
        if about.is_empty() && sheet.verdict != Verdict::Redo.as_str() {
            return Ok(());
        }
        if sheet.verdict == Verdict::Redo.as_str() && about.is_empty() {
            job.dialogue.show(&crate::cli::view::findings_of_sheet(
                &sheet.findings,
                job.dialogue.look(),
            ));
        }
        if !again(job, &condition)? {
            return Ok(());
        }
    }
}

/// The result so far in a line.
fn so_far(sheet: &Sheet) -> String {
    let parameters = &sheet.parameters;
    let part = |name: &str, entry: &Option<farcone::sheet::ParameterEntry>, unit: DisplayUnit| {
        entry.as_ref().map(|entry| {
            let shown = format_estimate(entry.value, entry.standard_uncertainty, unit);
            format!("{name} {} {}", shown.value, unit.symbol())
                .trim_end()
                .to_owned()
        })
    };
    let parts: Vec<String> = [
        part("fs", &parameters.fs, DisplayUnit::Hertz),
        part("Re", &parameters.re, DisplayUnit::Ohm),
        part("Qms", &parameters.qms, DisplayUnit::Plain),
        part("Qts", &parameters.qts, DisplayUnit::Plain),
        part("Vas", &parameters.vas, DisplayUnit::Litre),
        part("Mms", &parameters.mms, DisplayUnit::Gram),
    ]
    .into_iter()
    .flatten()
    .collect();
    if parts.is_empty() {
        "Nothing can be told from it yet.".to_owned()
    } else {
        format!("So far: {}.", parts.join(", "))
    }
}

fn ask_cone(job: &mut Job) -> Result<(), Failure> {
    job.dialogue.heading("How large is the cone?");
    job.dialogue.say(
        "Lay a ruler across, from the middle of the surround on one side to the middle of the surround on the other; measure two or \
         three diameters.",
    );
    let diameter = job.dialogue.text(
        "Its diameter (78mm+-1mm; Enter: not known)",
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

fn ask_air(job: &mut Job) -> Result<(), Failure> {
    job.dialogue.heading("Which air?");
    let air = job.dialogue.text(
        "Temperature and altitude of the room (23C,450m; Enter: assume 20 °C at sea level)",
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

/// A known mass on the cone, or a closed box: one of them is needed for everything mechanical.
fn loaded(job: &mut Job, wanted: &Wanted<'_>) -> Result<(), Failure> {
    job.dialogue.heading("How heavy is the cone?");
    if let Some(mass_kg) = wanted.mass_kg {
        return driver_take(job, "", Condition::AddedMass { mass_kg }, false);
    }
    if let Some(volume_m3) = wanted.volume_m3 {
        return driver_take(job, "", Condition::TestBox { volume_m3 }, false);
    }
    let answers = [
        "stick a known mass on the cone: about three quarters of what the cone itself weighs, so that fs drops by 20 to 30 %"
            .to_owned(),
        "put the driver on a closed, airtight box of known volume".to_owned(),
        "neither: Vas, Mms and Bl stay unknown".to_owned(),
    ];
    let condition = match job.dialogue.choose("Which?", &answers)? {
        0 => Condition::AddedMass {
            mass_kg: ask(
                &job.dialogue,
                "Everything you add, putty included (2.4g+-0.05g)",
                values::mass,
            )?,
        },
        1 => Condition::TestBox {
            volume_m3: ask(
                &job.dialogue,
                "The air it closes off (2.00L+-0.02L)",
                values::volume,
            )?,
        },
        _ => return Ok(()),
    };
    driver_take(job, "", condition, false)
}

fn ask<E: std::fmt::Display>(
    dialogue: &Dialogue,
    question: &str,
    parse: impl Fn(&str) -> Result<Stated, E>,
) -> Result<Stated, Failure> {
    dialogue.text(question, None, parse)
}
