//! A sheet as a person reads it: table, where the doubt comes from, findings, plot.

mod chat;
mod comparison;
mod dimensions;
mod doubts;
mod findings;
mod levels;
mod parameters;
mod plot;
mod text;

use farcone::quantity::plain_line;
use farcone::sheet::Sheet;

use super::console::Look;
pub use text::wrapped;
use text::{Tint, tinted};

pub use chat::{chat, origin, received};
pub use comparison::{claims, comparison, running_in};
pub use parameters::Truths;
pub use plot::plot;

/// A sheet whose texts may stand on a terminal: it may come from a stranger, and a terminal obeys some of what it prints.
fn plain(sheet: &Sheet) -> Sheet {
    let mut sheet = Sheet {
        curves: vec![],
        ..sheet.clone()
    };
    let mut texts = vec![&mut sheet.label, &mut sheet.verdict];
    for finding in &mut sheet.findings {
        texts.extend([
            &mut finding.code,
            &mut finding.severity,
            &mut finding.message,
            &mut finding.advice,
        ]);
        texts.extend(finding.take.as_mut());
        texts.extend(finding.evidence.as_mut().map(|evidence| &mut evidence.unit));
    }
    let levels = sheet.levels.iter_mut().map(|level| &mut level.take);
    texts.extend(levels);
    texts.extend([&mut sheet.origin.program, &mut sheet.origin.version]);
    for take in &mut sheet.origin.takes {
        texts.extend([&mut take.name, &mut take.condition]);
        texts.extend(&mut take.sha256);
    }
    if let Some(circuit) = &mut sheet.circuit {
        texts.push(&mut circuit.coil);
    }
    for text in texts {
        *text = plain_line(text);
    }
    for key in farcone::parameters::Key::ALL {
        let Some(entry) = sheet.parameters.get_mut(*key) else {
            continue;
        };
        entry.unit = plain_line(&entry.unit);
        for share in &mut entry.budget {
            share.source = plain_line(&share.source);
            share.advice = plain_line(&share.advice);
        }
    }
    sheet
}

/// Everything but the plot. With `truths`, they stand beside the results.
pub fn sheet(sheet: &Sheet, truths: Option<&Truths>, look: Look) -> String {
    let sheet = &plain(sheet);
    let mut out = heading(sheet, look);
    out.push_str(&parameters::table(sheet, truths, look));
    out.push_str(&doubts::list(sheet, look));
    out.push_str(&findings::list(&sheet.findings, look));
    out.push_str(&levels::table(sheet, look));
    out.push_str(&dimensions::list(sheet, look));
    out
}

fn heading(sheet: &Sheet, look: Look) -> String {
    let (tint, meaning) = match sheet.verdict.as_str() {
        "good" => (Tint::Good, "nothing speaks against these numbers"),
        "usable" => (Tint::Caution, "mind the cautions below"),
        _ => (
            Tint::Redo,
            "at least one take has to be made again; see below",
        ),
    };
    let label = tinted(&sheet.label, Tint::Strong, look);
    let verdict = tinted(&sheet.verdict, tint, look);
    format!("{label}\nVerdict: {verdict} ({meaning})\n")
}

/// A line that names what follows.
fn title(name: &str, look: Look) -> String {
    format!("\n{}\n", tinted(name, Tint::Strong, look))
}

/// Text over the whole width.
pub fn paragraph(text: &str, look: Look) -> String {
    item("", text, look)
}

/// What stands out.
pub fn strong(text: &str, look: Look) -> String {
    tinted(text, Tint::Strong, look)
}

/// Text with a hanging indent.
pub fn hanging(first: &str, text: &str, look: Look) -> String {
    item(first, text, look)
}

/// Findings of a sheet, each with its take.
pub fn findings_of_sheet(findings: &[farcone::sheet::Finding], look: Look) -> String {
    findings::list(findings, look)
}

/// Findings that are not in a sheet yet.
pub fn findings_of_take(findings: &[farcone::finding::Finding], look: Look) -> String {
    findings::of_take(findings, look)
}

fn item(first: &str, text: &str, look: Look) -> String {
    let indent = " ".repeat(text::width(first));
    let lines = wrapped(text, look.width.saturating_sub(text::width(first)));
    let mut out = String::new();
    for (i, line) in lines.iter().enumerate() {
        let before = if i == 0 { first } else { &indent };
        out.push_str(&format!("{before}{line}\n"));
    }
    out
}
