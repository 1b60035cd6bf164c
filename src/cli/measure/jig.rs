//! `farcone jig`: profiles of jigs, made once and used for every driver.

use std::path::Path;

use clap::{Args, Subcommand};
use farcone::progress::Unwatched;
use farcone::quantity::{Spread, Stated};
use farcone::session::{
    CheckResult, Condition, Data, Devices, JigProfile, JigReading, SessionFile, profile_findings,
};

use super::ask::Dialogue;
use super::guide::{self, Wanted};
use super::job::Job;
use super::plan::{Part, Ticked};
use super::{StepName, screens, start, volts};
use crate::cli::args::DriverArgs;
use crate::cli::console::{self, Look};
use crate::cli::failure::Failure;
use crate::cli::live::{LevelArgs, LiveArgs, LiveDesk, On, SoundArgs, TONE_HZ, full_scale_v, stop};
use crate::cli::{EXIT_GOOD, today, values, view};
use crate::store::{self, NewProfile};

/// Doubt of what the jig reads of a resistor, relative: half a percent of channel mismatch left over (common practice, no source).
const READ_DOUBT: f64 = 0.005;

/// Keep what belongs to the jig and not to the driver: resistor, wiring, sound card, calibration
#[derive(Subcommand)]
#[command(after_help = HELP)]
pub enum JigCommand {
    New(Box<NewArgs>),
    Show(ShowArgs),
    Volts(Box<VoltsArgs>),
}

const HELP: &str = "\
Quantities carry their unit: 47ohm, 0.12V, -30dBFS.

Examples:
  farcone jig new desk --host alsa --output hw:CARD=0,DEV=0 --input hw:CARD=0,DEV=0 \\
    --sense 47ohm+-1% --wiring across-driver --check-ohm 22ohm+-1%
  farcone jig show desk
  farcone jig volts desk
  farcone measure left-unit --jig desk

A NAME is kept in the user's configuration folder; anything with a slash in it or ending in .jig.json is a path. The cautions of \
farcone measure hold here as well.";

/// Make a profile: describe the jig, and let it be calibrated
///
/// Without --yes it leads through the calibration takes. A profile is never overwritten.
#[derive(Args)]
#[command(after_help = HELP)]
pub struct NewArgs {
    /// What to call the jig
    #[arg(value_name = "NAME")]
    name: String,

    /// Ask nothing: everything is given as flags, and the cautions were read
    #[arg(long)]
    yes: bool,

    /// With --yes: calibration takes to make, in this order, joined by commas
    #[arg(
        long,
        value_name = "STEP",
        value_enum,
        value_delimiter = ',',
        requires = "yes",
        default_value = "same-node"
    )]
    steps: Vec<StepName>,

    /// The check resistor (22.0ohm+-0.1ohm)
    #[arg(long, value_name = "QUANTITY", value_parser = values::resistance)]
    check_ohm: Option<Stated>,

    #[command(flatten)]
    live: LiveArgs,
}

/// Print a profile, or the names of all
#[derive(Args)]
#[command(after_help = HELP)]
pub struct ShowArgs {
    /// Which; without it all are listed
    #[arg(value_name = "NAME")]
    name: Option<String>,
}

/// Calibrate the source's input in volts, from what a meter reads while a tone sounds
///
/// The meter is set to AC volts, between source node and ground. Behind a power amplifier this comes before everything else.
#[derive(Args)]
#[command(after_help = HELP)]
pub struct VoltsArgs {
    /// Which profile
    #[arg(value_name = "NAME")]
    name: String,

    /// What the meter reads while the tone plays at --level, RMS (0.12V+-0.002V); asks nothing
    #[arg(long, value_name = "QUANTITY", value_parser = values::voltage, requires = "level")]
    reading: Option<Stated>,

    #[command(flatten)]
    level: LevelArgs,
    #[command(flatten)]
    sound: SoundArgs,
}

pub fn run(command: &JigCommand) -> Result<u8, Failure> {
    match command {
        JigCommand::New(args) => new(args),
        JigCommand::Show(args) => show(args),
        JigCommand::Volts(args) => calibrate_volts(args),
    }
}

fn new(args: &NewArgs) -> Result<u8, Failure> {
    stop::listen();
    let path = store::profile_path(&args.name)?;
    store::refuse_existing(&path)?;
    // The takes are made in a session of their own, which goes when the profile has them.
    let scratch = tempfile::tempdir().map_err(Failure::Ask)?;
    let folder = scratch.path().join("jig");
    let no_driver = DriverArgs::default();
    let mut started = start::start(&folder, None, &args.live, &no_driver)?;
    started.session.label.clone_from(&args.name);
    let job = if args.yes {
        let steps = start::conditions(&args.steps, &[], &[], args.check_ohm)?;
        if let Some(step) = steps.iter().find(|step| !step.is_calibration()) {
            return Err(Failure::usage(
                format!("{} is about a driver, not about a jig", step.as_str()),
                "leave it out of --steps; a jig is calibrated with same-node, open-leads, shorted-leads and check-resistor",
            ));
        }
        start::refuse_incomplete(&folder, None, &args.live, &no_driver, args.check_ohm)?;
        let mut job = super::open_job(started, &args.live, Dialogue::Nobody { quiet: false })?;
        for condition in steps {
            job.take(condition, false)?;
        }
        job
    } else {
        let dialogue = Dialogue::person()?;
        let wanted = Wanted {
            live: &args.live,
            check_ohm: args.check_ohm,
            mass_kg: None,
            volume_m3: None,
        };
        let mut job = guide::set_up(started, &wanted, dialogue)?;
        let mut ticked = Ticked::default();
        for part in [
            Part::Volts,
            Part::SameNode,
            Part::Open,
            Part::Shorted,
            Part::Check,
        ] {
            if part != Part::Volts
                || (job.session.amplifier && job.session.source_full_scale_v.is_none())
            {
                guide::part(&mut job, part, &wanted, &mut ticked)?;
            }
        }
        job
    };
    let reading = job.read_jig()?;
    job.report(&reading.findings);
    let profile_path = write(&job, &path, &args.name, &reading)?;
    console::print(&format!(
        "{}\nUse it: farcone measure SESSION_DIR --jig {}\n",
        profile_path.display(),
        args.name
    ))?;
    Ok(EXIT_GOOD)
}

/// Writes the profile with its takes.
fn write(
    job: &Job,
    path: &Path,
    name: &str,
    reading: &JigReading,
) -> Result<std::path::PathBuf, Failure> {
    let mut writer = NewProfile::create(path)?;
    let session = store::load(job.session.clone(), job.folder.path(), &mut Unwatched)?;
    let mut takes = vec![];
    for take in &session.takes {
        if let Data::Recording(recording) = &take.data {
            takes.push(writer.add_take(&take.name, take.condition, recording)?);
        }
    }
    let (jig, _) = start::needed(&job.session)?;
    let profile = JigProfile {
        name: name.to_owned(),
        made: today().ok_or_else(no_day)?,
        jig,
        devices: job.session.devices.clone(),
        input_full_scale_v: [job.session.source_full_scale_v, None],
        amplifier: job.session.amplifier,
        takes,
        check: check_result(&job.session, reading),
    };
    Ok(writer.finish(&profile)?)
}

fn no_day() -> Failure {
    Failure::usage(
        "the clock shows no day that can be written",
        "set the clock",
    )
}

fn check_result(session: &SessionFile, reading: &JigReading) -> Option<CheckResult> {
    let check = reading.checks.last()?;
    let read_ohm = check.read_ohm;
    let stated_ohm = session
        .takes
        .iter()
        .rev()
        .find_map(|take| match take.condition {
            Condition::CheckResistor { ohm } => Some(ohm),
            _ => None,
        })?;
    let passed = check.passes()?;
    Some(CheckResult {
        stated_ohm,
        read_ohm: Stated {
            value: read_ohm,
            spread: Spread::Standard(READ_DOUBT * read_ohm),
        },
        passed,
    })
}

fn show(args: &ShowArgs) -> Result<u8, Failure> {
    let look = Look::of_stdout();
    let Some(name) = &args.name else {
        let list = store::list_profiles()?;
        let mut text = String::new();
        for listed in &list {
            let what = match &listed.profile {
                Ok(profile) => format!("{}, made on {}", sense_line(profile), profile.made),
                Err(error) => format!("cannot be read: {error}"),
            };
            text.push_str(&view::hanging(
                "",
                &format!("{}: {what} ({})", listed.name, listed.path.display()),
                look,
            ));
        }
        if list.is_empty() {
            text.push_str("There are no jig profiles yet; farcone jig new NAME makes one.\n");
        }
        console::print(&text)?;
        return Ok(EXIT_GOOD);
    };
    let path = store::profile_path(name)?;
    let profile = store::read_profile(&path)?;
    let mut text = format!(
        "{}\n{}\n",
        view::strong(&profile.name, look),
        path.display()
    );
    text.push_str(&screens::wiring(&profile.jig));
    for line in lines(&profile) {
        text.push_str(&view::hanging("  ", &line, look));
    }
    if let Some(today) = today() {
        text.push_str(&view::findings_of_take(
            &profile_findings(&profile, today),
            look,
        ));
    }
    console::print(&text)?;
    Ok(EXIT_GOOD)
}

fn sense_line(profile: &JigProfile) -> String {
    format!(
        "{} ohm, {}",
        profile.jig.sense_ohm.value,
        profile.jig.wiring.as_str()
    )
}

fn lines(profile: &JigProfile) -> Vec<String> {
    let mut lines = vec![
        format!("made on {}", profile.made),
        sense_line(profile),
        match &profile.devices {
            Some(Devices {
                host,
                output,
                input,
                sample_rate_hz,
                ..
            }) => {
                format!("{host}: plays on {output}, records from {input}, {sample_rate_hz} Hz")
            }
            None => "no sound card is named".to_owned(),
        },
        match profile.input_full_scale_v[0] {
            Some(volts) => format!(
                "the source's input shows {:.3} V peak as full scale",
                volts.value
            ),
            None => "levels are not known in volts (farcone jig volts)".to_owned(),
        },
    ];
    if profile.amplifier {
        lines.push("behind a power amplifier".to_owned());
    }
    let names: Vec<&str> = profile
        .takes
        .iter()
        .map(|take| take.condition.as_str())
        .collect();
    lines.push(if names.is_empty() {
        "not calibrated".to_owned()
    } else {
        format!("calibrated by {}", names.join(", "))
    });
    if let Some(check) = &profile.check {
        let verdict = if check.passed { "good" } else { "not good" };
        lines.push(format!(
            "check resistor: {} ohm reads {:.2} ohm: {verdict}",
            check.stated_ohm.value, check.read_ohm.value
        ));
    }
    lines
}

fn calibrate_volts(args: &VoltsArgs) -> Result<u8, Failure> {
    stop::listen();
    let path = store::profile_path(&args.name)?;
    let mut profile = store::read_profile(&path)?;
    let devices = profile.devices.clone().ok_or_else(|| {
        Failure::usage(
            "the profile names no sound card",
            "make it again with --host, --output and --input",
        )
    })?;
    let mut desk = LiveDesk::open(&devices, &profile.jig, &args.sound, &args.level, false)?;
    let full_scale_v = match (args.reading, args.level.level) {
        (Some(reading), Some(level_dbfs)) => {
            let playback = desk.sound().tone(TONE_HZ, level_dbfs, volts::TONE_S)?;
            let recorded = desk.record(On::Condition(Condition::FreeAir), &playback, "tone")?;
            full_scale_v(&recorded.take, reading).ok_or_else(|| Failure::SetUp {
                message: "the recording holds no clean tone: check that channel 1 is at the source node and turned up".to_owned(),
            })?
        }
        _ => {
            let dialogue = Dialogue::person()?;
            dialogue.heading("How many volts are full scale?");
            volts::ask_full_scale_v(&mut desk, &dialogue)?
        }
    };
    profile.input_full_scale_v[0] = Some(full_scale_v);
    store::replace_profile(&path, &profile)?;
    console::print(&format!(
        "The source's input shows {:.3} V peak as full scale; noted in {}\n",
        full_scale_v.value,
        path.display()
    ))?;
    Ok(EXIT_GOOD)
}
