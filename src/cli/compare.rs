//! `farcone compare`: sheets side by side.

use std::path::PathBuf;

use clap::Args;
use farcone::compare::{Claim, ClaimError, compare, hold, parse_claims, run_in};
use farcone::sheet::Sheet;

use super::console::{self, Look};
use super::failure::Failure;
use super::{EXIT_GOOD, view};
use crate::store;

/// Lay the sheets of several drivers side by side
///
/// Which units match and which is the odd one, what running-in did to one, and which of a seller's figures hold. A difference
/// counts where it is beyond three standard uncertainties of both sheets together, within takes and from one set-up to the next.
#[derive(Args)]
#[command(after_help = EXAMPLES)]
pub struct CompareArgs {
    /// Sheets, as `farcone fit --out` and `farcone measure` write them
    #[arg(value_name = "SHEET", required = true, num_args = 1..)]
    sheets: Vec<PathBuf>,

    /// Figures that a seller claims, laid against each sheet (fs=85Hz,qts=0.6,vas=3.1L)
    ///
    /// A tolerance may follow, as in fs=85Hz+-10Hz. Names: fs, re, qms, qes, qts, vas, mms, mmd, cms, rms, bl, sd, le (at 1 kHz),
    /// level_1w, level_2v83.
    #[arg(long, value_name = "CLAIMS", value_parser = claims)]
    claimed: Option<Claims>,

    /// The two sheets are one unit before and after running-in
    #[arg(long)]
    run_in: bool,

    /// Print the comparison as JSON on standard output, and nothing else
    #[arg(long)]
    json: bool,
}

/// All claims of one flag.
#[derive(Clone, Debug)]
struct Claims(Vec<Claim>);

fn claims(text: &str) -> Result<Claims, ClaimError> {
    parse_claims(text).map(Claims)
}

const EXAMPLES: &str = "\
Examples:
  Do these three belong together?
    farcone compare one.driver.json two.driver.json three.driver.json

  Is it what was sold?
    farcone compare one.driver.json --claimed \"fs=85Hz,qts=0.6,vas=3.1L\"

  What did running-in do?
    farcone compare before.driver.json after.driver.json --run-in

Exit codes: 0 the comparison was made, whatever it says, 1 something could not be read, 2 usage.";

pub fn run(args: &CompareArgs) -> Result<u8, Failure> {
    if args.sheets.len() < 2 && args.claimed.is_none() {
        return Err(Failure::usage(
            "one sheet alone cannot be compared",
            "give a second sheet, or --claimed with the figures that a seller states",
        ));
    }
    if args.run_in && args.sheets.len() != 2 {
        return Err(Failure::usage(
            "--run-in compares one unit with itself, so it needs two sheets",
            "give the sheet before and the sheet after, in this order",
        ));
    }
    no_folder(&args.sheets)?;
    let mut sheets = args
        .sheets
        .iter()
        .map(|path| store::read_sheet(path))
        .collect::<Result<Vec<Sheet>, _>>()?;
    tell_apart(&mut sheets, &args.sheets);
    let comparison = compare(&sheets);
    let running_in = args.run_in.then(|| run_in(&sheets[0], &sheets[1]));
    let held: Vec<_> = args
        .claimed
        .iter()
        .flat_map(|claims| sheets.iter().map(|sheet| hold(&claims.0, sheet)))
        .collect();
    if args.json {
        let document = serde_json::json!({
            "comparison": comparison,
            "run_in": running_in,
            "claims": held,
        });
        let text = serde_json::to_string_pretty(&document).unwrap_or_default();
        console::print(&format!("{text}\n"))?;
        return Ok(EXIT_GOOD);
    }
    let look = Look::of_stdout();
    let mut text = String::new();
    if sheets.len() > 1 {
        text.push_str(&view::comparison(&comparison, args.run_in, look));
    }
    if let Some(running_in) = &running_in {
        text.push_str(&view::running_in(running_in, look));
    }
    for (sheet, held) in sheets.iter().zip(&held) {
        text.push_str(&view::claims(&sheet.label, &sheet.verdict, held, look));
    }
    console::print(text.trim_start_matches('\n'))?;
    Ok(EXIT_GOOD)
}

/// A session folder is often named where a sheet is meant.
pub(super) fn no_folder(paths: &[PathBuf]) -> Result<(), Failure> {
    match paths.iter().find(|path| path.is_dir()) {
        Some(folder) => Err(Failure::usage(
            format!("{}: this is a folder, and no sheet", folder.display()),
            "name the sheet in it, a file that ends in .driver.json; if there is none, farcone fit FOLDER --out FILE makes one",
        )),
        None => Ok(()),
    }
}

/// Sheets with the same label get their file's name behind it: one unit before and after running-in has one label.
pub(super) fn tell_apart(sheets: &mut [Sheet], paths: &[PathBuf]) {
    let labels: Vec<String> = sheets.iter().map(|sheet| sheet.label.clone()).collect();
    for (sheet, path) in sheets.iter_mut().zip(paths) {
        if labels.iter().filter(|label| **label == sheet.label).count() > 1 {
            sheet.label = format!("{} ({})", sheet.label, path.display());
        }
    }
}
