//! Findings with their advice.

use farcone::sheet::Finding;

use super::text::{Tint, harmless, tinted};
use super::{item, title};
use crate::cli::console::Look;

/// The findings in the order of the sheet, each with its advice.
pub(super) fn list(findings: &[Finding], look: Look) -> String {
    if findings.is_empty() {
        return String::new();
    }
    let mut out = title("Findings", look);
    for finding in findings {
        let (first, tint) = match finding.severity.as_str() {
            "redo" => ("  redo     ", Tint::Redo),
            "caution" => ("  caution  ", Tint::Caution),
            _ => ("  note     ", Tint::Faint),
        };
        let take = finding
            .take
            .as_ref()
            .map_or_else(String::new, |take| format!("{take}: "));
        let message = harmless(&format!("{take}{}", finding.message));
        let advice = harmless(&format!("→ {}", finding.advice));
        // What has to be acted upon gets a line of its own.
        let text = if finding.severity == "note" {
            item(first, &format!("{message} {advice}"), look)
        } else {
            item(first, &message, look) + &item("           ", &advice, look)
        };
        // The word is tinted after the line breaks, which count what is seen.
        out.push_str(&text.replacen(first, &tinted(first, tint, look), 1));
    }
    out
}
