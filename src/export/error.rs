//! Why a sheet cannot be exported.

use crate::impedance::table::TableError;
use crate::quantity::GridError;
use crate::sheet::{CircuitError, DimensionsError, SheetError};

/// Why a sheet cannot be exported to a format.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum ExportError {
    /// No circuit was fitted.
    #[error(
        "the sheet has no circuit, so there is nothing to export to {format}: no circuit fitted its takes. What to make again says: farcone show SHEET"
    )]
    NoCircuit {
        /// The format's name.
        format: &'static str,
    },
    /// The circuit cannot be evaluated.
    #[error(transparent)]
    Circuit(#[from] CircuitError),
    /// Values so far from any driver that no network of finite elements stands for them.
    #[error(
        "the values of the sheet's {what} make no network of finite elements; compute the sheet again from its takes"
    )]
    NoLadder {
        /// Coil or suspension.
        what: &'static str,
    },
    /// The circuit's impedance is no number somewhere.
    #[error(
        "the sheet's circuit has no finite impedance at {frequency_hz} Hz; compute the sheet again from its takes"
    )]
    NotFinite {
        /// Where.
        frequency_hz: f64,
    },
    /// No curve of free air.
    #[error(
        "the sheet has no free-air curve to export: none of its free-air takes gave one. What to make again says: farcone show SHEET"
    )]
    NoFreeAir,
    /// Lists of one curve that differ in length.
    #[error(
        "the sheet's curve \"{curve}\" has {found} values of {column} where it has {expected} frequencies; compute the sheet again from its takes"
    )]
    Uneven {
        /// The curve.
        curve: String,
        /// Which list.
        column: &'static str,
        /// Its length.
        found: usize,
        /// The length that it should have.
        expected: usize,
    },
    /// Mounting dimensions that cannot be.
    #[error("the sheet's mounting dimensions: {0}")]
    Dimensions(#[from] DimensionsError),
    /// The table's writer.
    #[error(transparent)]
    Table(#[from] TableError),
    /// The frequencies of a table.
    #[error(transparent)]
    Grid(#[from] GridError),
    /// The sheet's own writer.
    #[error(transparent)]
    Sheet(#[from] SheetError),
}
