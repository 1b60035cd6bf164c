//! The fitted impedance as a one-port, Touchstone version 1.1: `docs/export-touchstone.md`.

use super::error::ExportError;
use super::label::one_line;
use super::misfit::misfit_line;
use crate::circuit::{Circuit, LADDER_BAND_HZ};
use crate::impedance::ImpedanceCurve;
use crate::impedance::table::write_touchstone;
use crate::quantity::FrequencyGrid;
use crate::sheet::Sheet;

/// The reference resistance of exported files, ohm. With one ohm, normalised and plain impedances are the same numbers, so
/// that a reader which forgets to normalise goes right as well.
pub const TOUCHSTONE_REFERENCE_OHM: f64 = 1.0;

/// Points in each octave; a resonance of Q 15 is then still seven points wide.
const POINTS_PER_OCTAVE: f64 = 48.0;

/// The fitted impedance in free air from 10 Hz to 20 kHz.
///
/// # Errors
/// [`ExportError::NoCircuit`] and what a sheet with impossible values causes.
pub fn touchstone(sheet: &Sheet) -> Result<String, ExportError> {
    let entry = sheet.circuit.as_ref().ok_or(ExportError::NoCircuit {
        format: "touchstone",
    })?;
    let (circuit, values) = entry.driver()?;
    let (low_hz, high_hz) = LADDER_BAND_HZ;
    let n_steps = ((high_hz / low_hz).log2() * POINTS_PER_OCTAVE).ceil();
    let grid = FrequencyGrid::logarithmic(low_hz, high_hz, n_steps as usize + 1)?;
    let mut z_ohm = Vec::with_capacity(grid.n_points());
    for &frequency_hz in grid.as_slice() {
        let z = circuit.impedance(frequency_hz, &values);
        if !z.is_finite() {
            return Err(ExportError::NotFinite { frequency_hz });
        }
        z_ohm.push(z);
    }
    let mut text = format!(
        "! farcone-touchstone/1, by farcone {}\n! Driver: {}\n! Fitted impedance in free air, coil {}; verdict {}\n! {}\n",
        one_line(&sheet.origin.version),
        one_line(&sheet.label),
        one_line(&entry.coil),
        one_line(&sheet.verdict),
        misfit_line(sheet),
    );
    if let Some(curve) = ImpedanceCurve::new(grid, z_ohm, None) {
        let mut bytes = vec![];
        write_touchstone(&curve, TOUCHSTONE_REFERENCE_OHM, &mut bytes)?;
        text.push_str(&String::from_utf8_lossy(&bytes));
    }
    Ok(text)
}
