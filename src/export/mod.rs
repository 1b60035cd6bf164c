//! A sheet as files that other tools read: circuit simulators, network tools, spreadsheets, CAD.
//!
//! Each format has a file here and a page in `docs/` (`docs/export-spice.md` and so on). No physics: a format writes down
//! what the sheet holds and what [`crate::circuit`] makes of its circuit.
//!
//! Conventions: numbers have the fewest digits that read back as the same `f64`. What is unknown is an empty field, `undef`
//! or left out with a comment that says so; never zero. Labels that a person typed are escaped for each format.

mod csv;
mod error;
mod label;
mod misfit;
mod openscad;
mod parameter_table;
mod spice;
mod touchstone;

pub use csv::csv;
pub use error::ExportError;
pub use openscad::openscad;
pub use parameter_table::csv_parameters;
pub use spice::spice;
pub use touchstone::{TOUCHSTONE_REFERENCE_OHM, touchstone};

use crate::sheet::{CurveEntry, Sheet};

/// A format that a sheet can be exported to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub enum Format {
    /// A subcircuit for circuit simulators.
    Spice,
    /// The fitted impedance as a one-port network, Touchstone 1.1.
    Touchstone,
    /// The impedance table, measured and fitted.
    Csv,
    /// The parameter table.
    CsvParameters,
    /// Parameters and mounting dimensions as variables of a CAD program.
    Openscad,
    /// The sheet itself.
    Json,
}

impl Format {
    /// Every format, in the order of the pages.
    pub const ALL: &'static [Self] = &[
        Self::Spice,
        Self::Touchstone,
        Self::Csv,
        Self::CsvParameters,
        Self::Openscad,
        Self::Json,
    ];

    /// Its name.
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Spice => "spice",
            Self::Touchstone => "touchstone",
            Self::Csv => "csv",
            Self::CsvParameters => "csv-parameters",
            Self::Openscad => "openscad",
            Self::Json => "json",
        }
    }

    /// What it is, in a few words.
    pub fn meaning(self) -> &'static str {
        match self {
            Self::Spice => "a subcircuit for circuit simulators",
            Self::Touchstone => "the fitted impedance as a one-port, Touchstone 1.1",
            Self::Csv => "the free-air impedance, measured and fitted, as a table",
            Self::CsvParameters => "the parameters with their uncertainties as a table",
            Self::Openscad => "parameters and mounting dimensions as OpenSCAD variables",
            Self::Json => "the sheet itself",
        }
    }

    /// The format of that name; `None` if there is none.
    pub fn parse(text: &str) -> Option<Self> {
        Self::ALL
            .iter()
            .copied()
            .find(|format| format.as_str() == text)
    }
}

/// A sheet in a format, as the text of a file.
///
/// # Errors
/// See [`ExportError`].
pub fn export(sheet: &Sheet, format: Format) -> Result<String, ExportError> {
    match format {
        Format::Spice => spice(sheet),
        Format::Touchstone => touchstone(sheet),
        Format::Csv => csv(sheet),
        Format::CsvParameters => csv_parameters(sheet),
        Format::Openscad => openscad(sheet),
        Format::Json => Ok(sheet.to_json()?),
    }
}

/// The curve of free air; there is one in every sheet that was fitted.
fn free_air(sheet: &Sheet) -> Result<&CurveEntry, ExportError> {
    sheet
        .curves
        .iter()
        .find(|curve| curve.name.starts_with("free-air"))
        .ok_or(ExportError::NoFreeAir)
}
