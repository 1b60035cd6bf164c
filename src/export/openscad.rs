//! Parameters and mounting dimensions as variables: `docs/export-openscad.md`.

use super::error::ExportError;
use super::label::{one_line, openscad_string};
use crate::parameters::Key;
use crate::sheet::Sheet;

/// The parameters in SI units and the mounting dimensions in millimetres, to be included into a model.
///
/// A dimension that nobody typed stops the render with its name, unless the model sets the variable itself.
///
/// # Errors
/// [`ExportError::Dimensions`] if the sheet's dimensions cannot be.
pub fn openscad(sheet: &Sheet) -> Result<String, ExportError> {
    let dimensions = sheet.dimensions.unwrap_or_default();
    dimensions.check()?;
    let mut text = format!(
        "\
// farcone-openscad/1, by farcone {}
// Driver: {}
// For include <...>. Parameters are in SI units and undef where unknown; dimensions are in mm.
// A dimension that nobody typed stops the render with its name. To go on without it, set the variable behind the include.

driver_label = {};
driver_verdict = {};

",
        one_line(&sheet.origin.version),
        one_line(&sheet.label),
        openscad_string(&sheet.label),
        openscad_string(&sheet.verdict),
    );
    for &key in Key::ALL {
        let (value, note) = match known(sheet, key) {
            Some(value) => (format!("{value:?}"), ""),
            None => ("undef".to_owned(), "unknown; "),
        };
        let unit = match key.unit() {
            "1" => "no unit",
            unit => unit,
        };
        text.push_str(&format!(
            "{} = {value}; // {unit}; {note}{}\n",
            variable(key),
            key.meaning()
        ));
    }

    text.push_str("\n// Mounting dimensions, mm; diameters, save the depth.\n");
    let cone = known(sheet, Key::Sd).map(|_| format!("2000 * sqrt({} / PI)", variable(Key::Sd)));
    text.push_str(&dimension(
        "driver_cone_mm",
        cone,
        "effective, from the cone's area",
        "--cone ...mm",
    ));
    for (typed_as, length_m) in dimensions.lengths() {
        let name = format!("driver_{}_mm", typed_as.replace('-', "_"));
        let flag = format!("--dimensions {typed_as}=...mm");
        text.push_str(&dimension(
            &name,
            length_m.map(millimetres),
            meaning(typed_as),
            &flag,
        ));
    }
    let screws = dimensions.n_screws.map(|n| n.to_string());
    text.push_str(&dimension(
        "driver_screws",
        screws,
        "number of screws, evenly around their circle",
        "--dimensions screws=...",
    ));
    Ok(text)
}

/// A parameter's value, if it is known.
fn known(sheet: &Sheet, key: Key) -> Option<f64> {
    let value = sheet.parameters.get(key)?.value;
    value.is_finite().then_some(value)
}

/// The line of a dimension. Without a value it stops the render, unless the variable is set again: OpenSCAD evaluates the last
/// value of a name only.
fn dimension(name: &str, value: Option<String>, what: &str, flag: &str) -> String {
    let value = value.unwrap_or_else(|| {
        format!(
            "assert(false, \"{name}: nobody typed it ({what}). Compute the sheet again with {flag} and export that, or set {name} behind the include\")"
        )
    });
    let unit = if name.ends_with("_mm") { "mm; " } else { "" };
    format!("{name} = {value}; // {unit}{what}\n")
}

/// A parameter's variable, with its unit.
fn variable(key: Key) -> String {
    let unit = match key.unit() {
        "Hz" => "_hz",
        "Ohm" => "_ohm",
        "m3" => "_m3",
        "kg" => "_kg",
        "m/N" => "_m_per_n",
        "kg/s" => "_kg_per_s",
        "T.m" => "_t_m",
        "m2" => "_m2",
        "H" => "_h",
        "dB[SPL]" => "_db",
        _ => "",
    };
    format!("driver_{}{unit}", key.as_str())
}

fn meaning(typed_as: &str) -> &'static str {
    match typed_as {
        "flange" => "outside of the flange",
        "cutout" => "hole in the panel",
        "screw-circle" => "circle through the middles of the screw holes",
        "depth" => "how far the driver reaches behind the flange",
        _ => "magnet",
    }
}

/// Metres in millimetres by moving the decimal point, so that 0.105 m is 105 and not 104.99999999999999.
fn millimetres(length_m: f64) -> String {
    let scientific = format!("{length_m:e}");
    let moved = scientific.split_once('e').and_then(|(digits, exponent)| {
        let exponent: i32 = exponent.parse().ok()?;
        format!("{digits}e{}", exponent + 3).parse::<f64>().ok()
    });
    format!("{:?}", moved.unwrap_or(1e3 * length_m))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_decimal_point_moves_without_rounding() {
        for (length_m, text) in [
            (0.105, "105.0"),
            (0.0921, "92.1"),
            (0.0635, "63.5"),
            (1.001, "1001.0"),
        ] {
            assert_eq!(millimetres(length_m), text);
        }
    }
}
