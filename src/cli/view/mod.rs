//! A sheet as a person reads it: table, where the doubt comes from, findings, plot.

mod chat;
mod comparison;
mod doubts;
mod findings;
mod levels;
mod parameters;
mod plot;
mod text;

use farcone::sheet::Sheet;

use super::console::Look;
pub use text::wrapped;
use text::{Tint, tinted};

pub use chat::{chat, origin, received};
pub use comparison::{claims, comparison, running_in};
pub use parameters::Truths;
pub use plot::plot;

/// Everything but the plot. With `truths`, they stand beside the results.
pub fn sheet(sheet: &Sheet, truths: Option<&Truths>, look: Look) -> String {
    let mut out = heading(sheet, look);
    out.push_str(&parameters::table(sheet, truths, look));
    out.push_str(&doubts::list(sheet, look));
    out.push_str(&findings::list(&sheet.findings, look));
    out.push_str(&levels::table(sheet, look));
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
