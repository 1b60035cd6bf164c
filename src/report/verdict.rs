//! The verdict and one plain sentence.

use super::markup::{Cell, Level, Table, escaped};
use super::{Options, letter, volume};
use crate::compare::figure;
use crate::parameters::Key;
use crate::quantity::{DisplayUnit, format_estimate, listed};
use crate::sheet::{Sheet, grouped_findings};

/// What a box is chosen by.
const FIRST: [Key; 3] = [Key::Fs, Key::Qts, Key::Vas];

/// What stands first on the page.
pub fn card(sheet: &Sheet, options: &Options, id: &str, level: Level) -> String {
    let Level(h) = level;
    let (class, word, meaning) = words(sheet);
    let landmark = match h {
        2 => format!(" aria-labelledby=\"{id}verdict\""),
        _ => String::new(),
    };
    let mut out = format!(
        "<section class=\"verdict {class}\"{landmark}>\n<h{h} id=\"{id}verdict\">Verdict: <strong>{word}</strong></h{h}>\n\
         <p class=\"plain\">{}</p>\n",
        escaped(&sentence(sheet, meaning))
    );
    if let Some(said) = volume::sentence(sheet, options) {
        out.push_str(&format!("<p class=\"plain\">{}</p>\n", escaped(&said)));
    }
    if class == "redo" {
        out.push_str(&format!("<p>What to do:</p>\n{}", list(&steps(sheet))));
    }
    out.push_str("</section>\n");
    out
}

/// What to do about a sheet whose takes have to be made again. An advice that several findings give stands once, with all of
/// their takes.
fn steps(sheet: &Sheet) -> Vec<String> {
    let mut steps: Vec<(&str, Vec<&str>)> = vec![];
    for (takes, finding) in grouped_findings(&sheet.findings) {
        if finding.severity != "redo" {
            continue;
        }
        let advice = finding.advice.as_str();
        let known = steps.iter().position(|step| step.0 == advice);
        let at = known.unwrap_or_else(|| {
            steps.push((advice, vec![]));
            steps.len() - 1
        });
        for take in takes {
            if !steps[at].1.contains(&take) {
                steps[at].1.push(take);
            }
        }
    }
    if steps.is_empty() {
        let what = "make the takes again and see what the findings say then";
        return vec![what.to_owned()];
    }
    let said = |(advice, takes): (&str, Vec<&str>)| match takes.is_empty() {
        true => advice.to_owned(),
        false => format!("{}: {advice}", takes.join(", ")),
    };
    steps.into_iter().map(said).collect()
}

fn list(steps: &[String]) -> String {
    let items: String = steps
        .iter()
        .map(|step| format!("<li>{}</li>\n", escaped(step)))
        .collect();
    format!("<ol>\n{items}</ol>\n")
}

/// Class, word and meaning of a verdict.
fn words(sheet: &Sheet) -> (&'static str, &'static str, &'static str) {
    match sheet.verdict.as_str() {
        "good" => ("good", "good", "nothing speaks against these numbers"),
        "usable" => ("usable", "usable", "mind the cautions among the findings"),
        _ => ("redo", "redo", "at least one take has to be made again"),
    }
}

fn sentence(sheet: &Sheet, meaning: &str) -> String {
    let known: Vec<String> = FIRST
        .into_iter()
        .filter_map(|key| {
            let entry = figure(sheet, key)?;
            let unit = key.display_unit();
            // What somebody far away will find when they mount it.
            let shown = format_estimate(entry.value, entry.half_width_95, unit);
            Some(format!("{} is {}", key.symbol(), shown.with_doubt()))
        })
        .collect();
    if known.is_empty() {
        return format!("No parameter can be told from these takes: {meaning}.");
    }
    format!("{}, takes and set-up together; {meaning}.", listed(&known))
}

/// All verdicts of several sheets, a row each, and what to do about those that are to be made again.
pub fn several(sheets: &[Sheet], options: &Options) -> String {
    let asked = volume::asked(options);
    let units = FIRST.map(|key| match key.display_unit() {
        DisplayUnit::Plain => key.symbol().to_owned(),
        unit => format!("{}, {}", key.symbol(), unit.symbol()),
    });
    let mut head = vec![("", false), ("driver", false), ("verdict", false)];
    head.extend(units.iter().map(|unit| (unit.as_str(), true)));
    head.extend(asked.iter().map(|asked| (asked.as_str(), false)));
    let rows: Vec<Vec<Cell>> = sheets
        .iter()
        .enumerate()
        .map(|(i, sheet)| {
            let (class, word, _) = words(sheet);
            let mut cells = vec![
                Cell::Text(letter(i)),
                Cell::Markup(format!("<bdi>{}</bdi>", escaped(&sheet.label))),
                Cell::Markup(format!("<strong class=\"{class}\">{word}</strong>")),
            ];
            cells.extend(FIRST.map(|key| {
                Cell::Number(figure(sheet, key).map_or_else(
                    || String::from("unknown"),
                    |figure| {
                        let unit = key.display_unit();
                        let shown = format_estimate(figure.value, figure.half_width_95, unit);
                        format!("{} ± {}", shown.value, shown.plus_minus)
                    },
                ))
            }));
            cells.extend(volume::word(sheet, options).map(Cell::Text));
            cells
        })
        .collect();
    let table = Table {
        id: "verdicts-table",
        caption: "With half of the 95 % intervals, takes and set-up together",
        head: &head,
    };
    let mut body = table.rows(&rows);
    for (i, sheet) in sheets.iter().enumerate() {
        let (class, _, _) = words(sheet);
        if class == "redo" {
            body.push_str(&format!(
                "<p>What to do about {} <bdi>{}</bdi>:</p>\n{}",
                letter(i),
                escaped(&sheet.label),
                list(&steps(sheet))
            ));
        }
    }
    let worst = ["redo", "usable", "good"]
        .into_iter()
        .find(|class| sheets.iter().any(|sheet| words(sheet).0 == *class))
        .unwrap_or("redo");
    let counted: Vec<String> = [
        ("good", "good"),
        ("usable", "usable"),
        ("redo", "to make again"),
    ]
    .into_iter()
    .filter_map(|(class, said)| {
        let n = sheets
            .iter()
            .filter(|sheet| words(sheet).0 == class)
            .count();
        (n > 0).then(|| format!("{n} {said}"))
    })
    .collect();
    format!(
        "<section class=\"verdict {worst}\" aria-labelledby=\"verdicts\">\n<h2 id=\"verdicts\">Verdicts of {}: <strong>{}</strong></h2>\n\
         {body}</section>\n",
        sheets.len(),
        listed(&counted)
    )
}
