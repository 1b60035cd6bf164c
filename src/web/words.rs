//! What results say to somebody who has never done this.

use crate::parameters::Key;
use crate::quantity::format_estimate;
use crate::session::{CheckReading, JigReading};
use crate::sheet::Sheet;

/// An input that draws less than one of this resistance draws nothing worth a word, ohm: of 44 ohm beside it, 0.04 %.
const HIGH_OHM: f64 = 1e5;

/// What a known resistor reads.
pub(super) fn check(check: &CheckReading) -> String {
    let (stated, read) = (check.stated_ohm, check.read_ohm);
    match check.passes() {
        Some(true) => format!("{stated} ohm reads {read:.2} ohm: good."),
        Some(false) if check.one_input => format!(
            "{stated} ohm reads {read:.2} ohm: off by {:.0} %. Check both resistors' values, and that the clip sits on both nodes as \
             in the drawing.",
            100.0 * check.off()
        ),
        Some(false) => format!(
            "{stated} ohm reads {read:.2} ohm: off by {:.0} %. Check both resistors' values, the clips against the drawing, and that \
             the knobs were not touched since both inputs were on one node.",
            100.0 * check.off()
        ),
        None => format!(
            "{stated} ohm calibrates what is recorded from now on; whether the jig is right, it cannot tell by itself."
        ),
    }
}

/// What the other calibration takes say.
pub(super) fn jig(reading: &JigReading) -> Vec<String> {
    let mut said = vec![];
    if let Some(h) = reading.channels {
        said.push(format!(
            "Channel 2 shows {:.2} % of channel 1; that is taken out from now on.",
            100.0 * h.norm()
        ));
    }
    if let Some(ohm) = reading.load_ohm {
        said.push(if ohm.abs() > HIGH_OHM {
            "The inputs draw next to nothing.".to_owned()
        } else {
            format!(
                "The inputs draw like {:.1} kilohm; that is taken out from now on.",
                ohm / 1000.0
            )
        });
    }
    if let Some(ohm) = reading.leads_ohm {
        said.push(format!(
            "The leads have {ohm:.3} ohm; they are taken out from now on."
        ));
    }
    said
}

/// The verdict in a sentence.
pub(super) fn headline(sheet: &Sheet) -> &'static str {
    match sheet.verdict.as_str() {
        "good" => "Good.",
        "usable" => "Usable, but read what was noticed.",
        _ => "Something has to be done again.",
    }
}

/// The values that a helper can talk about.
const SAID: [(Key, &str); 6] = [
    (Key::Fs, "Resonance"),
    (Key::Re, "DC resistance"),
    (Key::Qts, "Total Q"),
    (Key::Vas, "Air as stiff as the suspension"),
    (Key::Mms, "Moving mass"),
    (Key::Bl, "Force factor"),
];

/// Each value with how steady it is.
pub(super) fn sentences(sheet: &Sheet) -> Vec<String> {
    SAID.iter()
        .filter_map(|(key, name)| {
            let entry = sheet.parameters.get(*key)?;
            let shown =
                format_estimate(entry.value, entry.standard_uncertainty, key.display_unit());
            let value = format!("{name} {} {}", shown.value, shown.unit);
            let steady = entry
                .standard_uncertainty
                .map(|u| format!(", steady within {} %", percent(2.0 * u / entry.value.abs())));
            Some(format!(
                "{}{}.",
                value.trim_end(),
                steady.unwrap_or_default()
            ))
        })
        .collect()
}

/// A part in percent with two digits.
fn percent(part: f64) -> String {
    let percent = 100.0 * part;
    if percent >= 10.0 {
        format!("{percent:.0}")
    } else if percent >= 1.0 {
        format!("{percent:.1}")
    } else {
        format!("{percent:.2}")
    }
}
