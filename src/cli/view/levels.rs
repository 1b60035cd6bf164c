//! How fs and Q move with the level.

use farcone::quantity::{DisplayUnit, format_estimate};
use farcone::sheet::{Sheet, ValueEntry};

use super::text::{Side, columns};
use super::title;
use crate::cli::console::Look;

/// One row a take, the quietest first; empty if all takes had one level.
pub(super) fn table(sheet: &Sheet, look: Look) -> String {
    let Some(first) = sheet.levels.first() else {
        return String::new();
    };
    let head = [
        "take", "dBFS", "mV", "fs Hz", "moves by", "Qms", "Qes", "Qts",
    ];
    let mut rows = vec![head.map(str::to_owned).to_vec()];
    for entry in &sheet.levels {
        let shown = |value: &ValueEntry, unit| {
            format_estimate(value.value, value.standard_uncertainty, unit).value
        };
        rows.push(vec![
            entry.take.clone(),
            format!("{:.0}", entry.playback_dbfs),
            entry
                .driver_peak_v
                .map_or_else(|| "?".to_owned(), |v| format!("{:.0}", 1000.0 * v)),
            shown(&entry.fs, DisplayUnit::Hertz),
            format!("{:+.2} %", 100.0 * (entry.fs.value / first.fs.value - 1.0)),
            shown(&entry.qms, DisplayUnit::Plain),
            shown(&entry.qes, DisplayUnit::Plain),
            shown(&entry.qts, DisplayUnit::Plain),
        ]);
    }
    let sides = [Side::Left]
        .into_iter()
        .chain([Side::Right; 7])
        .collect::<Vec<_>>();
    let mut out = title("The driver at several levels", look);
    for line in columns(&rows, &sides) {
        out.push_str(&line);
        out.push('\n');
    }
    out.push_str(
        "  mV: peak across the driver at its resonance; ?: the input is not calibrated in volts.\n",
    );
    out
}
