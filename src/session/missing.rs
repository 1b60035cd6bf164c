//! Calibrations that are missing, each with what that costs.

use super::typed::TypedList;
use crate::finding::Finding;
use crate::parameters::{Key, SmallSignal};

/// Below this the cost is not worth a figure, percent.
const WORTH_SAYING: f64 = 0.01;

/// A note for each missing calibration; where there are parameters, with the largest standard uncertainty that it leaves in one.
pub(super) fn missing_notes(typed: &TypedList, result: Option<&SmallSignal>) -> Vec<Finding> {
    let wanting = typed
        .0
        .iter()
        .filter_map(|typed| Some((typed, typed.missing.clone()?)));
    wanting
        .map(|(typed, note)| match result {
            Some(result) => with_cost(note, &typed.name, result),
            None => note,
        })
        .collect()
}

fn with_cost(mut note: Finding, source: &str, result: &SmallSignal) -> Finding {
    let costs = Key::MAIN.iter().filter_map(|key| {
        let parameter = result.get(*key)?;
        let line = parameter.budget.iter().find(|line| line.source == source)?;
        Some((
            *key,
            100.0 * (line.standard_uncertainty / parameter.value).abs(),
        ))
    });
    let most = costs.max_by(|a, b| a.1.total_cmp(&b.1));
    let text = match most {
        Some((key, percent)) if percent >= WORTH_SAYING => {
            format!(
                "This costs {percent:.2} % of {}, where it matters most.",
                name(key)
            )
        }
        _ => "This costs next to nothing here.".to_owned(),
    };
    note.message = format!("{} {text}", note.message);
    if let Some((_, percent)) = most {
        note = note.with_evidence(percent, "%", None);
    }
    note
}

/// As people write it.
fn name(key: Key) -> String {
    let text = key.as_str();
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| match key {
        Key::Fs => text.to_owned(),
        _ => first.to_uppercase().chain(letters).collect(),
    })
}
