//! Sheets side by side, as a person reads them.

use farcone::compare::{Change, Comparison, Figure, Held, Judged, Row, RunIn, Whether};
use farcone::parameters::Key;
use farcone::quantity::{DisplayUnit, format_estimate};

use super::parameters::{Shape, shape};
use super::text::{Side, Tint, columns, harmless, tinted};
use super::{item, title};
use crate::cli::console::Look;

/// Pairs that are listed; of many units the rest are no match anyway.
const MOST_PAIRS: usize = 6;

/// The table, the pairs and the odd one. Where the sheets are one unit before and after, pairs mean nothing.
pub fn comparison(comparison: &Comparison, one_unit: bool, look: Look) -> String {
    let mut out = title("Side by side", look);
    let sheets = comparison.labels.iter().zip(&comparison.verdicts);
    for (i, (label, verdict)) in sheets.enumerate() {
        let first = format!("  {}  ", letter(i));
        out.push_str(&item(&first, &named(label, verdict), look));
    }
    out.push_str(&table(comparison, look));
    if one_unit {
        return out;
    }
    out.push_str(&title("Which match", look));
    if comparison.pairs.is_empty() {
        out.push_str(&item(
            "  ",
            "The sheets have too little in common: fs and Qts at least are needed.",
            look,
        ));
    }
    for pair in comparison.pairs.iter().take(MOST_PAIRS) {
        let (a, b) = pair.units;
        let differ: Vec<&str> = pair
            .differ_in
            .iter()
            .map(|&key| shape(key).symbol)
            .collect();
        let how = if differ.is_empty() {
            String::from("alike within what takes and set-ups explain")
        } else {
            format!("differ beyond doubt in {}", differ.join(", "))
        };
        let first = format!(
            "  {} and {}  {:.1} % apart  ",
            letter(a),
            letter(b),
            100.0 * pair.apart
        );
        out.push_str(&item(&first, &how, look));
    }
    if comparison.pairs.len() > MOST_PAIRS {
        let rest = comparison.pairs.len() - MOST_PAIRS;
        out.push_str(&item(
            "  ",
            &format!("{rest} more pairs are further apart; --json lists them."),
            look,
        ));
    }
    out.push_str(&item(
        "  ",
        "Apart: root mean square of the differences in fs, Qts and Vas, which are what a common box hears.",
        look,
    ));
    if comparison.labels.len() > 2 {
        let text = match &comparison.odd {
            Some(odd) => format!(
                "The odd one is {}: its {} is {:+.1} % off the middle of the others, {:.1} joint uncertainties.",
                letter(odd.unit),
                shape(odd.key).symbol,
                100.0 * odd.difference.relative,
                odd.difference.in_uncertainties.map_or(0.0, f64::abs)
            ),
            None => String::from("No unit stands out from the others beyond doubt."),
        };
        out.push_str(&item("  ", &text, look));
    }
    out
}

/// A, B, C …; beyond Z with a number.
fn letter(i: usize) -> String {
    match u8::try_from(i) {
        Ok(n) if n < 26 => char::from(b'A' + n).to_string(),
        _ => format!("#{}", i + 1),
    }
}

fn table(comparison: &Comparison, look: Look) -> String {
    let n = comparison.labels.len();
    let mut head = vec![String::new()];
    let mut sides = vec![Side::Left];
    for i in 0..n {
        head.extend([letter(i), String::from("±")]);
        sides.extend([Side::Right, Side::Right]);
    }
    head.extend(["unit", "spread", "joint u"].map(String::from));
    sides.extend([Side::Left, Side::Right, Side::Right]);
    let mut rows = vec![head];
    rows.extend(comparison.rows.iter().map(row));
    let mut out = String::from("\n");
    for (i, line) in columns(&rows, &sides).iter().enumerate() {
        let line = if i == 0 {
            tinted(line, Tint::Faint, look)
        } else {
            line.clone()
        };
        out.push_str(&format!("{line}\n"));
    }
    out.push_str(&item(
        "  ",
        "±: 95 %, takes and set-up together. Spread: largest less smallest. Joint u: the largest difference in joint standard \
         uncertainties; beyond 3 it is no chance. ?: not known.",
        look,
    ));
    out
}

fn row(row: &Row) -> Vec<String> {
    let Shape { symbol, unit, .. } = shape(row.key);
    let mut cells = vec![symbol.to_owned()];
    for figure in &row.figures {
        match figure {
            Some(figure) => cells.extend(shown(figure, unit)),
            None => cells.extend([String::from("–"), String::new()]),
        }
    }
    cells.push(unit.symbol().to_owned());
    // A level has no natural zero that a percentage could refer to.
    let spread = row.spread.filter(|_| unit != DisplayUnit::Decibel);
    cells.push(spread.map_or(String::new(), |spread| format!("{:.1} %", 100.0 * spread)));
    cells.push(
        row.largest
            .map_or_else(|| String::from("?"), |z| format!("{z:.1}")),
    );
    cells
}

fn shown(figure: &Figure, unit: DisplayUnit) -> [String; 2] {
    let shown = format_estimate(figure.value, figure.half_width_95, unit);
    [shown.value, shown.plus_minus.replace("unknown", "?")]
}

/// What running-in did.
pub fn running_in(run_in: &RunIn, look: Look) -> String {
    let mut out = title("Before and after running-in", look);
    let rows: Vec<Vec<String>> = run_in.changes.iter().map(change).collect();
    let sides = [Side::Left, Side::Right, Side::Right, Side::Left];
    for line in columns(&rows, &sides) {
        out.push_str(&format!("{line}\n"));
    }
    let unexplained: Vec<&str> = run_in
        .unexplained()
        .map(|change| shape(change.key).symbol)
        .collect();
    let text = if !unexplained.is_empty() {
        format!(
            "Running-in does not explain what {} did: another unit, another set-up, or damage.",
            unexplained.join(", ")
        )
    } else if run_in.softened() {
        String::from("The suspension gave way, and nothing else moved beyond doubt.")
    } else {
        String::from("Nothing moved beyond doubt.")
    };
    out.push_str(&item("  ", &text, look));
    out
}

fn change(change: &Change) -> Vec<String> {
    let meaning = match change.whether {
        Whether::Steady => "steady within doubt",
        Whether::AsExpected => "as a softer suspension has it",
        Whether::Unexplained => "not explained by running-in",
        _ => "",
    };
    vec![
        shape(change.key).symbol.to_owned(),
        format!("{:+.1} %", 100.0 * change.difference.relative),
        joint(change.difference.in_uncertainties),
        meaning.to_owned(),
    ]
}

fn joint(z: Option<f64>) -> String {
    z.map_or_else(|| String::from("?"), |z| format!("{:.1} u", z.abs()))
}

/// A sheet's label, with its verdict where that is not good.
fn named(label: &str, verdict: &str) -> String {
    let label = harmless(label);
    match verdict {
        "good" => label,
        "usable" => format!("{label} (verdict usable: mind the cautions in its sheet)"),
        _ => format!(
            "{label} (verdict redo: its takes have to be made again, and its figures prove nothing)"
        ),
    }
}

/// A seller's claims against one sheet.
pub fn claims(label: &str, verdict: &str, held: &[Held], look: Look) -> String {
    let of = format!("What is claimed of {}", named(label, verdict));
    let mut out = title(&of, look);
    let mut rows = vec![
        ["", "claimed", "measured", "±", "unit", "off by", "", ""]
            .map(str::to_owned)
            .to_vec(),
    ];
    rows.extend(held.iter().map(claim));
    let sides = [
        Side::Left,
        Side::Right,
        Side::Right,
        Side::Right,
        Side::Left,
        Side::Right,
        Side::Right,
        Side::Left,
    ];
    for (i, line) in columns(&rows, &sides).iter().enumerate() {
        let line = if i == 0 {
            tinted(line, Tint::Faint, look)
        } else {
            line.clone()
        };
        out.push_str(&format!("{line}\n"));
    }
    let count = |judged| held.iter().filter(|claim| claim.judged == judged).count();
    let text = format!(
        "{} of {} claims hold, {} do not, {} cannot be told. A claim holds within the 95 % interval of what was measured, set-ups \
         included.",
        count(Judged::Holds),
        held.len(),
        count(Judged::Fails),
        count(Judged::CannotTell)
    );
    out.push_str(&item("  ", &text, look));
    out
}

fn claim(held: &Held) -> Vec<String> {
    let Shape { symbol, unit, .. } = shape(held.key);
    let claimed = claimed(held, unit);
    let [measured, plus_minus] = held.measured.as_ref().map_or_else(
        || [String::from("–"), String::new()],
        |figure| shown(figure, unit),
    );
    let is_level = matches!(held.key, Key::Level1w | Key::Level2v83);
    let off = held.difference.map_or(String::new(), |d| {
        if is_level {
            format!("{:+.1} dB", d.absolute)
        } else {
            format!("{:+.1} %", 100.0 * d.relative)
        }
    });
    let verdict = match held.judged {
        Judged::Holds => "holds",
        Judged::Fails => "does not hold",
        _ => "cannot be told",
    };
    vec![
        symbol.to_owned(),
        claimed,
        measured,
        plus_minus,
        unit.symbol().to_owned(),
        off,
        joint(held.difference.and_then(|d| d.in_uncertainties)),
        verdict.to_owned(),
    ]
}

/// The claim to the digits that a person would type: six are more than any seller states.
fn claimed(held: &Held, unit: DisplayUnit) -> String {
    let value = unit.from_si(held.claimed.value);
    let decimals = (5 - value.abs().log10().floor() as i32).clamp(0, 9) as usize;
    let text = format!("{value:.decimals$}");
    if text.contains('.') {
        text.trim_end_matches('0').trim_end_matches('.').to_owned()
    } else {
        text
    }
}
