//! `farcone export`: a sheet as a file that other tools read.

use std::path::PathBuf;

use clap::Args;
use clap::builder::{PossibleValue, PossibleValuesParser, TypedValueParser};
use farcone::export::{Format, export};

use super::EXIT_GOOD;
use super::console;
use super::failure::Failure;
use crate::store;

/// Turn a sheet into a file that other tools read
///
/// Circuit simulators, network tools, spreadsheets and CAD take it without editing. What the sheet does not know is left out
/// or marked as unknown, never zero. docs/export-spice.md and its neighbours describe each format.
#[derive(Args)]
#[command(after_help = EXAMPLES)]
pub struct ExportArgs {
    /// The sheet, as `farcone fit --out` and `farcone measure` write it
    #[arg(value_name = "SHEET")]
    sheet: PathBuf,

    /// What to turn it into
    #[arg(long, value_name = "FORMAT", value_parser = format())]
    to: Format,

    /// The file to write, in place of standard output; an existing one is never overwritten
    #[arg(long, short, value_name = "FILE", alias = "output")]
    out: Option<PathBuf>,
}

const EXAMPLES: &str = "\
Examples:
  A subcircuit for a circuit simulator
    farcone export left.driver.json --to spice -o left.cir

  The impedance for a network tool, and for a spreadsheet
    farcone export left.driver.json --to touchstone -o left.s1p
    farcone export left.driver.json --to csv -o left-impedance.csv

  The parameters with their uncertainties for a spreadsheet
    farcone export left.driver.json --to csv-parameters -o left.csv

  Dimensions for a front panel in OpenSCAD
    farcone export left.driver.json --to openscad -o left.scad

Exit codes: 0 the file is written, whatever the sheet's verdict, 1 something could not be read or written, \
or the sheet lacks what the format needs, 2 usage.";

fn format() -> impl TypedValueParser<Value = Format> {
    let values = Format::ALL
        .iter()
        .map(|format| PossibleValue::new(format.as_str()).help(format.meaning()));
    PossibleValuesParser::new(values)
        .try_map(|text| Format::parse(&text).ok_or("the format has no name"))
}

pub fn run(args: &ExportArgs) -> Result<u8, Failure> {
    if args.sheet.is_dir() {
        return Err(Failure::usage(
            format!("{}: this is a folder, and no sheet", args.sheet.display()),
            "name the sheet in it, a file that ends in .driver.json; if there is none, farcone fit FOLDER --out FILE makes one",
        ));
    }
    if let Some(path) = &args.out {
        store::refuse_existing(path)?;
    }
    let sheet = store::read_sheet(&args.sheet)?;
    let text = export(&sheet, args.to)?;
    match &args.out {
        Some(path) => store::write_new_text(path, &text)?,
        None => console::print(&text)?,
    }
    Ok(EXIT_GOOD)
}
