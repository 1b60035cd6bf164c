//! `farcone measure` and `farcone record`: from a jig on the bench to takes and a sheet.

mod ask;
mod guide;
mod jig;
mod job;
mod levels;
mod plan;
mod record;
mod screens;
mod start;
mod volts;

use std::path::PathBuf;

use clap::{Args, ValueEnum};
use farcone::chat::ChatLine;
use farcone::quantity::Stated;
use farcone::session::{CheckReading, Condition};
use farcone::sheet::Sheet;

use super::args::DriverArgs;
use super::console::{self, Look};
use super::failure::Failure;
use super::fit::exit_code;
use super::live::{LevelArgs, LiveArgs, LiveDesk, stop};
use super::{EXIT_GOOD, values, view};
use ask::Dialogue;
use job::Job;

pub use jig::{JigCommand, run as run_jig};
pub use record::{RecordArgs, run as run_record};

/// Measure a driver with the sound card, from the first question to the sheet
///
/// Without --yes it asks one question a screen and says after each take what to change. A folder that was left half-way goes
/// on where it stopped. With --host bench it is practised on an invented card and driver.
#[derive(Args)]
#[command(after_help = HELP)]
pub struct MeasureArgs {
    /// Folder of the session: a new one, or one to go on with [default: made of the driver's name]
    #[arg(value_name = "SESSION_DIR")]
    session: Option<PathBuf>,

    /// Ask nothing: everything is given as flags, and the cautions below were read
    #[arg(long, requires = "session")]
    yes: bool,

    /// Takes to make, in this order, joined by commas; those that the folder holds already are not made again
    #[arg(
        long,
        value_name = "STEP",
        value_enum,
        value_delimiter = ',',
        requires = "yes"
    )]
    steps: Vec<StepName>,

    /// What is added in the step added-mass, putty included (5.2g+-0.05g); one for each such step
    #[arg(long, value_name = "QUANTITY", value_parser = values::mass)]
    mass: Vec<Stated>,

    /// The air closed off in the step test-box (2.00L+-0.02L); one for each such step
    #[arg(long, value_name = "QUANTITY", value_parser = values::volume)]
    volume: Vec<Stated>,

    /// The resistor of the step check-resistor (22.0ohm+-0.1ohm)
    #[arg(long, value_name = "QUANTITY", value_parser = values::resistance)]
    check_ohm: Option<Stated>,

    /// A jig profile: sense resistor, wiring, sound card and calibration in one (see farcone jig)
    #[arg(long, value_name = "NAME")]
    jig: Option<String>,

    /// Repeat the free-air take at this many levels, 6 dB apart, and report how fs and Q move
    #[arg(long, value_name = "N", default_value_t = 1, value_parser = clap::value_parser!(u8).range(1..=5))]
    levels: u8,

    /// Print the sheet as JSON on standard output, and nothing else there
    #[arg(long)]
    json: bool,

    #[command(flatten)]
    live: LiveArgs,
    #[command(flatten)]
    driver: DriverArgs,
}

/// A step of `--steps`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum StepName {
    /// The driver alone
    FreeAir,
    /// With a known mass on the cone
    AddedMass,
    /// On a closed box of known volume
    TestBox,
    /// Both inputs on the source node
    SameNode,
    /// A known resistor in the driver's place
    CheckResistor,
    /// The leads shorted at the driver's end
    ShortedLeads,
    /// The leads open at the driver's end
    OpenLeads,
}

const HELP: &str = "\
Quantities carry their unit: 47ohm, 5.2g, 78mm, 10s, -40dBFS.

Examples:
  Practise without hardware:
    farcone measure --host bench

  Guided, on a real sound card:
    farcone measure left-unit

  Without questions:
    farcone measure left-unit --yes --label \"left unit\" --host alsa \\
      --output hw:CARD=0,DEV=0 --input hw:CARD=0,DEV=0 \\
      --sense 47ohm+-1% --wiring across-driver \\
      --steps free-air,free-air,added-mass --mass 2.4g+-0.05g --cone 64mm+-1mm

Cautions: in across-driver the driver's minus is ground; in across-resistor neither driver terminal may touch ground. \
Bridged outputs have no grounded terminal: never connect either side to a sound card's ground, and measure DC between the \
grounds before joining them. Phantom and plug-in power off before plugging. Nobody wears headphones on that output. \
Direct monitoring off. Tweeters need a higher --start. Magnets are strong. Mains equipment is for qualified people; local \
codes apply. The README has all of them.

Exit codes: 0 good or usable, 1 a device or a file failed, 2 usage, 3 a take or the set-up has to be changed, 130 stopped \
(Ctrl-C fades the sound out; what was recorded before is kept).";

pub fn run(args: &MeasureArgs) -> Result<u8, Failure> {
    stop::listen();
    if !args.yes {
        return guide::run(args);
    }
    let Some(folder) = &args.session else {
        return Err(Failure::usage(
            "there is no folder to measure into",
            "name one: farcone measure left-unit --yes …",
        ));
    };
    let steps = start::conditions(&args.steps, &args.mass, &args.volume, args.check_ohm)?;
    let (profile, live, driver) = (args.jig.as_deref(), &args.live, &args.driver);
    start::refuse_incomplete(folder, profile, live, driver, args.check_ohm)?;
    let started = start::start(folder, profile, live, driver)?;
    let mut job = open_job(started, &args.live, Dialogue::Nobody { quiet: false })?;
    for condition in plan::remaining(&steps, &job.session) {
        job.dialogue.say(&format!("{}:", condition.as_str()));
        job.take(condition, false)?;
        if let Condition::CheckResistor { ohm } = condition {
            refuse_wrong_check(&mut job, ohm)?;
        }
        if let Some(line) = chat_line_after(&job, &condition, job.dialogue.look())? {
            job.dialogue.show(&line);
        }
    }
    levels::series(&mut job, args.levels)?;
    if !job::has_free_air(&job.session) {
        job.dialogue
            .say("There is no free-air take yet, so there is no sheet; the takes are kept.");
        return Ok(EXIT_GOOD);
    }
    finish(&job, args.json)
}

/// The line for the chat after the last take.
fn chat_line(job: &Job, sheet: &Sheet, look: Look) -> String {
    let last = job.session.takes.last().map(|take| take.name.as_str());
    view::chat(&ChatLine::of(sheet, last), look)
}

/// That line after a take of the driver; `None` after others and before there is a free-air take. Before it, what the analysis
/// notices about the take beyond what the take itself showed is said.
fn chat_line_after(
    job: &Job,
    condition: &Condition,
    look: Look,
) -> Result<Option<String>, Failure> {
    if condition.is_calibration() {
        return Ok(None);
    }
    let sheet = job.look()?;
    Ok(sheet.map(|sheet| {
        job.dialogue.show(&job.about_last(&sheet));
        chat_line(job, &sheet, look)
    }))
}

/// Stops at a check resistor that does not read what it should, before the driver is measured on a jig that is not as
/// described. The take is taken back, so that the same call makes it again.
fn refuse_wrong_check(job: &mut Job, stated_ohm: Stated) -> Result<(), Failure> {
    let failed = |check: &CheckReading| check.passes() == Some(false);
    let Some(check) = job.last_check()?.filter(failed) else {
        return Ok(());
    };
    let (read_ohm, off) = (check.read_ohm, check.off());
    job.take_back(&Condition::CheckResistor { ohm: stated_ohm })?;
    Err(Failure::SetUp {
        message: format!(
            "the check resistor of {} ohm reads {read_ohm:.2} ohm, off by {:.0} %. Check both resistors' values, that channel 1 \
             is at the source node and channel 2 at the driver's place (--input-channels 2,1 exchanges them), and that the knobs \
             were not touched; then begin in a new folder",
            stated_ohm.value,
            100.0 * off
        ),
    })
}

/// Opens the card that a session names.
fn open_job(
    mut started: start::Started,
    live: &LiveArgs,
    dialogue: Dialogue,
) -> Result<Job, Failure> {
    let LiveArgs { sound, level, .. } = live;
    start::refuse_short_multisine(sound)?;
    let (jig, mut devices) = start::needed(&started.session)?;
    let level = LevelArgs {
        amplifier: started.session.amplifier,
        ..level.clone()
    };
    if !dialogue.can_ask() {
        start::refuse_blind_amplifier(&started.session)?;
    }
    let desk = LiveDesk::open(&devices, &jig, sound, &level, false)?;
    devices.sample_rate_hz = desk.sample_rate_hz();
    started.session.devices = Some(devices);
    let mut job = Job::new(started.folder, started.session, desk, dialogue)?;
    job.report(&started.findings);
    job.noted = started.findings;
    job.save()?;
    Ok(job)
}

/// Analyses, prints, and writes the sheet.
fn finish(job: &Job, json: bool) -> Result<u8, Failure> {
    let (sheet, path) = job.finish(false)?;
    if json {
        console::print(&sheet.to_json()?)?;
    } else {
        console::print(&result(&sheet, &path, job))?;
    }
    Ok(exit_code(&sheet))
}

fn result(sheet: &Sheet, path: &std::path::Path, job: &Job) -> String {
    let look = Look::of_stdout();
    let mut text = view::sheet(sheet, None, look);
    text.push_str(&view::plot(sheet, look));
    text.push_str(&view::chat(&ChatLine::of(sheet, None), look));
    text.push_str(&format!(
        "\nSheet: {}\nTo look at and to send: farcone report {}\nAgain, with other assumptions: farcone fit {}\n",
        path.display(),
        path.display(),
        job.folder.path().display()
    ));
    text
}
