//! `farcone report`: sheets as a page that people look at.

use std::path::{Path, PathBuf};

use clap::Args;
use farcone::report::{Options, PhotoFile, html, picture_kind, plots};
use farcone::sheet::Sheet;

use super::compare::{no_folder, tell_apart};
use super::failure::Failure;
use super::{EXIT_GOOD, console, values};
use crate::store;

/// Make a page of one or several sheets, to look at, print or send
///
/// One HTML file that loads nothing: the verdict first, then impedance, parameters with their doubt, findings, conditions and where it
/// came from. Several sheets are laid over each other and compared.
#[derive(Args)]
#[command(after_help = EXAMPLES)]
pub struct ReportArgs {
    /// Sheets, as `farcone fit --out` and `farcone measure` write them
    #[arg(value_name = "SHEET", required = true, num_args = 1..)]
    sheets: Vec<PathBuf>,

    /// Net volume of a closed box (2.4L): says whether it stands a chance, with fc, Qtc and f3
    #[arg(long, value_name = "VOLUME", value_parser = values::volume_m3)]
    net: Option<f64>,

    /// Put the photos in that the sheets name; they are looked for in this folder, by their SHA-256 (a session's photos folder)
    #[arg(long, value_name = "DIR", conflicts_with = "svg")]
    photos: Option<PathBuf>,

    /// File to write, instead of a name made of the label; it must not exist
    #[arg(short, long, value_name = "FILE")]
    out: Option<PathBuf>,

    /// Write the plots alone into this folder, as SVG, instead of the page
    #[arg(long, value_name = "DIR", conflicts_with_all = ["out", "net"])]
    svg: Option<PathBuf>,
}

const EXAMPLES: &str = "\
Examples:
  A page of one driver
    farcone report one.driver.json

  Does it go with 2.4 litres?
    farcone report one.driver.json --net 2.4L -o one.html

  Three units side by side
    farcone report one.driver.json two.driver.json three.driver.json -o three.html

  The plots alone, for a document
    farcone report one.driver.json --svg plots

Exit codes: 0 the page was written, whatever it says, 1 something could not be read or written, 2 usage.";

pub fn run(args: &ReportArgs) -> Result<u8, Failure> {
    no_folder(&args.sheets)?;
    no_file_twice(&args.sheets)?;
    let mut sheets = args
        .sheets
        .iter()
        .map(|path| store::read_sheet(path))
        .collect::<Result<Vec<Sheet>, _>>()?;
    let name = default_name(&sheets);
    tell_apart(&mut sheets, &args.sheets);
    match &args.svg {
        Some(folder) => write_plots(&sheets, folder),
        None => write_page(args, &sheets, name),
    }
}

/// One driver beside itself would look like two that match.
fn no_file_twice(paths: &[PathBuf]) -> Result<(), Failure> {
    let mut known: Vec<PathBuf> = vec![];
    for path in paths {
        // What cannot be found is for reading to say.
        let Ok(file) = path.canonicalize() else {
            continue;
        };
        if known.contains(&file) {
            return Err(Failure::usage(
                format!("{}: this sheet is named twice", path.display()),
                "name each sheet once",
            ));
        }
        known.push(file);
    }
    Ok(())
}

fn write_page(args: &ReportArgs, sheets: &[Sheet], name: PathBuf) -> Result<u8, Failure> {
    let path = args.out.clone().unwrap_or(name);
    store::refuse_existing(&path)?;
    let options = Options {
        net_m3: args.net,
        photos: match &args.photos {
            Some(folder) => found_photos(folder, sheets)?,
            None => vec![],
        },
    };
    store::write_new_text(&path, &html(sheets, &options)?)?;
    console::print(&format!("Written\n  {}\n", path.display()))?;
    Ok(EXIT_GOOD)
}

/// The photos that sheets name, wherever in a folder they lie. What is no picture that browsers show is refused.
fn found_photos(folder: &Path, sheets: &[Sheet]) -> Result<Vec<PhotoFile>, Failure> {
    let wanted: Vec<&str> = sheets
        .iter()
        .flat_map(|sheet| &sheet.origin.photos)
        .filter_map(|photo| photo.sha256.as_deref())
        .collect();
    let mut found = vec![];
    for (path, sha256, bytes) in store::read_hashed(folder, |hash| wanted.contains(&hash))? {
        if picture_kind(&bytes).is_none() {
            return Err(Failure::usage(
                format!("{}: this is no picture that browsers show", path.display()),
                "leave it out of the folder, or give JPEG, PNG or WebP when the session is made",
            ));
        }
        found.push(PhotoFile { sha256, bytes });
    }
    if found.is_empty() {
        let named = if wanted.is_empty() {
            "the sheets name no photos"
        } else {
            "none of the photos that the sheets name is in it"
        };
        return Err(Failure::usage(
            format!("{}: {named}", folder.display()),
            "leave --photos out, or name the photos folder of the session that made the sheet",
        ));
    }
    Ok(found)
}

fn write_plots(sheets: &[Sheet], folder: &Path) -> Result<u8, Failure> {
    let plots = plots(sheets)?;
    if plots.is_empty() {
        console::print("The sheet holds no curve, so there is nothing to draw.\n")?;
        return Ok(EXIT_GOOD);
    }
    let files: Vec<PathBuf> = plots
        .iter()
        .map(|plot| folder.join(format!("{}.svg", plot.name)))
        .collect();
    // All or nothing, as far as that can be known beforehand.
    for path in &files {
        store::refuse_existing(path)?;
    }
    store::make_folder(folder)?;
    let mut said = String::from("Written\n");
    for (plot, path) in plots.iter().zip(&files) {
        store::write_new_text(path, &plot.svg)?;
        said.push_str(&format!("  {}\n", path.display()));
    }
    console::print(&said)?;
    Ok(EXIT_GOOD)
}

/// Here, named after the label; of several sheets after the first.
fn default_name(sheets: &[Sheet]) -> PathBuf {
    let label = sheets.first().map_or("", |sheet| sheet.label.as_str());
    let name = store::safe_file_name(label);
    let more = if sheets.len() > 1 { "-and-others" } else { "" };
    PathBuf::from(format!("{name}{more}.report.html"))
}
