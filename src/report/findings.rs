//! Findings with their advice.

use super::markup::{Level, escaped, paragraph, section};
use crate::sheet::{Sheet, grouped_findings};

pub fn list(sheet: &Sheet, id: &str, level: Level) -> String {
    let heading = format!("{id}findings");
    let groups = grouped_findings(&sheet.findings);
    if groups.is_empty() {
        let body = paragraph("Nothing was noticed.");
        return section(&heading, "Findings", level, &body);
    }
    let mut items = String::new();
    // What has to be acted upon comes first; within that the sheet's order stays.
    for severity in ["redo", "caution", "note"] {
        for (takes, finding) in groups.iter().filter(|(_, f)| rank(&f.severity) == severity) {
            let takes = match takes.is_empty() {
                true => String::new(),
                false => format!(
                    "<span class=\"takes\">{}</span> ",
                    escaped(&takes.join(", "))
                ),
            };
            items.push_str(&format!(
                "<li class=\"{severity}\"><span class=\"severity\">{severity}</span> {takes}{}<br><span class=\"advice\">{}</span></li>\n",
                escaped(&finding.message),
                escaped(&format!("→ {}", finding.advice))
            ));
        }
    }
    section(
        &heading,
        "Findings",
        level,
        &format!("<ul class=\"findings\">\n{items}</ul>\n"),
    )
}

/// A severity that this version does not know is no reason to hide a finding.
fn rank(severity: &str) -> &'static str {
    match severity {
        "redo" => "redo",
        "note" => "note",
        _ => "caution",
    }
}
