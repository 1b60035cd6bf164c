//! The impedance table, measured and fitted: `docs/export-csv.md`.

use ::csv::{Terminator, WriterBuilder};
use num_complex::Complex64;

use super::error::ExportError;
use super::free_air;
use crate::impedance::table::TableError;
use crate::sheet::{CurveEntry, Sheet};

/// Names of the columns, with their units. [`crate::impedance::table::read_csv`] reads the measured ones.
const COLUMNS: [&str; 11] = [
    "frequency_hz",
    "magnitude_ohm",
    "phase_deg",
    "re_ohm",
    "im_ohm",
    "u_re_ohm",
    "u_im_ohm",
    "fitted_magnitude_ohm",
    "fitted_phase_deg",
    "fitted_re_ohm",
    "fitted_im_ohm",
];

/// The free-air impedance, measured and fitted (RFC 4180).
///
/// # Errors
/// [`ExportError::NoFreeAir`], [`ExportError::Uneven`].
pub fn csv(sheet: &Sheet) -> Result<String, ExportError> {
    let curve = free_air(sheet)?;
    let measured = Parts::of(
        curve,
        "measured",
        Some(&curve.measured_re_ohm),
        Some(&curve.measured_im_ohm),
    )?;
    let doubt = Parts::of(
        curve,
        "uncertainty",
        curve.uncertainty_re_ohm.as_ref(),
        curve.uncertainty_im_ohm.as_ref(),
    )?;
    let fitted = Parts::of(
        curve,
        "modelled",
        curve.modelled_re_ohm.as_ref(),
        curve.modelled_im_ohm.as_ref(),
    )?;
    let rows = curve.frequency_hz.iter().enumerate().map(|(i, &f_hz)| {
        let [u_re, u_im] = doubt.at(i);
        let [magnitude, phase, re, im] = forms(measured.at(i));
        let [fitted_magnitude, fitted_phase, fitted_re, fitted_im] = forms(fitted.at(i));
        [
            number(f_hz),
            magnitude,
            phase,
            re,
            im,
            number(u_re),
            number(u_im),
            fitted_magnitude,
            fitted_phase,
            fitted_re,
            fitted_im,
        ]
    });
    table(&COLUMNS, rows)
}

/// Two lists of a curve that belong together.
struct Parts<'a>(Option<(&'a [f64], &'a [f64])>);

impl<'a> Parts<'a> {
    fn of(
        curve: &CurveEntry,
        column: &'static str,
        first: Option<&'a Vec<f64>>,
        second: Option<&'a Vec<f64>>,
    ) -> Result<Self, ExportError> {
        for list in [first, second].into_iter().flatten() {
            if list.len() != curve.frequency_hz.len() {
                return Err(ExportError::Uneven {
                    curve: curve.name.clone(),
                    column,
                    found: list.len(),
                    expected: curve.frequency_hz.len(),
                });
            }
        }
        Ok(Self(
            first.zip(second).map(|(a, b)| (a.as_slice(), b.as_slice())),
        ))
    }

    /// Both at one frequency; NaN, which [`number`] writes as an empty field, where they are unknown.
    fn at(&self, i: usize) -> [f64; 2] {
        self.0
            .map_or([f64::NAN; 2], |(first, second)| [first[i], second[i]])
    }
}

/// Magnitude, phase in degrees, real and imaginary part.
fn forms([re, im]: [f64; 2]) -> [String; 4] {
    let z = Complex64::new(re, im);
    [z.norm(), z.arg().to_degrees(), re, im].map(number)
}

/// A number with the fewest digits that read back the same; an empty field for what is none.
pub(super) fn number(value: f64) -> String {
    if value.is_finite() {
        format!("{value:?}")
    } else {
        String::new()
    }
}

/// A table after RFC 4180: commas, CRLF, quotation marks where they are needed.
pub(super) fn table<const N: usize>(
    columns: &[&str; N],
    rows: impl Iterator<Item = [String; N]>,
) -> Result<String, ExportError> {
    let failed = |error: ::csv::Error| TableError::Write(error.into());
    let mut writer = WriterBuilder::new()
        .terminator(Terminator::CRLF)
        .from_writer(vec![]);
    writer.write_record(columns).map_err(failed)?;
    for row in rows {
        writer.write_record(&row).map_err(failed)?;
    }
    let bytes = writer
        .into_inner()
        .map_err(|error| TableError::Write(error.into_error()))?;
    Ok(String::from_utf8_lossy(&bytes).into_owned())
}
