//! CSV: named columns with units.

use std::io::{Read, Write};

use csv::{ReaderBuilder, StringRecord, Trim};
use num_complex::Complex64;

use super::error::TableError;
use super::header::{Column, Header, Layout};
use super::{Row, curve_of, number, read_bytes, text_of};
use crate::impedance::ImpedanceCurve;
use crate::quantity::Covariance2;

/// Reads a table with named columns, such as
///
/// ```text
/// frequency_hz,re_ohm,im_ohm
/// 10,5.63,2.27
/// ```
///
/// The whole format is on the page `docs/impedance-tables.md`.
///
/// # Errors
/// [`TableError`], with the line that is wrong.
pub fn read_csv(reader: impl Read) -> Result<ImpedanceCurve, TableError> {
    let text = text_of(read_bytes(reader)?)?;
    // Comments and empty lines are taken out here, so that each record's line in the file is known.
    let (lines, kept): (Vec<usize>, Vec<&str>) = text
        .lines()
        .enumerate()
        .map(|(i, line)| (i + 1, line))
        .filter(|(_, line)| !line.trim().is_empty() && !line.trim_start().starts_with('#'))
        .unzip();
    let first = kept.first().ok_or(TableError::Empty)?;
    let separator = [b';', b'\t']
        .into_iter()
        .find(|byte| first.as_bytes().contains(byte))
        .unwrap_or(b',');
    let joined = kept.join("\n");
    let mut records = ReaderBuilder::new()
        .has_headers(false)
        .flexible(true)
        .trim(Trim::All)
        .delimiter(separator)
        .from_reader(joined.as_bytes());

    let mut header = None;
    let mut rows = Vec::new();
    let mut record = StringRecord::new();
    loop {
        // A record starts in the line after the last one, which is the count of lines so far.
        let line_of = |n: u64| {
            usize::try_from(n)
                .ok()
                .and_then(|n| lines.get(n.saturating_sub(1)))
                .copied()
        };
        let more = records
            .read_record(&mut record)
            .map_err(|error| TableError::Malformed {
                line: error
                    .position()
                    .and_then(|p| line_of(p.line()))
                    .unwrap_or(1),
            })?;
        if !more {
            break;
        }
        let line = record
            .position()
            .and_then(|p| line_of(p.line()))
            .unwrap_or(1);
        match &header {
            None => header = Some(read_header(&record, line)?),
            Some(header) => rows.push(read_row(&record, header, separator != b',', line)?),
        }
    }
    // Some known and some unknown would lose the known ones in silence.
    let known = rows.first().is_some_and(|row| row.covariance.is_some());
    match rows.iter().find(|row| row.covariance.is_some() != known) {
        Some(row) => Err(TableError::HalfUncertainty {
            line: row.line,
            needed: "both in every line",
        }),
        None => curve_of(&rows),
    }
}

fn read_header(record: &StringRecord, line: usize) -> Result<Header, TableError> {
    let cells: Vec<&str> = record.iter().collect();
    if cells
        .iter()
        .all(|cell| cell.replace(',', ".").parse::<f64>().is_ok())
    {
        return Err(TableError::NoHeader { line });
    }
    Header::read(&cells, line)
}

fn read_row(
    record: &StringRecord,
    header: &Header,
    takes_comma: bool,
    line: usize,
) -> Result<Row, TableError> {
    if record.len() != header.n_columns {
        return Err(TableError::RowLength {
            line,
            found: record.len(),
            expected: header.n_columns,
        });
    }
    let cell = |column: &Column| -> Result<f64, TableError> {
        let text = record.get(column.position).unwrap_or_default();
        let value = if takes_comma && !text.contains('.') {
            number(&text.replacen(',', ".", 1), line, &column.name)?
        } else {
            number(text, line, &column.name)?
        };
        Ok(value * column.scale)
    };
    let doubt = |column: &Column| -> Result<f64, TableError> {
        let u = cell(column)?;
        let error = || TableError::UncertaintyNotPositive {
            line,
            column: column.name.clone(),
        };
        if u > 0.0 { Ok(u) } else { Err(error()) }
    };

    // Uncertainties that are all empty are unknown.
    let is_empty = |column: &Column| record.get(column.position).is_none_or(str::is_empty);
    let (z_ohm, covariance) = match &header.layout {
        Layout::Rectangular {
            re,
            im,
            uncertainty,
        } => {
            let covariance = match uncertainty {
                None => None,
                Some((u_re, u_im, re_im))
                    if is_empty(u_re) && is_empty(u_im) && re_im.as_ref().is_none_or(is_empty) =>
                {
                    None
                }
                Some((u_re, u_im, re_im)) => {
                    let (u_re, u_im) = (doubt(u_re)?, doubt(u_im)?);
                    let re_im = re_im.as_ref().map(cell).transpose()?.unwrap_or(0.0);
                    Some(Covariance2 {
                        re_re: u_re * u_re,
                        re_im,
                        im_im: u_im * u_im,
                    })
                }
            };
            (Complex64::new(cell(re)?, cell(im)?), covariance)
        }
        Layout::Polar {
            magnitude,
            phase,
            uncertainty,
        } => {
            let (magnitude_ohm, phase_rad) = (cell(magnitude)?, cell(phase)?);
            if magnitude_ohm <= 0.0 {
                return Err(TableError::MagnitudeNotPositive {
                    line,
                    magnitude_ohm,
                });
            }
            let covariance = match uncertainty {
                None => None,
                Some((u_magnitude, u_phase)) if is_empty(u_magnitude) && is_empty(u_phase) => None,
                Some((u_magnitude, u_phase)) => {
                    let along = doubt(u_magnitude)?;
                    let across = magnitude_ohm * doubt(u_phase)?;
                    let in_own_axes = Covariance2 {
                        re_re: along * along,
                        re_im: 0.0,
                        im_im: across * across,
                    };
                    Some(in_own_axes.through(Complex64::from_polar(1.0, phase_rad)))
                }
            };
            (Complex64::from_polar(magnitude_ohm, phase_rad), covariance)
        }
    };
    if covariance.is_some_and(|covariance| covariance.inverse().is_none()) {
        return Err(TableError::CovarianceImpossible { line });
    }
    Ok(Row {
        line,
        frequency_hz: cell(&header.frequency)?,
        z_ohm,
        covariance,
    })
}

/// Writes `frequency_hz,re_ohm,im_ohm` and, if the curve has a covariance, `u_re_ohm,u_im_ohm,cov_re_im_ohm2`.
///
/// Numbers have the fewest digits that read back as the same `f64`; variances are written as their square roots and so
/// come back to rounding.
///
/// # Errors
/// [`TableError::Write`] from the writer; [`TableError::CovarianceToWrite`] if a covariance is not positive definite.
pub fn write_csv(curve: &ImpedanceCurve, mut writer: impl Write) -> Result<(), TableError> {
    let points = curve.frequency_hz().iter().zip(curve.z_ohm());
    let mut text = String::new();
    match curve.covariance() {
        None => {
            text.push_str("frequency_hz,re_ohm,im_ohm\n");
            for (frequency_hz, z) in points {
                text.push_str(&format!("{frequency_hz:?},{:?},{:?}\n", z.re, z.im));
            }
        }
        Some(covariance) => {
            text.push_str("frequency_hz,re_ohm,im_ohm,u_re_ohm,u_im_ohm,cov_re_im_ohm2\n");
            for ((&frequency_hz, z), c) in points.zip(covariance) {
                if c.inverse().is_none() {
                    return Err(TableError::CovarianceToWrite { frequency_hz });
                }
                let (u_re, u_im) = (c.re_re.sqrt(), c.im_im.sqrt());
                text.push_str(&format!(
                    "{frequency_hz:?},{:?},{:?},{u_re:?},{u_im:?},{:?}\n",
                    z.re, z.im, c.re_im
                ));
            }
        }
    }
    writer.write_all(text.as_bytes()).map_err(TableError::Write)
}
