//! Where the doubt comes from, as bars.

use super::markup::{Cell, Level, Table, escaped, remark, section};
use crate::parameters::Key;
use crate::sheet::{Share, Sheet};

/// What a box is designed with.
const MAIN: [Key; 8] = [
    Key::Fs,
    Key::Re,
    Key::Qms,
    Key::Qes,
    Key::Qts,
    Key::Vas,
    Key::Mms,
    Key::Bl,
];
/// Sources that are shown of each; the rest stands together.
const MOST_SOURCES: usize = 3;
/// Smaller shares change nothing.
const LEAST_SHARE: f64 = 0.01;

pub fn bars(sheet: &Sheet, id: &str, level: Level) -> String {
    let mut rows = vec![];
    let mut advice: Vec<(&str, &str)> = vec![];
    for key in MAIN {
        let Some(entry) = sheet.parameters.get(key) else {
            continue;
        };
        let shown: Vec<&Share> = entry
            .budget
            .iter()
            .filter(|share| share.share >= LEAST_SHARE)
            .take(MOST_SOURCES)
            .collect();
        for (i, share) in shown.iter().enumerate() {
            let pair = (share.source.as_str(), share.advice.as_str());
            if i == 0 && !advice.contains(&pair) {
                advice.push(pair);
            }
        }
        if !shown.is_empty() {
            rows.push(row(key, &shown));
        }
    }
    if rows.is_empty() {
        return String::new();
    }
    let table = Table {
        id: &format!("{id}budget-table"),
        caption: "Shares of the variance within these takes, the largest first",
        head: &[("parameter", false), ("source of doubt", false)],
    };
    let mut body = table.rows(&rows);
    let items: String = advice
        .iter()
        .map(|(source, advice)| format!("<li>{}</li>\n", escaped(&format!("{source}: {advice}"))))
        .collect();
    body.push_str(&format!(
        "<p>What would help most:</p>\n<ul>\n{items}</ul>\n"
    ));
    body.push_str(&remark(
        "Shares are of the variance, so that they add up to one; sources below one per cent are left out.",
    ));
    section(
        &format!("{id}budget"),
        "Where the doubt comes from",
        level,
        &body,
    )
}

fn row(key: Key, shown: &[&Share]) -> Vec<Cell> {
    let bars: String = shown
        .iter()
        .map(|share| {
            let percent = (100.0 * share.share).clamp(0.0, 100.0);
            format!(
                "<div class=\"share\"><svg class=\"bar\" aria-hidden=\"true\" viewBox=\"0 0 100 10\" preserveAspectRatio=\"none\">\
                 <rect class=\"rail\" width=\"100\" height=\"10\"/><rect class=\"full\" width=\"{percent:.1}\" height=\"10\"/></svg>\
                 <span class=\"percent\">{percent:.0} %</span> <span>{}</span></div>",
                escaped(&share.source)
            )
        })
        .collect();
    vec![Cell::Text(key.symbol().to_owned()), Cell::Markup(bars)]
}
