//! What is typed, and what this is.

use serde::Deserialize;
use serde_json::json;

use super::answer::{Answer, Refusal};
use super::frame::Request;
use crate::quantity::{Dimension, DisplayUnit, Spread, Stated, parse_quantity};
use crate::session::stated_json;

pub(super) fn about() -> Answer {
    json!({"version": env!("CARGO_PKG_VERSION")}).into()
}

#[derive(Deserialize)]
struct Typed {
    text: String,
    kind: String,
}

/// Reads a quantity as the command line does.
pub(super) fn quantity(request: &Request<'_>) -> Result<Answer, Refusal> {
    let typed: Typed = request.args()?;
    let (dimension, unit, shown_in) = match typed.kind.as_str() {
        "mass" => (Dimension::Mass, "kg", DisplayUnit::Gram),
        "volume" => (Dimension::Volume, "m3", DisplayUnit::Litre),
        "resistance" => (Dimension::Resistance, "Ohm", DisplayUnit::Ohm),
        "length" => (Dimension::Length, "m", DisplayUnit::Millimetre),
        "temperature" => (Dimension::Temperature, "K", DisplayUnit::Plain),
        "altitude" => (Dimension::Altitude, "m", DisplayUnit::Plain),
        "pressure" => (Dimension::Pressure, "Pa", DisplayUnit::Hectopascal),
        "ratio" => (Dimension::Ratio, "1", DisplayUnit::Percent),
        "voltage" => (Dimension::Voltage, "V", DisplayUnit::Volt),
        other => return Err(Refusal::new(format!("\"{other}\" is no kind of quantity"))),
    };
    let stated = parse_quantity(&typed.text, dimension)?;
    Ok(json!({
        "stated": stated_json(&stated, unit),
        "shown": shown(&stated, dimension, shown_in),
    })
    .into())
}

/// The value once more in a unit that people use, so that a slip of the pen is seen.
pub(super) fn shown(stated: &Stated, dimension: Dimension, unit: DisplayUnit) -> String {
    /// Of the freezing point of water on the Kelvin scale, K (exact by definition of the Celsius scale).
    const ZERO_CELSIUS_K: f64 = 273.15;
    let (value, symbol) = match dimension {
        Dimension::Temperature => (stated.value - ZERO_CELSIUS_K, "°C"),
        Dimension::Altitude => (stated.value, "m"),
        _ => (unit.from_si(stated.value), unit.symbol()),
    };
    let half = match stated.spread {
        Spread::HalfWidth(v) | Spread::Standard(v) => format!(" ± {}", short(unit.from_si(v))),
        Spread::Unstated => String::new(),
    };
    format!("{}{half} {symbol}", short(value))
        .trim_end()
        .to_owned()
}

/// A number without zeros that say nothing.
fn short(value: f64) -> String {
    let digits = crate::chat::digits(value);
    if digits.contains('.') {
        digits
            .trim_end_matches('0')
            .trim_end_matches('.')
            .to_owned()
    } else {
        digits
    }
}
