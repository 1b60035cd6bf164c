//! Conditions and jig, levels, mounting dimensions, what was measured and derived, cautions, origin.

use super::draw::load_unit;
use super::markup::{Cell, Level, Table, escaped, off_paper, paragraph, remark, section};
use crate::parameters::Key;
use crate::quantity::{COVERAGE_95, DisplayUnit, Shown, format_estimate, listed};
use crate::sheet::{Sheet, StatedEntry, ValueEntry};

/// 0 °C in kelvin.
const ZERO_CELSIUS_K: f64 = 273.15;

pub fn sections(sheet: &Sheet, id: &str, level: Level) -> String {
    let mut out = conditions(sheet, id, level);
    out.push_str(&levels(sheet, id, level));
    out.push_str(&off_paper(&measured_and_derived(sheet, id, level), level));
    out.push_str(&dimensions(sheet, id, level));
    out.push_str(&cautions(sheet, id, level));
    out.push_str(&origin(sheet, id, level));
    out
}

fn facts(id: &str, caption: &str, facts: &[(&str, String)]) -> String {
    let rows: Vec<Vec<Cell>> = facts
        .iter()
        .map(|(what, text)| vec![Cell::Text((*what).to_owned()), Cell::Text(text.clone())])
        .collect();
    Table {
        id,
        caption,
        head: &[("what", false), ("value", false)],
    }
    .rows(&rows)
}

fn stated(entry: &StatedEntry, unit: DisplayUnit) -> String {
    let half_width = entry.standard_uncertainty.map(|u| COVERAGE_95 * u);
    format_estimate(entry.value, half_width, unit).with_doubt()
}

/// What a take was made with.
fn loaded_with(entry: &StatedEntry) -> String {
    match load_unit(entry) {
        Some(unit) => stated(entry, unit),
        None => String::new(),
    }
}

fn conditions(sheet: &Sheet, id: &str, level: Level) -> String {
    let conditions = &sheet.conditions;
    let air = &conditions.air;
    let u = air
        .temperature
        .standard_uncertainty
        .map(|u| COVERAGE_95 * u);
    let celsius = air.temperature.value - ZERO_CELSIUS_K;
    let celsius = Shown {
        unit: "°C",
        ..format_estimate(celsius, u, DisplayUnit::Plain)
    };
    let mut rows = vec![
        ("temperature", celsius.with_doubt()),
        ("pressure", stated(&air.pressure, DisplayUnit::Hectopascal)),
        (
            "relative humidity",
            stated(&air.relative_humidity, DisplayUnit::Percent),
        ),
        (
            "air, derived",
            format!(
                "{:.3} kg/m³, {:.1} m/s",
                air.density_kg_per_m3, air.speed_of_sound_m_per_s
            ),
        ),
    ];
    match &conditions.jig {
        Some(jig) => {
            rows.push(("wiring", jig.wiring.replace('-', " ")));
            rows.push(("sense resistor", stated(&jig.sense, DisplayUnit::Ohm)));
            let leads = jig.leads.as_ref();
            rows.push((
                "leads",
                leads.map_or_else(
                    || String::from("measured by a take"),
                    |l| stated(l, DisplayUnit::Ohm),
                ),
            ));
            let input = jig.input_load.as_ref();
            // Takes with open leads measure it.
            let is_measured = jig
                .calibrated_by
                .iter()
                .any(|name| name.starts_with("open-leads"));
            let none = || {
                String::from(match is_measured {
                    true => "measured by a take",
                    false => "none stated: taken as infinite",
                })
            };
            rows.push((
                "input load",
                input.map_or_else(none, |l| stated(l, DisplayUnit::Ohm)),
            ));
            let by = match jig.calibrated_by.is_empty() {
                true => String::from("no take"),
                false => jig.calibrated_by.join(", "),
            };
            rows.push(("calibrated by", by));
        }
        None => rows.push((
            "jig",
            String::from("none: all takes are tables from other instruments"),
        )),
    }
    let level_text = match (conditions.level_dbfs, conditions.driver_peak_v) {
        (_, Some(volt)) => format!(
            "{:.0} mV peak across the driver at its resonance",
            1000.0 * volt
        ),
        (Some(dbfs), None) => format!("{dbfs:.1} dBFS RMS at channel 1; volts unknown"),
        (None, None) => String::from("unknown"),
    };
    rows.push(("level", level_text));
    let [low, high] = conditions.band_hz;
    rows.push(("band used", format!("{low:.0} Hz to {high:.0} Hz")));
    let table = facts(
        &format!("{id}conditions-table"),
        "What the takes were made in, with half of the 95 % intervals",
        &rows,
    );
    section(
        &format!("{id}conditions"),
        "Conditions and jig",
        level,
        &table,
    )
}

fn levels(sheet: &Sheet, id: &str, level: Level) -> String {
    let Some(first) = sheet.levels.first() else {
        return String::new();
    };
    let rows: Vec<Vec<Cell>> = sheet
        .levels
        .iter()
        .map(|entry| {
            let shown = |value: &ValueEntry, unit| {
                Cell::Number(format_estimate(value.value, value.standard_uncertainty, unit).value)
            };
            let volts = entry.driver_peak_v;
            vec![
                Cell::Text(entry.take.clone()),
                Cell::Number(format!("{:.0}", entry.playback_dbfs)),
                Cell::Number(
                    volts.map_or_else(|| String::from("unknown"), |v| format!("{:.0}", 1000.0 * v)),
                ),
                shown(&entry.fs, DisplayUnit::Hertz),
                Cell::Number(format!(
                    "{:+.2} %",
                    100.0 * (entry.fs.value / first.fs.value - 1.0)
                )),
                shown(&entry.qms, DisplayUnit::Plain),
                shown(&entry.qes, DisplayUnit::Plain),
                shown(&entry.qts, DisplayUnit::Plain),
            ]
        })
        .collect();
    let table = Table {
        id: &format!("{id}levels-table"),
        caption: "The driver at several levels, the quietest first",
        head: &[
            ("take", false),
            ("dBFS", true),
            ("mV peak", true),
            ("fs, Hz", true),
            ("moves by", true),
            ("Qms", true),
            ("Qes", true),
            ("Qts", true),
        ],
    };
    section(
        &format!("{id}levels"),
        "At several levels",
        level,
        &table.rows(&rows),
    )
}

fn measured_and_derived(sheet: &Sheet, id: &str, level: Level) -> String {
    let mut body = String::from("<dl>\n");
    let mut entry = |what: &str, text: &str| {
        body.push_str(&format!(
            "<dt>{}</dt><dd>{}</dd>\n",
            escaped(what),
            escaped(text)
        ));
    };
    entry(
        "measured",
        "the ratio of two channels, which on a jig of known values is the impedance at the driver's terminals",
    );
    match &sheet.circuit {
        Some(circuit) => {
            let n_averaged = circuit.candidates.iter().filter(|c| c.weight > 0.0).count();
            entry(
                "fitted",
                &format!(
                    "equivalent circuits to all takes at once: {} compared, {n_averaged} averaged; the best has the coil model {}{}. From it fs, Re, the Qs and the inductance",
                    circuit.candidates.len(),
                    circuit.coil,
                    if circuit.creep_reference_hz.is_some() {
                        " and suspension creep"
                    } else {
                        ""
                    }
                ),
            );
            let with_load = if circuit.mechanical_values_known {
                "Mms, Cms, Rms and Bl, since the takes with a load tie them down"
            } else {
                "nothing: without a take with an added mass or in a test box, Mms, Cms, Rms and Bl stay unknown"
            };
            entry("fitted, with load", with_load);
        }
        None => entry(
            "fitted",
            "nothing: no circuit fits these takes, or none could be tried",
        ),
    }
    if let Some(typed) = typed(sheet) {
        entry("typed", &typed);
    }
    if let Some(derived) = derived(sheet) {
        entry("derived", &derived);
    }
    body.push_str("</dl>\n");
    section(
        &format!("{id}how"),
        "What was measured and what derived",
        level,
        &body,
    )
}

/// What this sheet took from somebody's word.
fn typed(sheet: &Sheet) -> Option<String> {
    let has_load = sheet.origin.takes.iter().any(|take| take.stated.is_some());
    let all = [
        (sheet.parameters.sd.is_some(), "the size of the cone"),
        (has_load, "what the takes were made with"),
        (sheet.conditions.jig.is_some(), "the sense resistor"),
        (true, "the air"),
    ];
    let told = all.into_iter().filter(|(is_told, _)| *is_told);
    let told: Vec<String> = told.map(|(_, what)| what.to_owned()).collect();
    (!told.is_empty()).then(|| listed(&told))
}

/// What this sheet derives.
fn derived(sheet: &Sheet) -> Option<String> {
    let known = |key: Key| sheet.parameters.get(key).is_some();
    let levels = known(Key::Level1w) || known(Key::Level2v83);
    let all = [
        (known(Key::Vas), "Vas"),
        (known(Key::Mmd), "Mmd"),
        (known(Key::Efficiency), "efficiency"),
        (levels, "sound levels"),
    ];
    let told = all.into_iter().filter(|(is_told, _)| *is_told);
    let told: Vec<String> = told.map(|(_, what)| what.to_owned()).collect();
    (!told.is_empty()).then(|| {
        format!(
            "{} from the values above and the air; they hold for a small piston in a large wall, not for a room",
            listed(&told)
        )
    })
}

fn dimensions(sheet: &Sheet, id: &str, level: Level) -> String {
    let Some(dimensions) = &sheet.dimensions else {
        return String::new();
    };
    let what = |name: &str| match name {
        "flange" => "flange, diameter",
        "cutout" => "cut-out, diameter",
        "screw-circle" => "screw circle, diameter",
        "depth" => "depth behind the flange",
        _ => "magnet, diameter",
    };
    let millimetres = |m: Option<f64>| {
        m.map_or_else(
            || String::from("unknown"),
            |m| {
                let text = format!("{:.1}", DisplayUnit::Millimetre.from_si(m));
                format!("{} mm", text.trim_end_matches(".0"))
            },
        )
    };
    let mut rows: Vec<(&str, String)> = dimensions
        .lengths()
        .into_iter()
        .map(|(name, length)| (what(name), millimetres(length)))
        .collect();
    let screws = dimensions
        .n_screws
        .map_or_else(|| String::from("unknown"), |n| n.to_string());
    rows.push(("screws", screws));
    let table = facts(
        &format!("{id}dimensions-table"),
        "As somebody measured them",
        &rows,
    );
    section(
        &format!("{id}dimensions"),
        "Mounting dimensions",
        level,
        &table,
    )
}

/// What holds for every sheet.
const COMMON_CAUTIONS: [&str; 2] = [
    "These are small-signal values: they say how the driver behaves quietly, not how loud or how far it may be driven.",
    "A suspension changes with running-in, warmth and moisture. Expect another day to differ by what ± set-up says.",
];

/// The cautions of a sheet; where it is one of several, without those that hold for every one.
fn cautions(sheet: &Sheet, id: &str, level: Level) -> String {
    let mut items = vec![];
    let n = sheet
        .findings
        .iter()
        .filter(|f| f.severity != "note")
        .count();
    if n > 0 {
        let verb = if n == 1 {
            "finding speaks"
        } else {
            "findings speak"
        };
        items.push(format!(
            "{n} {verb} against some of these numbers; read them before you build."
        ));
    }
    if level == Level(2) {
        items.extend(COMMON_CAUTIONS.map(str::to_owned));
    }
    if sheet.parameters.vas.is_none() {
        items.push(String::from(
            "Without Vas no box can be designed: a take with an added mass or in a test box, and the size of the cone, bring it.",
        ));
    }
    cautions_section(&format!("{id}cautions"), level, &items)
}

/// The cautions of several sheets that hold for every one.
pub fn common_cautions() -> String {
    cautions_section("cautions", Level(2), &COMMON_CAUTIONS.map(str::to_owned))
}

fn cautions_section(id: &str, level: Level, items: &[String]) -> String {
    if items.is_empty() {
        return String::new();
    }
    let items: String = items
        .iter()
        .map(|item| format!("<li>{}</li>\n", escaped(item)))
        .collect();
    section(id, "Cautions", level, &format!("<ul>\n{items}</ul>\n"))
}

fn origin(sheet: &Sheet, id: &str, level: Level) -> String {
    let origin = &sheet.origin;
    let rows: Vec<Vec<Cell>> = origin
        .takes
        .iter()
        .map(|take| {
            let with = take.stated.as_ref().map_or(String::new(), loaded_with);
            let mut kind = take.kind.clone();
            if take.remounted {
                kind.push_str(", remounted");
            }
            if take.aside {
                kind.push_str(", compares levels only");
            }
            let hashes: Vec<String> = take
                .sha256
                .iter()
                .map(|hash| format!("<code>{}</code>", escaped(hash)))
                .collect();
            vec![
                Cell::Text(take.name.clone()),
                Cell::Text(take.condition.replace('-', " ")),
                Cell::Text(with),
                Cell::Text(kind),
                Cell::Markup(hashes.join("<br>")),
            ]
        })
        .collect();
    let mut body = paragraph(&format!(
        "Computed by {} {} with {} Monte Carlo draws from seed {}; the sheet's format is {}.",
        origin.program, origin.version, origin.draws, origin.seed, sheet.schema
    ));
    if rows.is_empty() {
        body.push_str(&remark("The sheet names no take."));
    } else {
        let table = Table {
            id: &format!("{id}takes-table"),
            caption: "The takes, with the SHA-256 of their files",
            head: &[
                ("take", false),
                ("condition", false),
                ("with", false),
                ("kind", false),
                ("SHA-256", false),
            ],
        };
        body.push_str(&table.rows(&rows));
    }
    section(&format!("{id}origin"), "Where it came from", level, &body)
}
