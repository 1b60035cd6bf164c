//! Findings with their advice.

use farcone::sheet::{Finding, grouped_findings};

use super::text::{Tint, harmless, tinted};
use super::{item, title};
use crate::cli::console::Look;

/// The findings in the order of the sheet, each with its advice.
pub(super) fn list(findings: &[Finding], look: Look) -> String {
    if findings.is_empty() {
        return String::new();
    }
    let mut out = title("Findings", look);
    for (takes, finding) in grouped_findings(findings) {
        let takes = match takes.is_empty() {
            true => String::new(),
            false => format!("{}: ", takes.join(", ")),
        };
        let message = format!("{takes}{}", finding.message);
        out.push_str(&line(&finding.severity, &message, &finding.advice, look));
    }
    out
}

/// The findings of one take, which is known.
pub(super) fn of_take(findings: &[farcone::finding::Finding], look: Look) -> String {
    findings
        .iter()
        .map(|finding| {
            line(
                finding.severity.as_str(),
                &finding.message,
                &finding.advice,
                look,
            )
        })
        .collect()
}

fn line(severity: &str, message: &str, advice: &str, look: Look) -> String {
    let (first, tint) = match severity {
        "redo" => ("  redo     ", Tint::Redo),
        "caution" => ("  caution  ", Tint::Caution),
        _ => ("  note     ", Tint::Faint),
    };
    let message = harmless(message);
    let advice = harmless(&format!("→ {advice}"));
    // What has to be acted upon gets a line of its own.
    let text = if severity == "note" {
        item(first, &format!("{message} {advice}"), look)
    } else {
        item(first, &message, look) + &item("           ", &advice, look)
    };
    // The word is tinted after the line breaks, which count what is seen.
    text.replacen(first, &tinted(first, tint, look), 1)
}
