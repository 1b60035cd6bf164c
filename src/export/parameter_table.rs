//! The parameter table: `docs/export-csv-parameters.md`.

use super::csv::{number, table};
use super::error::ExportError;
use super::label::cell;
use crate::parameters::Key;
use crate::sheet::Sheet;

const COLUMNS: [&str; 11] = [
    "driver",
    "verdict",
    "parameter",
    "meaning",
    "value",
    "unit",
    "standard_uncertainty",
    "interval_95_low",
    "interval_95_high",
    "setup_uncertainty",
    "setup_origin",
];

/// Every parameter there is, one a line (RFC 4180). What the sheet does not know is an empty field.
///
/// # Errors
/// [`ExportError::Table`] if the writer fails, which a text does not.
pub fn csv_parameters(sheet: &Sheet) -> Result<String, ExportError> {
    let unknown = f64::NAN;
    let rows = Key::ALL.iter().map(|&key| {
        let entry = sheet.parameters.get(key);
        let field = |value: Option<f64>| number(value.unwrap_or(unknown));
        let interval = entry.and_then(|entry| entry.interval_95);
        [
            cell(&sheet.label),
            cell(&sheet.verdict),
            key.as_str().to_owned(),
            cell(key.meaning()),
            field(entry.map(|entry| entry.value)),
            entry.map_or_else(|| key.unit().to_owned(), |entry| cell(&entry.unit)),
            field(entry.and_then(|entry| entry.standard_uncertainty)),
            field(interval.map(|[low, _]| low)),
            field(interval.map(|[_, high]| high)),
            field(entry.and_then(|entry| entry.setup_uncertainty)),
            entry
                .and_then(|entry| entry.setup_origin.as_deref())
                .map_or_else(String::new, cell),
        ]
    });
    table(&COLUMNS, rows)
}
