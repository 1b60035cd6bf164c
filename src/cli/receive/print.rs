//! What is printed about bundles that were received.

use farcone::compare::Comparison;
use serde_json::json;

use super::{Agreement, Received};
use crate::cli::console::Look;
use crate::cli::view;

/// More differences than these say nothing new.
const MOST_DIFFERENCES: usize = 12;

fn title(name: &str, look: Look) -> String {
    format!("\n{}\n", view::strong(name, look))
}

/// One bundle: what it is, the sheet, whether the page agrees, the reply, what was written.
pub(super) fn received(done: &Received, look: Look) -> String {
    let bundle = &done.arrived.unpacked.bundle;
    let mut text = view::paragraph(
        &format!(
            "{}: complete and unchanged. Kit {}, driver {}, made by program version {}.",
            done.arrived.path.display(),
            bundle.kit,
            bundle.driver.saturating_add(1),
            bundle.version
        ),
        look,
    );
    text.push('\n');
    match &done.sheet {
        Some((_, sheet)) => text.push_str(&view::sheet(sheet, None, look)),
        None => text.push_str(&view::paragraph(
            "No sheet can be computed: there is no take of the driver alone.",
            look,
        )),
    }
    text.push_str(&title("The page and this program", look));
    text.push_str(&view::hanging("  ", &agreement(done), look));
    if let Agreement::Differs(differences) = &done.agreement {
        for difference in differences.iter().take(MOST_DIFFERENCES) {
            text.push_str(&view::hanging("  - ", &difference.to_string(), look));
        }
        if differences.len() > MOST_DIFFERENCES {
            let rest = differences.len() - MOST_DIFFERENCES;
            text.push_str(&format!("  and {rest} more; --json lists them\n"));
        }
    }
    text.push_str(&title("Reply, to be sent back", look));
    for line in done.reply.text.lines() {
        match line.trim_start() {
            "" => text.push('\n'),
            item if item.starts_with("- ") => {
                text.push_str(&view::hanging("  - ", &item[2..], look));
            }
            rest if line.starts_with(' ') => text.push_str(&view::hanging("    ", rest, look)),
            rest => text.push_str(&view::hanging("  ", rest, look)),
        }
    }
    text.push_str("\nWritten\n");
    text.push_str(&format!("  {}\n", done.folder.display()));
    if let Some((path, _)) = &done.sheet {
        text.push_str(&format!("  {}\n", path.display()));
    }
    text.push_str(&format!("  {}\n", done.reply_path.display()));
    text
}

/// The page against this program, in a sentence.
fn agreement(done: &Received) -> String {
    match &done.agreement {
        Agreement::Agrees => {
            "They agree: recordings, verdict, circuit, findings and all figures.".to_owned()
        }
        Agreement::Differs(_) => "They do not agree, although both are of the same version. Do not rely on either before it is \
             known why: compare page.driver.json with the sheet."
            .to_owned(),
        Agreement::Unfounded => {
            "The page has a result, and there is no take here that it could come from. Do not rely on it.".to_owned()
        }
        Agreement::OtherVersion => format!(
            "The page is of version {}, this program of version {}: not compared, since versions may come to other results. \
             What counts is the sheet above.",
            done.arrived.unpacked.bundle.version,
            env!("CARGO_PKG_VERSION")
        ),
        Agreement::Nothing => "The page had concluded nothing.".to_owned(),
    }
}

/// A disagreement in one paragraph, for whoever wants to hear only of what goes wrong.
pub(super) fn doubt(done: &Received) -> String {
    let mut text = format!("{}: {}", done.arrived.path.display(), agreement(done));
    if let Agreement::Differs(differences) = &done.agreement {
        let shown: Vec<String> = differences
            .iter()
            .take(MOST_DIFFERENCES)
            .map(ToString::to_string)
            .collect();
        text.push_str(&format!(" {}.", shown.join("; ")));
    }
    text
}

/// Everything as one document.
pub(super) fn json(
    received: &[Received],
    comparison: Option<&Comparison>,
    notes: &[String],
) -> String {
    let bundles: Vec<serde_json::Value> = received.iter().map(entry).collect();
    let document = json!({ "received": bundles, "comparison": comparison, "notes": notes });
    let text = serde_json::to_string_pretty(&document).unwrap_or_default();
    format!("{text}\n")
}

fn entry(done: &Received) -> serde_json::Value {
    let bundle = &done.arrived.unpacked.bundle;
    let (agreement, differences) = match &done.agreement {
        Agreement::Agrees => ("agrees", vec![]),
        Agreement::Differs(differences) => (
            "differs",
            differences.iter().map(ToString::to_string).collect(),
        ),
        Agreement::Unfounded => ("unfounded", vec![]),
        Agreement::OtherVersion => ("other-version", vec![]),
        Agreement::Nothing => ("nothing-concluded", vec![]),
    };
    let again: Vec<serde_json::Value> = done
        .reply
        .again
        .iter()
        .map(|request| {
            json!({ "takes": request.takes, "why": request.why, "advice": request.advice })
        })
        .collect();
    json!({
        "bundle": done.arrived.path.display().to_string(),
        "kit": bundle.kit,
        "driver": bundle.driver,
        "version": bundle.version,
        "folder": done.folder.display().to_string(),
        "agreement": agreement,
        "differences": differences,
        "again": again,
        "missing": done.reply.missing,
        "reply": done.reply.text,
        "sheet": done.sheet.as_ref().map(|(_, sheet)| sheet),
    })
}
