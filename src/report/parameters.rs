//! The table of parameters, and what was measured and what derived.

use super::markup::{Cell, Level, Table, paragraph, remark, section};
use crate::parameters::Key;
use crate::quantity::{DisplayUnit, format_estimate};
use crate::sheet::{ParameterEntry, Sheet};

pub fn table(sheet: &Sheet, id: &str, level: Level) -> String {
    let known: Vec<(Key, &ParameterEntry)> = Key::ALL
        .iter()
        .filter_map(|&key| Some((key, sheet.parameters.get(key)?)))
        .collect();
    let heading = format!("{id}parameters");
    let mut body = if known.is_empty() {
        paragraph("No parameter can be told from these takes. The findings say why and what to do.")
    } else {
        let rows: Vec<Vec<Cell>> = Key::ALL.iter().map(|&key| row(sheet, key)).collect();
        let caption =
            "Values with half of their 95 % intervals; unknown is what these takes cannot tell";
        Table {
            id: &format!("{id}parameters-table"),
            caption,
            head: &[
                ("parameter", false),
                ("unit", false),
                ("value", true),
                ("± takes", true),
                ("± set-up", true),
                ("meaning", false),
                ("how", false),
            ],
        }
        .rows(&rows)
    };
    if !known.is_empty() {
        body.push_str(&remark(&format!(
            "± takes: within these takes. ± set-up: what changes when the driver is taken out and put back ({}). ?: nobody knows it.",
            setup_origin(&known)
        )));
    }
    if let Some(rating) = sheet.derived_rating_ohm {
        body.push_str(&remark(&format!(
            "Rating {rating} Ω: derived, the highest standard rating of which 80 % lies below the least impedance; not the maker's."
        )));
    }
    section(&heading, "Parameters", level, &body)
}

fn setup_origin(known: &[(Key, &ParameterEntry)]) -> &'static str {
    let has = |origin: &str| {
        known
            .iter()
            .any(|(_, entry)| entry.setup_origin.as_deref() == Some(origin))
    };
    match (has("measured"), has("assumed")) {
        (true, true) => {
            "measured from remounted takes where they tell it, else assumed from common practice"
        }
        (true, false) => "measured from remounted takes",
        (false, true) => "assumed from common practice",
        (false, false) => "nobody knows it",
    }
}

fn row(sheet: &Sheet, key: Key) -> Vec<Cell> {
    let unit = key.display_unit();
    let mut cells = vec![
        Cell::Text(key.symbol().to_owned()),
        Cell::Text(symbol(unit).to_owned()),
    ];
    match sheet.parameters.get(key) {
        Some(entry) => {
            let takes = format_estimate(entry.value, entry.half_width_takes(), unit);
            let setup = format_estimate(entry.value, entry.half_width_setup(), unit);
            cells.push(Cell::Number(takes.value));
            cells.extend(
                [takes.plus_minus, setup.plus_minus].map(|half| match half.as_str() {
                    "unknown" => Cell::Unknown,
                    _ => Cell::Number(half),
                }),
            );
        }
        None => {
            let unknown = String::from("unknown");
            cells.extend([unknown, String::from("–"), String::from("–")].map(Cell::Number));
        }
    }
    cells.push(Cell::Text(key.in_short().to_owned()));
    cells.push(Cell::Text(how(key).to_owned()));
    cells
}

fn symbol(unit: DisplayUnit) -> &'static str {
    unit.symbol()
}

/// Where a parameter comes from.
fn how(key: Key) -> &'static str {
    match key {
        Key::Fs | Key::Re | Key::Qms | Key::Qes | Key::Qts | Key::Le1khz | Key::Le10khz => "fitted",
        Key::MinimumImpedance => "fitted",
        Key::Mms | Key::Cms | Key::Rms | Key::Bl => "fitted, with load",
        Key::Sd => "typed",
        Key::Vas | Key::Mmd | Key::Efficiency | Key::Level1w | Key::Level2v83 => "derived",
    }
}
