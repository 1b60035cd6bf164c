//! `farcone fit`: recordings, tables or a session folder become a sheet.

use std::path::{Path, PathBuf};

use clap::{ArgMatches, Args};
use farcone::chat::ChatLine;
use farcone::finding::{Finding, Verdict};
use farcone::session::{JigProfile, Photo, SessionFile, analyse_noting, profile_findings};
use farcone::sheet::Sheet;

use super::args::{AnalysisArgs, DriverArgs, JigArgs, OutputArgs, TakeArgs};
use super::console::{self, Look};
use super::failure::Failure;
use super::progress::Progress;
use super::takes::{outrank, session_of_flags};
use super::{EXIT_GOOD, EXIT_REDO, today, view};
use crate::store;

/// Work out a driver's parameters from recordings, impedance tables or a session folder
///
/// The recordings may hold any signal that covers the band (a sweep, a multisine, noise), from any recorder, as long as
/// both channels were recorded together. `farcone stimulus` makes suitable signals.
#[derive(Args)]
#[command(after_help = EXAMPLES)]
pub struct FitArgs {
    /// Folder with session.json and its takes; what is typed besides outranks what it says
    #[arg(value_name = "SESSION_DIR")]
    session: Option<PathBuf>,

    #[command(flatten)]
    takes: TakeArgs,
    /// A jig profile: sense resistor, wiring and calibration takes in one (see farcone jig); flags outrank what it says
    #[arg(long = "jig", value_name = "NAME", help_heading = "Jig")]
    profile: Option<String>,

    /// What was played in all takes, as `farcone stimulus` wrote it: recordings are laid against it (stimulus.wav)
    ///
    /// Lost frames, a level that moved, echoes, a wrong sample rate or a digital copy of what was played are then found in
    /// any kind of stimulus, not only in sweeps. The recording may begin at any time. The first channel counts.
    #[arg(long, value_name = "FILE", help_heading = "Takes")]
    played: Option<PathBuf>,
    #[command(flatten)]
    jig: JigArgs,
    #[command(flatten)]
    driver: DriverArgs,
    #[command(flatten)]
    analysis: AnalysisArgs,
    #[command(flatten)]
    output: OutputArgs,
}

const EXAMPLES: &str = "\
Quantities carry their unit. What a scale or a marking states follows behind +-, as in 5.2g+-0.05g (a half-width); \
5.2g+-u0.05g states a standard uncertainty, 47ohm+-1% a percentage.

Examples:
  The driver alone (fs, Re, the Qs, the coil):
    farcone fit --free-air free.wav --sense 47ohm+-1% --wiring across-driver

  With a known mass and the cone's size (Vas, Mms, Bl and all the rest), the
  inputs matched with a known resistor:
    farcone fit --free-air free.wav --added-mass mass.wav --mass 5.2g+-0.05g \\
      --check-resistor check.wav --check-ohm 22.0ohm+-0.1ohm \\
      --sense 47ohm+-1% --wiring across-driver --cone 78mm+-1mm \\
      --air 23C,450m,45% --label \"Tidepool 3\" --out tidepool-3.driver.json

  A table from another instrument, with a test box:
    farcone fit --free-air free.csv --test-box box.csv --volume 2.00L+-0.02L

  With a jig that was calibrated once (farcone jig new desk):
    farcone fit --free-air free.wav --jig desk

  A session folder, as the demo writes one, with another coil model:
    farcone fit farcone-demo --coil lr-2

Cautions: know the level of a loudspeaker output before you wire it to a recorder's input, which a few volts can \
damage. In the wiring across-resistor neither driver terminal may touch ground, and the amplifier's minus has to be \
ground; bridged amplifiers have no ground at either output.

Exit codes: 0 good or usable, 1 something could not be read or written, 2 usage, 3 a take has to be made again (the \
result is printed all the same).";

pub fn run(args: &FitArgs, matches: &ArgMatches) -> Result<u8, Failure> {
    let profile = args.profile.as_deref().map(read_profile).transpose()?;
    let (mut session, folder) = match &args.session {
        Some(_)
            if args.takes.any()
                || args.takes.remounted
                || args.takes.channels.is_some()
                || args.takes.one_input.is_some() =>
        {
            return Err(Failure::usage(
                "a session folder has its own takes, so no flags about takes can stand beside it",
                "give the folder alone, or the takes alone",
            ));
        }
        Some(folder) => (store::read_session(folder)?, folder.as_path()),
        None => (
            session_of_flags(
                &args.takes,
                &args.jig,
                profile.as_ref().map(|(_, profile)| profile.jig),
                matches,
            )?,
            Path::new(""),
        ),
    };
    let mut noted = vec![];
    if let Some((path, profile)) = &profile {
        noted = calibrate(&mut session, path, profile)?;
    }
    outrank(&mut session, &args.jig, &args.driver, &args.analysis)?;
    add_photos(&mut session, args)?;
    if let Some(path) = &args.output.out {
        store::refuse_existing(path)?;
    }
    let mut progress = Progress::new(args.output.quiet);
    let mut session = store::load(session, folder, &mut progress)?;
    session.played = args.played.as_deref().map(store::read_played).transpose()?;
    let sheet = analyse_noting(session, noted, &mut progress)?;
    drop(progress);
    if let Some(path) = &args.output.out {
        store::write_new_text(path, &sheet.to_json()?)?;
    }
    if args.output.json {
        console::print(&sheet.to_json()?)?;
    } else if !args.output.quiet {
        let look = Look::of_stdout();
        let mut text = view::sheet(&sheet, None, look);
        if args.output.plot || console::is_looked_at() {
            text.push_str(&view::plot(&sheet, look));
        }
        text.push_str(&view::chat(&ChatLine::of(&sheet, None), look));
        match &args.output.out {
            Some(path) => text.push_str(&format!(
                "\nSheet: {}\nTo look at and to send: farcone report {}\n",
                path.display(),
                path.display()
            )),
            None => text.push_str("\nTo keep the sheet, add --out NAME.driver.json\n"),
        }
        console::print(&text)?;
    }
    Ok(exit_code(&sheet))
}

fn add_photos(session: &mut SessionFile, args: &FitArgs) -> Result<(), Failure> {
    if let (Some(folder), false) = (&args.session, args.driver.photo.is_empty()) {
        return Err(Failure::usage(
            "a session folder has its own photos, and is only read here",
            format!(
                "put the photo into {}/photos and name it in session.json, or add it while measuring: farcone measure {} --photo …",
                folder.display(),
                folder.display()
            ),
        ));
    }
    let photos = args.driver.photo.iter().map(|photo| Photo {
        of: photo.of.clone(),
        file: photo.file.clone(),
        sha256: None,
    });
    session.photos.extend(photos);
    Ok(())
}

fn read_profile(name: &str) -> Result<(PathBuf, JigProfile), Failure> {
    let path = store::profile_path(name)?;
    let profile = store::read_profile(&path)?;
    Ok((path, profile))
}

/// Applies a profile: its calibration takes, and its jig where a session names none. Returns what is to be known about it.
fn calibrate(
    session: &mut SessionFile,
    path: &Path,
    profile: &JigProfile,
) -> Result<Vec<Finding>, Failure> {
    if session
        .takes
        .iter()
        .any(|take| take.files.iter().any(|file| store::is_table(file)))
    {
        return Err(Failure::usage(
            "--jig is about recordings, but an impedance table was given",
            "leave --jig out; a table holds impedances at the driver's terminals already",
        ));
    }
    if let Some(own) = session
        .takes
        .iter()
        .find(|take| take.condition.is_calibration())
    {
        return Err(Failure::usage(
            format!(
                "\"{}\" calibrates the jig, and so does the profile",
                own.name
            ),
            "use one of them: leave --jig out, or the calibration takes",
        ));
    }
    session.jig = session.jig.or(Some(profile.jig));
    let takes = store::calibration_takes(path, profile, &session.takes)?;
    session.takes.extend(takes);
    Ok(today().map_or_else(Vec::new, |today| profile_findings(profile, today)))
}

/// Reads the takes and analyses them; `noted` is known already.
pub fn sheet_of(
    session: SessionFile,
    folder: &Path,
    noted: Vec<Finding>,
    quiet: bool,
) -> Result<Sheet, Failure> {
    let mut progress = Progress::new(quiet);
    let session = store::load(session, folder, &mut progress)?;
    Ok(analyse_noting(session, noted, &mut progress)?)
}

/// 3 if a take has to be made again.
pub fn exit_code(sheet: &Sheet) -> u8 {
    if sheet.verdict == Verdict::Redo.as_str() {
        EXIT_REDO
    } else {
        EXIT_GOOD
    }
}
