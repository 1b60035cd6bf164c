//! `farcone receive`: bundles that arrived are verified, unpacked, computed anew and answered.

mod kit;
mod print;

use std::path::PathBuf;

use clap::Args;
use farcone::bundle::{Reply, Unpacked, reply};
use farcone::compare::{Comparison, Disagreement, compare, disagreements};
use farcone::session::SessionError;
use farcone::sheet::Sheet;

use self::kit::Kits;
use super::compare::tell_apart;
use super::console::{self, Look};
use super::failure::Failure;
use super::fit::sheet_of;
use super::{EXIT_FAILED, EXIT_GOOD, EXIT_REDO, view};
use crate::store;

/// Receive what a far-away helper sent: verify it, compute it anew, and write the answer
///
/// Each bundle becomes a session folder of its own. The sheet is computed from the raw takes, laid beside what the page had
/// concluded, and printed; reply.txt in the folder is what to send back. Nothing is unpacked before all bundles are verified.
#[derive(Args)]
#[command(after_help = EXAMPLES)]
pub struct ReceiveArgs {
    /// Bundles as the page saved them, neither unpacked nor packed again
    #[arg(value_name = "BUNDLE.zip", required = true, num_args = 1..)]
    bundles: Vec<PathBuf>,

    /// Folder in which the session folders are made
    #[arg(long, short, value_name = "DIR", default_value = ".")]
    out: PathBuf,

    /// Refuse bundles that answer another kit: the kit's id, or the kit itself (kit.html); as often as there are kits
    ///
    /// With the kit itself it is also known what was asked for, so that the reply can say what is still missing.
    #[arg(long, value_name = "ID|FILE")]
    kit: Vec<String>,

    /// Print one JSON document on standard output, and nothing else
    #[arg(long)]
    json: bool,

    /// Print only what goes wrong
    #[arg(long, short)]
    quiet: bool,
}

const EXAMPLES: &str = "\
Examples:
  farcone receive left-unit.zip
  farcone receive left-unit.zip right-unit.zip -o received --kit kit.html

Exit codes: 0 nothing has to be done any more, 1 a bundle could not be read, answers another kit, or holds a result that \
this program does not find again, 2 usage, 3 a take has to be made again or is still missing; reply.txt says which.";

/// A bundle that was verified.
struct Arrived {
    path: PathBuf,
    unpacked: Unpacked,
}

/// What the page concluded, against what was computed here.
enum Agreement {
    /// Both are the same.
    Agrees,
    /// They are not; in what.
    Differs(Vec<Disagreement>),
    /// The page has a result where there is nothing to compute one from.
    Unfounded,
    /// Other versions may come to other results.
    OtherVersion,
    /// The page concluded nothing.
    Nothing,
}

impl Agreement {
    fn is_doubtful(&self) -> bool {
        matches!(self, Self::Differs(_) | Self::Unfounded)
    }
}

/// A bundle that was dealt with.
struct Received {
    arrived: Arrived,
    folder: PathBuf,
    /// Where the sheet is, and what it says; `None` where there was nothing to compute one from.
    sheet: Option<(PathBuf, Sheet)>,
    agreement: Agreement,
    reply: Reply,
    reply_path: PathBuf,
}

pub fn run(args: &ReceiveArgs) -> Result<u8, Failure> {
    let kits = Kits::read(&args.kit)?;
    let arrived = args
        .bundles
        .iter()
        .map(|path| {
            let unpacked = store::read_bundle(path)?;
            kits.admit(path, &unpacked.bundle)?;
            Ok(Arrived {
                path: path.clone(),
                unpacked,
            })
        })
        .collect::<Result<Vec<_>, Failure>>()?;
    let notes = notes(&arrived)?;
    let look = Look::of_stdout();
    let shown = !args.json && !args.quiet;
    let mut received = vec![];
    for bundle in arrived {
        let done = receive(bundle, args, &kits)?;
        if shown {
            let gap = if received.is_empty() { "" } else { "\n\n" };
            console::print(&format!("{gap}{}", print::received(&done, look)))?;
        } else if args.quiet && done.agreement.is_doubtful() {
            console::warn(&print::doubt(&done));
        }
        received.push(done);
    }
    let comparison = comparison(&received);
    if args.json {
        console::print(&print::json(&received, comparison.as_ref(), &notes))?;
    } else if shown {
        let mut text = String::new();
        if let Some(comparison) = &comparison {
            text.push_str(&view::comparison(comparison, false, look));
        }
        for note in &notes {
            text.push_str(&format!("\n{}", view::hanging("Note: ", note, look)));
        }
        console::print(&text)?;
    } else {
        notes.iter().for_each(|note| console::warn(note));
    }
    Ok(exit_code(&received))
}

fn exit_code(received: &[Received]) -> u8 {
    if received.iter().any(|done| done.agreement.is_doubtful()) {
        EXIT_FAILED
    } else if received.iter().any(|done| !done.reply.is_done()) {
        EXIT_REDO
    } else {
        EXIT_GOOD
    }
}

/// What is odd about several bundles at once. One bundle twice is misuse: it would look like two units that match.
fn notes(arrived: &[Arrived]) -> Result<Vec<String>, Failure> {
    let mut notes = vec![];
    for (i, one) in arrived.iter().enumerate() {
        for other in &arrived[..i] {
            let (a, b) = (&one.unpacked, &other.unpacked);
            let both = format!("{} and {}", other.path.display(), one.path.display());
            if a.texts == b.texts {
                return Err(Failure::usage(
                    format!("{both} hold the same bundle"),
                    "name each bundle once",
                ));
            }
            if (&a.bundle.kit, a.bundle.driver) == (&b.bundle.kit, b.bundle.driver) {
                notes.push(format!(
                    "{both} are about the same driver (kit {}, driver {}); what differs between them is not from unit to unit.",
                    a.bundle.kit,
                    a.bundle.driver.saturating_add(1)
                ));
            }
        }
    }
    let mut kits: Vec<&str> = arrived
        .iter()
        .map(|one| one.unpacked.bundle.kit.as_str())
        .collect();
    kits.sort_unstable();
    kits.dedup();
    if kits.len() > 1 {
        notes.push(format!(
            "The bundles answer different kits: {}. If they were meant to answer one, ask which page was used; --kit refuses \
             others.",
            kits.join(", ")
        ));
    }
    Ok(notes)
}

fn receive(arrived: Arrived, args: &ReceiveArgs, kits: &Kits) -> Result<Received, Failure> {
    let bundle = &arrived.unpacked.bundle;
    let folder = store::unpack_bundle(&arrived.unpacked, &args.out)?;
    // From here on as `farcone fit DIR` does it, with what is on the disk.
    let session = store::read_session(&folder)?;
    let sheet = match sheet_of(session, &folder, vec![], args.quiet) {
        Ok(sheet) => Some(sheet),
        Err(Failure::Session(SessionError::NoFreeAir)) => None,
        Err(failure) => return Err(failure),
    };
    let agreement = agreement(bundle.sheet.as_ref(), sheet.as_ref());
    let reply = reply(
        bundle,
        sheet.as_ref(),
        kits.wanted(bundle),
        agreement.is_doubtful(),
    );
    let sheet = match sheet {
        None => None,
        Some(sheet) => {
            let stem = store::safe_file_name(&sheet.label);
            let path = store::free_path(&folder, &stem, ".driver.json");
            store::write_new_text(&path, &sheet.to_json()?)?;
            Some((path, sheet))
        }
    };
    let reply_path = folder.join("reply.txt");
    store::write_new_text(&reply_path, &reply.text)?;
    Ok(Received {
        folder,
        sheet,
        agreement,
        reply,
        reply_path,
        arrived,
    })
}

fn agreement(page: Option<&Sheet>, own: Option<&Sheet>) -> Agreement {
    match (page, own) {
        (None, _) => Agreement::Nothing,
        (Some(page), _) if page.origin.version != env!("CARGO_PKG_VERSION") => {
            Agreement::OtherVersion
        }
        (Some(_), None) => Agreement::Unfounded,
        (Some(page), Some(own)) => match disagreements(page, own) {
            differences if differences.is_empty() => Agreement::Agrees,
            differences => Agreement::Differs(differences),
        },
    }
}

/// Several sheets side by side.
fn comparison(received: &[Received]) -> Option<Comparison> {
    let (mut sheets, mut folders) = (vec![], vec![]);
    for done in received {
        if let Some((_, sheet)) = &done.sheet {
            sheets.push(sheet.clone());
            folders.push(done.folder.clone());
        }
    }
    tell_apart(&mut sheets, &folders);
    (sheets.len() > 1).then(|| compare(&sheets))
}
