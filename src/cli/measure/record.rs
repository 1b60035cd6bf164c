//! `farcone record`: a single take.

use std::path::PathBuf;

use clap::Args;
use farcone::quantity::Stated;

use super::ask::Dialogue;
use super::{StepName, start};
use crate::cli::args::DriverArgs;
use crate::cli::console::{self, Look};
use crate::cli::failure::Failure;
use crate::cli::live::{LiveArgs, stop};
use crate::cli::{EXIT_GOOD, values};

/// Make a single take into a session folder, with the sound card
///
/// The lowest level that serves is sought first, unless --level names one. The take is checked against what was played; a damaged
/// one is made again, at most twice, and never kept.
#[derive(Args)]
#[command(after_help = HELP)]
pub struct RecordArgs {
    /// Folder of the session; made if it is not there
    #[arg(value_name = "SESSION_DIR")]
    session: PathBuf,

    /// What is on the jig
    #[arg(long, value_name = "STEP", value_enum)]
    condition: StepName,

    /// What is added, putty included (5.2g+-0.05g), for added-mass
    #[arg(long, value_name = "QUANTITY", value_parser = values::mass)]
    mass: Option<Stated>,

    /// The air closed off (2.00L+-0.02L), for test-box
    #[arg(long, value_name = "QUANTITY", value_parser = values::volume)]
    volume: Option<Stated>,

    /// The known resistor (22.0ohm+-0.1ohm), for check-resistor
    #[arg(long, value_name = "QUANTITY", value_parser = values::resistance)]
    check_ohm: Option<Stated>,

    /// The driver was taken out and put back before this take
    #[arg(long)]
    remounted: bool,

    /// A jig profile (see farcone jig)
    #[arg(long, value_name = "NAME")]
    jig: Option<String>,

    #[command(flatten)]
    live: LiveArgs,
    #[command(flatten)]
    driver: DriverArgs,
}

const HELP: &str = "\
Quantities carry their unit: 47ohm, 5.2g, 10s, -40dBFS.

Example:
  farcone record left-unit --condition free-air --host alsa --output hw:CARD=0,DEV=0 \\
    --input hw:CARD=0,DEV=0 --sense 47ohm+-1% --wiring across-driver

Then farcone fit left-unit, or more takes. The cautions of farcone measure hold here as well.

Exit codes: 0 the take is kept, 1 a device or a file failed, 2 usage, 3 the take was damaged each time, 130 stopped.";

pub fn run(args: &RecordArgs) -> Result<u8, Failure> {
    stop::listen();
    let conditions = start::conditions(
        &[args.condition],
        args.mass.as_slice(),
        args.volume.as_slice(),
        args.check_ohm,
    )?;
    let (profile, live, driver) = (args.jig.as_deref(), &args.live, &args.driver);
    start::refuse_incomplete(&args.session, profile, live, driver, args.check_ohm)?;
    let started = start::start(&args.session, profile, live, driver)?;
    let dialogue = Dialogue::Nobody { quiet: false };
    let mut job = super::open_job(started, &args.live, dialogue)?;
    for condition in &conditions {
        job.take(*condition, args.remounted)?;
    }
    if let Some(take) = job.session.takes.last() {
        job.dialogue.say(&format!(
            "Kept: {}. Next: farcone fit {}",
            take.name,
            job.folder.path().display()
        ));
    }
    // What the take came to is the result; it is kept, whatever the analysis says.
    if let Some(condition) = conditions.last() {
        match super::chat_line_after(&job, condition, Look::of_stdout()) {
            Ok(Some(line)) => console::print(&line)?,
            Ok(None) => {}
            Err(failure) => job
                .dialogue
                .warn(&format!("There is no line for the chat: {failure}")),
        }
    }
    Ok(EXIT_GOOD)
}
