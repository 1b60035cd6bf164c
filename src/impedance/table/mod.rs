//! Ready impedance tables, from and to text: CSV with named columns, and Touchstone one-port files.
//!
//! Both readers take anything that implements [`std::io::Read`], check everything and say in which line something is
//! wrong. The formats are described on the page `docs/impedance-tables.md`.
//!
//! Conventions: frequencies rise strictly; phases are those of Z with the time convention e^(+jωt), so an inductor's is
//! positive; uncertainties in a file are standard uncertainties. A curve without uncertainties has no covariance.

mod csv_table;
mod error;
mod header;
mod touchstone;

use std::io::Read;

use num_complex::Complex64;

use super::ImpedanceCurve;
use crate::quantity::{Covariance2, FrequencyGrid};

pub use csv_table::{read_csv, write_csv};
pub use error::TableError;
pub use touchstone::{read_touchstone, write_touchstone};

/// The kind of table that a file name announces.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub enum TableFormat {
    /// Named columns; `.csv`, `.tsv` or `.txt`.
    Csv,
    /// Touchstone one-port; `.s1p`, `.z1p` or `.y1p`.
    Touchstone,
}

impl TableFormat {
    /// From a file's name or path, by its extension in any case; `None` if it is not that of a table.
    pub fn from_name(name: &str) -> Option<Self> {
        let (_, extension) = name.rsplit_once('.')?;
        match extension.to_ascii_lowercase().as_str() {
            "csv" | "tsv" | "txt" => Some(Self::Csv),
            "s1p" | "z1p" | "y1p" => Some(Self::Touchstone),
            _ => None,
        }
    }

    /// Reads a table of this format.
    ///
    /// # Errors
    /// As [`read_csv`] and [`read_touchstone`].
    pub fn read(self, reader: impl Read) -> Result<ImpedanceCurve, TableError> {
        match self {
            Self::Csv => read_csv(reader),
            Self::Touchstone => read_touchstone(reader),
        }
    }
}

/// Fewest points taken. The smallest circuit has five parameters, so that three complex points already determine it;
/// below eight nothing is left to judge the fit by. Common practice, no source.
const FEWEST_POINTS: usize = 8;

/// Largest file taken: a million rows of six numbers. A larger one is something else.
const MOST_BYTES: u64 = 128 << 20;

/// One line of a table.
struct Row {
    /// Line number in the file, from 1.
    line: usize,
    frequency_hz: f64,
    z_ohm: Complex64,
    /// Ohm squared.
    covariance: Option<Covariance2>,
}

fn read_bytes(reader: impl Read) -> Result<Vec<u8>, TableError> {
    let mut bytes = Vec::new();
    reader
        .take(MOST_BYTES + 1)
        .read_to_end(&mut bytes)
        .map_err(TableError::Read)?;
    if bytes.len() as u64 > MOST_BYTES {
        return Err(TableError::TooLarge {
            limit_bytes: MOST_BYTES,
        });
    }
    // Some programs put a byte order mark before UTF-8.
    if bytes.starts_with(&[0xef, 0xbb, 0xbf]) {
        bytes.drain(..3);
    }
    Ok(bytes)
}

fn text_of(bytes: Vec<u8>) -> Result<String, TableError> {
    String::from_utf8(bytes).map_err(|error| {
        let valid = error.utf8_error().valid_up_to();
        let line = 1 + error.as_bytes()[..valid]
            .iter()
            .filter(|byte| **byte == b'\n')
            .count();
        TableError::NotText { line }
    })
}

/// A number of a table: finite, with a decimal point.
fn number(text: &str, line: usize, column: &str) -> Result<f64, TableError> {
    let number: f64 = text.parse().map_err(|_| TableError::NotANumber {
        line,
        column: excerpt(column),
        text: excerpt(text),
    })?;
    if number.is_finite() {
        Ok(number)
    } else {
        Err(TableError::NotFinite {
            line,
            column: excerpt(column),
        })
    }
}

/// Checks the rows as a whole and makes a curve of them. The covariance is kept if every row has one.
fn curve_of(rows: &[Row]) -> Result<ImpedanceCurve, TableError> {
    let mut previous_hz = 0.0;
    for row in rows {
        let Row {
            line,
            frequency_hz,
            z_ohm,
            ..
        } = *row;
        if frequency_hz <= 0.0 {
            return Err(TableError::FrequencyNotPositive { line, frequency_hz });
        }
        if !(z_ohm.is_finite() && frequency_hz.is_finite()) {
            return Err(TableError::NotFinite {
                line,
                column: String::from("impedance or frequency"),
            });
        }
        if frequency_hz <= previous_hz {
            return Err(TableError::NotAscending {
                line,
                frequency_hz,
                previous_hz,
            });
        }
        previous_hz = frequency_hz;
    }
    let too_few = || TableError::TooFew {
        n_points: rows.len(),
        fewest: FEWEST_POINTS,
    };
    if rows.len() < FEWEST_POINTS {
        return Err(too_few());
    }
    // The loop above has made sure of everything that a grid and a curve ask for, save that there are points at all.
    let grid = FrequencyGrid::new(rows.iter().map(|row| row.frequency_hz).collect())
        .map_err(|_| too_few())?;
    let z_ohm = rows.iter().map(|row| row.z_ohm).collect();
    let covariance = rows.iter().map(|row| row.covariance).collect();
    ImpedanceCurve::new(grid, z_ohm, covariance).ok_or_else(too_few)
}

/// Keeps messages short whatever stands in a file.
fn excerpt(text: &str) -> String {
    const LONGEST: usize = 40;
    let mut short: String = text
        .chars()
        .take(LONGEST)
        .map(|c| if c.is_control() { '\u{fffd}' } else { c })
        .collect();
    if text.chars().nth(LONGEST).is_some() {
        short.push('…');
    }
    short
}
