//! The guided measurement: one question a screen, findings after each take, and then the sheet.

mod questions;
mod takes;

use farcone::faults::{Heard, tapped};
use farcone::quantity::Stated;
use farcone::recording::ChannelPick;
use farcone::session::Condition;

use super::ask::{Dialogue, Ready};
use super::job::Job;
use super::plan::{Part, Ticked, next};
use super::{MeasureArgs, finish, levels, open_job, screens, start};
use crate::cli::failure::Failure;
use crate::cli::live::{BENCH_HOST, LiveArgs, On};
use questions::{ask_air, ask_cone, ask_devices, ask_jig, ask_mounting, folder_and_label};
use takes::{calibrate, check, driver_take, loaded};

/// How long is listened for taps, s.
const TAP_S: f64 = 4.0;

/// Leads through a measurement.
pub fn run(args: &MeasureArgs) -> Result<u8, Failure> {
    let dialogue = Dialogue::person()?;
    let mut ticked = Ticked::default();
    cautions(&dialogue)?;
    if args.live.card.host.as_deref() == Some(BENCH_HOST) {
        dialogue.say("This is practice: sound card, jig and driver are invented, and nothing sounds. Whatever a screen asks you to do counts as done.");
    }
    let (folder, label) = folder_and_label(args, &dialogue)?;
    let mut driver = args.driver.clone();
    driver.label = driver.label.or(label);
    let started = start::start(&folder, args.jig.as_deref(), &args.live, &driver)?;
    if !started.session.takes.is_empty() {
        dialogue.say(&format!(
            "{} holds {} takes already; it goes on from there.",
            folder.display(),
            started.session.takes.len()
        ));
    }
    let wanted = Wanted {
        live: &args.live,
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
    pub live: &'a LiveArgs,
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
        start::keep(&started.folder, &started.session)?;
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
    open_job(started, wanted.live, dialogue)
}

/// Shows the cautions and waits until they were read.
pub fn cautions(dialogue: &Dialogue) -> Result<(), Failure> {
    dialogue.heading("Before the first sound");
    for caution in screens::CAUTIONS {
        dialogue.show(&crate::cli::view::hanging("  - ", caution, dialogue.look()));
    }
    dialogue
        .ready("Read, and all of it is so?", false)
        .map(|_| ())
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
        Part::Open => calibrate(
            job,
            "How much do the inputs themselves draw?",
            Condition::OpenLeads,
        )?,
        Part::Shorted => calibrate(
            job,
            "How much resistance do the leads have?",
            Condition::ShortedLeads,
        )?,
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
        Part::Mounting => ask_mounting(job)?,
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
    job.reopen(wanted.live)?;
    job.save()
}
