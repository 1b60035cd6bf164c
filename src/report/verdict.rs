//! The verdict and one plain sentence.

use super::markup::{Level, escaped, listed};
use super::{Options, letter, volume};
use crate::parameters::Key;
use crate::quantity::{DisplayUnit, format_estimate};
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
    let again: Vec<String> = grouped_findings(&sheet.findings)
        .into_iter()
        .filter(|(_, finding)| finding.severity == "redo")
        .map(|(takes, finding)| {
            let takes = if takes.is_empty() {
                String::new()
            } else {
                format!("{}: ", takes.join(", "))
            };
            format!(
                "<li>{}</li>\n",
                escaped(&format!("{takes}{}", finding.advice))
            )
        })
        .collect();
    if !again.is_empty() {
        out.push_str(&format!(
            "<p>What to do:</p>\n<ol>\n{}</ol>\n",
            again.concat()
        ));
    } else if class == "redo" {
        out.push_str(
            "<p>What to do: make the takes again and see what the findings say then.</p>\n",
        );
    }
    out.push_str("</section>\n");
    out
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
            let entry = sheet.parameters.get(key)?;
            let unit = key.display_unit();
            let takes = entry.half_width_takes();
            // What somebody far away will find when they mount it.
            let half = match (takes, entry.half_width_setup()) {
                (Some(takes), Some(setup)) => Some(takes.hypot(setup)),
                (takes, setup) => takes.or(setup),
            };
            let shown = format_estimate(entry.value, half, unit);
            let unit = match unit {
                DisplayUnit::Plain => String::new(),
                other => format!(" {}", other.symbol()),
            };
            let doubt = match shown.plus_minus.as_str() {
                "unknown" => String::from(", doubt unknown"),
                doubt => format!(" ± {doubt}"),
            };
            Some(format!("{} is {}{doubt}{unit}", key.symbol(), shown.value))
        })
        .collect();
    if known.is_empty() {
        return format!("No parameter can be told from these takes: {meaning}.");
    }
    format!("{}, takes and set-up together; {meaning}.", listed(&known))
}

/// All verdicts of several sheets, a line each.
pub fn several(sheets: &[Sheet], options: &Options) -> String {
    let mut items = String::new();
    for (i, sheet) in sheets.iter().enumerate() {
        let (class, word, meaning) = words(sheet);
        let said =
            volume::sentence(sheet, options).map_or(String::new(), |said| format!(" {said}"));
        items.push_str(&format!(
            "<li class=\"{class}\"><b>{}</b> <bdi>{}</bdi>: <strong>{word}</strong>. {}{}</li>\n",
            letter(i),
            escaped(&sheet.label),
            escaped(&sentence(sheet, meaning)),
            escaped(&said)
        ));
    }
    let worst = ["redo", "usable", "good"]
        .into_iter()
        .find(|class| sheets.iter().any(|sheet| words(sheet).0 == *class))
        .unwrap_or("redo");
    let n_good = sheets
        .iter()
        .filter(|sheet| words(sheet).0 == "good")
        .count();
    format!(
        "<section class=\"verdict {worst}\" aria-labelledby=\"verdicts\">\n<h2 id=\"verdicts\">Verdicts: <strong>{n_good} of {} good</strong></h2>\n\
         <ul class=\"verdicts\">\n{items}</ul>\n</section>\n",
        sheets.len()
    )
}
