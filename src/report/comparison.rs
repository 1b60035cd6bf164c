//! Several sheets side by side.

use super::letter;
use super::markup::{Cell, Level, Table, escaped, paragraph, remark, section};
use crate::compare::{Comparison, Figure, Row, compare};
use crate::quantity::{DisplayUnit, format_estimate};
use crate::sheet::Sheet;

/// Pairs that are listed; of many units the rest are no match anyway.
const MOST_PAIRS: usize = 6;

pub fn section_of(sheets: &[Sheet]) -> String {
    let comparison = compare(sheets);
    let mut body = table(&comparison);
    body.push_str(&pairs(&comparison));
    section("comparison", "Side by side", Level(2), &body)
}

fn table(comparison: &Comparison) -> String {
    let letters: Vec<String> = (0..comparison.labels.len()).map(letter).collect();
    // The sheets stand first: on a telephone they are what is looked for.
    let mut head = vec![("parameter", false), ("unit", false)];
    head.extend(letters.iter().map(|letter| (letter.as_str(), true)));
    head.extend([("spread", true), ("joint u", true)]);
    if comparison.rows.is_empty() {
        return paragraph("No sheet has a parameter, so there is nothing to compare.");
    }
    let rows: Vec<Vec<Cell>> = comparison.rows.iter().map(row).collect();
    let table = Table {
        id: "comparison-table",
        caption: "Values with half of their 95 % intervals, takes and set-up together",
        head: &head,
    };
    let said = "Spread: largest less smallest. Joint u: the largest difference in joint standard uncertainties; beyond 3 it is no chance.";
    table.rows(&rows) + &remark(said)
}

fn row(row: &Row) -> Vec<Cell> {
    let unit = row.key.display_unit();
    let mut cells = vec![Cell::Text(row.key.symbol().to_owned())];
    cells.push(Cell::Text(unit.symbol().to_owned()));
    cells.extend(row.figures.iter().map(|figure| {
        Cell::Number(
            figure
                .as_ref()
                .map_or_else(|| String::from("unknown"), |f| shown(f, unit)),
        )
    }));
    // A level has no natural zero that a percentage could refer to.
    let spread = row.spread.filter(|_| unit != DisplayUnit::Decibel);
    cells.push(Cell::Number(spread.map_or_else(
        || String::from("–"),
        |s| format!("{:.1} %", 100.0 * s),
    )));
    let joint = row
        .largest
        .map_or_else(|| String::from("unknown"), |z| format!("{z:.1}"));
    cells.push(Cell::Number(joint));
    cells
}

fn shown(figure: &Figure, unit: DisplayUnit) -> String {
    let shown = format_estimate(figure.value, figure.half_width_95, unit);
    format!("{} ± {}", shown.value, shown.plus_minus)
}

fn pairs(comparison: &Comparison) -> String {
    if comparison.pairs.is_empty() {
        return paragraph(
            "The sheets have too little in common to say which match: fs and Qts at least are needed.",
        );
    }
    let mut items = String::new();
    for pair in comparison.pairs.iter().take(MOST_PAIRS) {
        let differ: Vec<&str> = pair.differ_in.iter().map(|key| key.symbol()).collect();
        let how = match differ.is_empty() {
            true => String::from("alike within what takes and set-ups explain"),
            false => format!("differ beyond doubt in {}", differ.join(", ")),
        };
        let (a, b) = pair.units;
        let said = format!(
            "{} and {}: {:.1} % apart, {how}",
            letter(a),
            letter(b),
            100.0 * pair.apart
        );
        items.push_str(&format!("<li>{}</li>\n", escaped(&said)));
    }
    let mut out = String::new();
    if comparison.labels.len() > 2 {
        let text = match &comparison.odd {
            Some(odd) => format!(
                "The odd one is {}: its {} is {:+.1} % off the middle of the others, {:.1} joint uncertainties.",
                letter(odd.unit),
                odd.key.symbol(),
                100.0 * odd.difference.relative,
                odd.difference.in_uncertainties.map_or(0.0, f64::abs)
            ),
            None => String::from("No unit stands out from the others beyond doubt."),
        };
        out.push_str(&paragraph(&text));
    }
    out.push_str(&format!(
        "<p>Which match, the most alike first:</p>\n<ul>\n{items}</ul>\n"
    ));
    let more = comparison.pairs.len().saturating_sub(MOST_PAIRS);
    let more = if more > 0 {
        format!("{more} more pairs are further apart. ")
    } else {
        String::new()
    };
    out.push_str(&remark(&format!(
        "{more}Apart: root mean square of the differences in fs, Qts and Vas, which are what a common box hears."
    )));
    out
}
