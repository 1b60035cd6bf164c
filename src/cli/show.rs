//! `farcone show`: a sheet, or a line from a chat, once more.

use std::io::Read;
use std::path::Path;

use clap::Args;
use farcone::chat::{ChatError, ChatLine, is_chat_line, lines_in};

use super::console::{self, Look};
use super::failure::Failure;
use super::fit::exit_code;
use super::{EXIT_GOOD, EXIT_REDO, view};
use crate::store;

/// Print a sheet again, or read the line that somebody sent over a chat
///
/// The line stands below every sheet and, while measuring, below every take. It says before any file has arrived whether to go on
/// or what to make again.
#[derive(Args)]
#[command(after_help = EXAMPLES)]
pub struct ShowArgs {
    /// A sheet (NAME.driver.json), or a line that begins with farcone:1, or - to read either from standard input
    ///
    /// A line is best put between quotation marks; its words are put together again where they were not.
    #[arg(value_name = "SHEET|LINE|-", required = true, num_args = 1..)]
    what: Vec<String>,

    /// Draw the sheet's curves as well
    #[arg(long)]
    plot: bool,

    /// Print the sheet as JSON on standard output, and nothing else
    #[arg(long, conflicts_with = "plot")]
    json: bool,
}

const EXAMPLES: &str = "\
Examples:
  farcone show tidepool-3.driver.json --plot
  farcone show \"farcone:1 [left unit] after free-air-2: fs=96.35Hz re=5.681ohm qms=4.313 qes=0.8214 qts=0.6899 good ~NP630\"
  farcone show -          paste the line, then press Ctrl-D

Exit codes: 0 good or usable, 1 it could not be read, 2 usage, 3 a take has to be made again.";

pub fn run(args: &ShowArgs) -> Result<u8, Failure> {
    let what = args.what.join(" ");
    if what == "-" {
        let mut text = String::new();
        std::io::stdin()
            .read_to_string(&mut text)
            .map_err(|source| store::StoreError::Read {
                path: "standard input".into(),
                source,
            })?;
        return if text.trim_start().starts_with('{') {
            let sheet = farcone::sheet::Sheet::from_json(&text).map_err(|source| {
                store::StoreError::Sheet {
                    path: "standard input".into(),
                    source,
                }
            })?;
            show_sheet(&sheet, args)
        } else {
            show_line(&text, args)
        };
    }
    if is_chat_line(&what) {
        return show_line(&what, args);
    }
    let path = Path::new(&what);
    if path.symlink_metadata().is_err() && (what.contains(' ') || what.contains("farcone:")) {
        // More likely a text that was pasted than the name of a file.
        return show_line(&what, args);
    }
    if path.is_dir() {
        return Err(Failure::usage(
            format!("{}: this is a folder, and no sheet", path.display()),
            format!(
                "name the sheet in it, a file that ends in .driver.json, or analyse its takes: farcone fit {}",
                path.display()
            ),
        ));
    }
    show_sheet(&store::read_sheet(path)?, args)
}

fn show_sheet(sheet: &farcone::sheet::Sheet, args: &ShowArgs) -> Result<u8, Failure> {
    if args.json {
        console::print(&sheet.to_json()?)?;
    } else {
        let look = Look::of_stdout();
        let mut text = view::sheet(sheet, None, look);
        text.push_str(&view::origin(sheet, look));
        if args.plot {
            text.push_str(&view::plot(sheet, look));
        }
        text.push_str(&view::chat(&ChatLine::of(sheet, None), look));
        console::print(&text)?;
    }
    Ok(exit_code(sheet))
}

fn show_line(text: &str, args: &ShowArgs) -> Result<u8, Failure> {
    if args.plot || args.json {
        return Err(Failure::usage(
            "a line from a chat holds neither curves nor a sheet",
            "leave --plot and --json out, or name the sheet's file",
        ));
    }
    let lines = lines_in(text);
    if lines.is_empty() {
        return Err(Failure::usage(
            ChatError::NotALine.to_string(),
            "copy the line whole, from farcone:1 to the five letters behind the tilde; to show a sheet, name its file",
        ));
    }
    let (mut out, mut code) = (String::new(), EXIT_GOOD);
    for text in lines {
        let line = ChatLine::read(text)
            .map_err(|error| Failure::usage(error.to_string(), what_to_do(&error)))?;
        if !out.is_empty() {
            out.push('\n');
        }
        out.push_str(&view::received(&line, Look::of_stdout()));
        if !line.goes_on() {
            code = EXIT_REDO;
        }
    }
    console::print(&out)?;
    Ok(code)
}

fn what_to_do(error: &ChatError) -> &'static str {
    match error {
        ChatError::Version { .. } => "bring the older of the two programs up to date",
        _ => "copy the line whole, from farcone:1 to the five letters behind the tilde",
    }
}
