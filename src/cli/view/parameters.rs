//! The table of parameters.

use farcone::air::Air;
use farcone::bench::{InventedDriver, Truth};
use farcone::parameters::Key;
use farcone::quantity::{DisplayUnit, format_estimate};
use farcone::sheet::{ParameterEntry, Sheet};

use super::text::{Side, Tint, columns, tinted};
use super::{item, title};
use crate::cli::console::Look;

/// How a parameter is called and shown.
pub(super) struct Shape {
    pub symbol: &'static str,
    pub unit: DisplayUnit,
    pub what: &'static str,
}

pub(super) fn shape(key: Key) -> Shape {
    Shape {
        symbol: key.symbol(),
        unit: key.display_unit(),
        what: key.in_short(),
    }
}

/// What an analysis of an invented driver should find.
pub struct Truths {
    truth: Truth,
    vas_m3: f64,
}

impl Truths {
    /// The truth about a driver in this air.
    pub fn new(driver: &InventedDriver, air: &Air) -> Self {
        let truth = driver.truth();
        Self {
            vas_m3: truth.vas_m3(air.bulk_modulus_pa()),
            truth,
        }
    }

    /// One parameter, where the driver's constants fix it.
    fn of(&self, key: Key) -> Option<f64> {
        let truth = &self.truth;
        Some(match key {
            Key::Fs => truth.fs_hz,
            Key::Re => truth.re_ohm,
            Key::Qms => truth.qms,
            Key::Qes => truth.qes,
            Key::Qts => truth.qts,
            Key::Vas => self.vas_m3,
            Key::Mms => truth.mms_kg,
            Key::Cms => truth.cms_m_per_n,
            Key::Rms => truth.rms_kg_per_s,
            Key::Bl => truth.bl_t_m,
            Key::Sd => truth.sd_m2,
            Key::Le1khz => truth.le_1khz_h,
            Key::Le10khz => truth.le_10khz_h,
            _ => return None,
        })
    }
}

pub(super) fn table(sheet: &Sheet, truths: Option<&Truths>, look: Look) -> String {
    let known: Vec<(Key, &ParameterEntry)> = Key::ALL
        .iter()
        .filter_map(|&key| Some((key, sheet.parameters.get(key)?)))
        .collect();
    if known.is_empty() {
        return String::from("\nNo parameter can be told from these takes.\n");
    }
    let mut head = vec!["", "value", "± takes", "± set-up", "unit"];
    let mut sides = vec![
        Side::Left,
        Side::Right,
        Side::Right,
        Side::Right,
        Side::Left,
    ];
    if truths.is_some() {
        head.extend(["truth", "off by"]);
        sides.extend([Side::Right, Side::Right]);
    } else {
        head.push("");
        sides.push(Side::Left);
    }
    let mut rows = vec![head.into_iter().map(str::to_owned).collect()];
    rows.extend(known.iter().map(|(key, entry)| row(*key, entry, truths)));
    let mut out = title("Parameters", look);
    for (i, line) in columns(&rows, &sides).iter().enumerate() {
        let tint = if i == 0 {
            tinted(line, Tint::Faint, look)
        } else {
            line.clone()
        };
        out.push_str(&format!("{tint}\n"));
    }
    out.push_str(&remarks(sheet, &known, truths, look));
    out
}

fn row(key: Key, entry: &ParameterEntry, truths: Option<&Truths>) -> Vec<String> {
    let Shape { symbol, unit, what } = shape(key);
    let takes = format_estimate(entry.value, entry.half_width_takes(), unit);
    let setup = entry.half_width_setup().map_or_else(
        || String::from("?"),
        |half| format_estimate(entry.value, Some(half), unit).plus_minus,
    );
    let mut row = vec![
        symbol.to_owned(),
        takes.value.clone(),
        takes.plus_minus.replace("unknown", "?"),
        setup,
        takes.unit.to_owned(),
    ];
    match truths {
        None => row.push(what.to_owned()),
        Some(truths) => {
            let decimals = takes
                .value
                .split_once('.')
                .map_or(0, |(_, digits)| digits.len());
            let shown = truths.of(key).map(|truth| {
                let (truth, off) = (unit.from_si(truth), unit.from_si(entry.value - truth));
                [format!("{truth:.decimals$}"), signed(off, decimals)]
            });
            row.extend(shown.unwrap_or_default());
        }
    }
    row
}

/// A difference with its sign; none for one that rounds to nothing.
fn signed(off: f64, decimals: usize) -> String {
    let text = format!("{off:+.decimals$}");
    match text.bytes().any(|byte| (b'1'..=b'9').contains(&byte)) {
        true => text,
        false => format!("{:.decimals$}", 0.0),
    }
}

/// What the table means, what it lacks, and what follows from it.
fn remarks(
    sheet: &Sheet,
    known: &[(Key, &ParameterEntry)],
    truths: Option<&Truths>,
    look: Look,
) -> String {
    let is_measured = |entry: &ParameterEntry| entry.setup_origin.as_deref() == Some("measured");
    let origin = if known.iter().any(|(_, entry)| is_measured(entry)) {
        "measured from the remounted takes where they tell it, else assumed from common practice"
    } else {
        "assumed from common practice"
    };
    let mut out = item(
        "  ",
        &format!(
            "± takes: 95 % interval within these takes. ± set-up: what changes when the driver is taken out and put back, \
             also 95 % ({origin}). ?: not known."
        ),
        look,
    );
    if let Some(peak_v) = sheet.conditions.driver_peak_v {
        let shown = format!(
            "Level: {:.0} mV peak across the driver at its resonance.",
            1000.0 * peak_v
        );
        out.push_str(&item("  ", &shown, look));
    }
    if sheet.parameters.level_1w.is_some() {
        out.push_str(&item(
            "  ",
            "SPL: level at 1 m into half space, re 20 µPa, for 1 W into Re and for 2.83 V across it.",
            look,
        ));
    }
    if let Some(rating) = sheet.derived_rating_ohm {
        out.push_str(&item(
            "  ",
            &format!("Rating {rating} Ω (derived: the highest standard rating of which 80 % lies below |Z| min)"),
            look,
        ));
    }
    if let Some(circuit) = &sheet.circuit {
        let creep = circuit.values.get("creep").map_or(String::new(), |creep| {
            format!(", with suspension creep λ = {:.1e}", creep.value)
        });
        let n_averaged = circuit
            .candidates
            .iter()
            .filter(|candidate| candidate.weight > 0.0)
            .count();
        out.push_str(&item(
            "  ",
            &format!(
                "Coil model: {}{creep}; {} circuits compared, {n_averaged} averaged",
                circuit.coil,
                circuit.candidates.len()
            ),
            look,
        ));
    }
    let absent: Vec<&str> = Key::ALL
        .iter()
        .filter(|&&key| sheet.parameters.get(key).is_none())
        .map(|&key| shape(key).symbol)
        .collect();
    if !absent.is_empty() {
        out.push_str(&item(
            "  ",
            &format!(
                "Absent, since these takes cannot tell: {}. The findings say why.",
                absent.join(", ")
            ),
            look,
        ));
    }
    if let Some(truths) = truths {
        let judged = known.iter().filter_map(|(key, entry)| {
            let truth = truths.of(*key)?;
            let [low, high] = entry.interval_95?;
            Some((low..=high).contains(&truth))
        });
        let inside: Vec<bool> = judged.collect();
        out.push_str(&item(
            "  ",
            &format!(
                "The truth lies within the 95 % interval for {} of {} parameters.",
                inside.iter().filter(|inside| **inside).count(),
                inside.len()
            ),
            look,
        ));
    }
    out
}
