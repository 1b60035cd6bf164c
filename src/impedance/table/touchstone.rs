//! Touchstone, version 1.1, one port.
//!
//! Source: Touchstone File Format Specification, Rev 1.1, EIA/IBIS Open Forum, 2002 (cited from memory; version 2.0 of
//! 2009 restates the rules of version 1). What is easily got wrong: in version 1 the parameters Z and Y are normalised
//! to the reference resistance R of the option line, so that the impedance is Z = R·z and Z = R/y.

use std::io::{Read, Write};

use num_complex::Complex64;

use super::error::TableError;
use super::{Row, curve_of, excerpt, number, read_bytes};
use crate::impedance::ImpedanceCurve;

#[derive(Clone, Copy)]
enum Parameter {
    S,
    Y,
    Z,
}

#[derive(Clone, Copy)]
enum Format {
    RealImaginary,
    MagnitudeAngle,
    DecibelAngle,
}

/// The option line. What it leaves out has the defaults that the specification gives.
struct Options {
    hz_per_unit: f64,
    parameter: Parameter,
    format: Format,
    reference_ohm: f64,
}

impl Options {
    /// Reads what follows the `#`: options in any order and case.
    fn read(text: &str, line: usize) -> Result<Self, TableError> {
        let mut options = Self {
            hz_per_unit: 1e9,
            parameter: Parameter::S,
            format: Format::MagnitudeAngle,
            reference_ohm: 50.0,
        };
        let mut words = text.split_whitespace();
        while let Some(word) = words.next() {
            match word.to_ascii_uppercase().as_str() {
                "HZ" => options.hz_per_unit = 1.0,
                "KHZ" => options.hz_per_unit = 1e3,
                "MHZ" => options.hz_per_unit = 1e6,
                "GHZ" => options.hz_per_unit = 1e9,
                "S" => options.parameter = Parameter::S,
                "Y" => options.parameter = Parameter::Y,
                "Z" => options.parameter = Parameter::Z,
                "G" | "H" => {
                    return Err(TableError::TwoPortParameter {
                        line,
                        parameter: excerpt(word),
                    });
                }
                "RI" => options.format = Format::RealImaginary,
                "MA" => options.format = Format::MagnitudeAngle,
                "DB" => options.format = Format::DecibelAngle,
                "R" => {
                    options.reference_ohm = words
                        .next()
                        .and_then(|word| word.parse().ok())
                        .filter(|ohm: &f64| *ohm > 0.0 && ohm.is_finite())
                        .ok_or(TableError::BadReference { line })?;
                }
                _ => {
                    return Err(TableError::UnknownOption {
                        line,
                        option: excerpt(word),
                    });
                }
            }
        }
        Ok(options)
    }

    fn complex(&self, first: f64, second: f64) -> Complex64 {
        let polar = |magnitude: f64| Complex64::from_polar(magnitude, second.to_radians());
        match self.format {
            Format::RealImaginary => Complex64::new(first, second),
            Format::MagnitudeAngle => polar(first),
            Format::DecibelAngle => polar(10_f64.powf(first / 20.0)),
        }
    }

    fn impedance_ohm(&self, parameter: Complex64) -> Complex64 {
        let one = Complex64::new(1.0, 0.0);
        self.reference_ohm
            * match self.parameter {
                Parameter::Z => parameter,
                Parameter::Y => one / parameter,
                Parameter::S => (one + parameter) / (one - parameter),
            }
    }
}

/// Reads a one-port Touchstone file of version 1 with Z, Y or S parameters; the result is in ohm, without covariance.
///
/// # Errors
/// [`TableError`], with the line that is wrong. Version 2 files and files with several ports are refused.
pub fn read_touchstone(reader: impl Read) -> Result<ImpedanceCurve, TableError> {
    let bytes = read_bytes(reader)?;
    // Only comments can hold anything but ASCII, in whatever encoding; what it says there does not matter.
    let text = String::from_utf8_lossy(&bytes);
    let mut options = None;
    let mut rows = Vec::new();
    for (i, whole) in text.lines().enumerate() {
        let line = i + 1;
        let content = whole.split('!').next().unwrap_or_default().trim();
        if content.is_empty() {
            continue;
        }
        if content.starts_with('[') {
            return Err(TableError::TouchstoneVersion2 { line });
        }
        if let Some(rest) = content.strip_prefix('#') {
            // The first option line counts, any others are ignored.
            if options.is_none() {
                options = Some(Options::read(rest, line)?);
            }
            continue;
        }
        let options = options.as_ref().ok_or(TableError::NoOptionLine { line })?;
        let words: Vec<&str> = content.split_whitespace().collect();
        let [frequency, first, second] = words[..] else {
            return Err(TableError::NotOnePort {
                line,
                found: words.len(),
            });
        };
        let frequency_hz = number(frequency, line, "frequency")? * options.hz_per_unit;
        let parameter = options.complex(
            number(first, line, "first number")?,
            number(second, line, "second number")?,
        );
        rows.push(Row {
            line,
            frequency_hz,
            z_ohm: options.impedance_ohm(parameter),
            covariance: None,
        });
    }
    if rows.is_empty() {
        return Err(TableError::Empty);
    }
    curve_of(&rows)
}

/// Writes a one-port Touchstone file of version 1: `# HZ Z RI R …`, the impedance normalised to `reference_ohm`.
///
/// The format has no place for uncertainties; they are left out. Numbers have the fewest digits that read back as the
/// same `f64`; with a reference of 1 ohm (or a power of two) the impedances come back exactly, else to rounding.
///
/// # Errors
/// [`TableError::ReferenceToWrite`] unless the reference is above zero and finite; [`TableError::Write`] from the writer.
pub fn write_touchstone(
    curve: &ImpedanceCurve,
    reference_ohm: f64,
    mut writer: impl Write,
) -> Result<(), TableError> {
    if !(reference_ohm > 0.0 && reference_ohm.is_finite()) {
        return Err(TableError::ReferenceToWrite { reference_ohm });
    }
    let mut text = format!(
        "! One-port impedance, normalised to {reference_ohm:?} ohm as Touchstone version 1 wants it\n# HZ Z RI R {reference_ohm:?}\n"
    );
    for (frequency_hz, z_ohm) in curve.frequency_hz().iter().zip(curve.z_ohm()) {
        let z = z_ohm / reference_ohm;
        text.push_str(&format!("{frequency_hz:?} {:?} {:?}\n", z.re, z.im));
    }
    writer.write_all(text.as_bytes()).map_err(TableError::Write)
}
