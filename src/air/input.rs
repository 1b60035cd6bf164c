//! What was stated about the air, and what is assumed where nothing was.

use super::formulas::{Air, standard_pressure_pa};
use crate::finding::{Code, Finding, Severity};
use crate::quantity::{Dimension, QuantityError, Spread, Stated, parse_quantity_of};

/// The pressure at the bench, or what it can be reckoned from.
#[derive(Clone, Copy, Debug, PartialEq)]
#[non_exhaustive]
pub enum PressureInput {
    /// Read from a barometer at the bench, pascal. Not the sea-level pressure of a weather report.
    Pressure(Stated),
    /// Altitude above sea level, metres: the pressure is that of the standard atmosphere, give or take the weather.
    Altitude(Stated),
}

/// What somebody stated about the air; `None` where nothing was stated.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct AirInput {
    /// Temperature, kelvin.
    pub temperature_k: Option<Stated>,
    /// Pressure, or the altitude that tells it.
    pub pressure: Option<PressureInput>,
    /// Relative humidity, 0 to 1.
    pub relative_humidity: Option<Stated>,
}

/// The air with every gap filled: each value has a spread. Draws for a Monte Carlo run are made from these.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ResolvedAir {
    /// Temperature, kelvin.
    pub temperature_k: Stated,
    /// Pressure at the bench, pascal.
    pub pressure_pa: Stated,
    /// Relative humidity, 0 to 1. A draw may fall a little outside; the formulas go on smoothly there.
    pub relative_humidity: Stated,
}

impl ResolvedAir {
    /// The state at the stated values.
    pub fn air(&self) -> Air {
        Air {
            temperature_k: self.temperature_k.value,
            pressure_pa: self.pressure_pa.value,
            relative_humidity: self.relative_humidity.value,
        }
    }
}

/// Why air cannot be computed with, or text does not describe air.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum AirError {
    /// A part of the text is no quantity.
    #[error("in the air \"{text}\": {problem}; write for example 23C,1013hPa,45% or 23C,450m,45%")]
    Part {
        /// The part.
        text: String,
        /// What is wrong with it.
        problem: Box<QuantityError>,
    },
    /// The same quantity twice, or both a pressure and an altitude.
    #[error("the air's {what} is given twice; give it once (a pressure or an altitude, not both)")]
    Twice {
        /// Which quantity.
        what: &'static str,
    },
    /// No bench has this.
    #[error(
        "the air's {what} of {value:.2} {unit} is not one of a room; it has to be from {low} to {high} {unit}"
    )]
    Absurd {
        /// Which quantity.
        what: &'static str,
        /// What was stated, in `unit`.
        value: f64,
        /// The unit.
        unit: &'static str,
        /// Lowest value taken, in `unit`.
        low: f64,
        /// Highest value taken, in `unit`.
        high: f64,
    },
}

// Half-widths where a value came without one. Common practice, no source: what a cheap room thermometer, a phone's
// barometer, a map and a cheap hygrometer are good for.
const TEMPERATURE_HALF_WIDTH_K: f64 = 2.0;
const PRESSURE_HALF_WIDTH_PA: f64 = 500.0;
const ALTITUDE_HALF_WIDTH_M: f64 = 50.0;
const HUMIDITY_HALF_WIDTH: f64 = 0.2;

/// Standard uncertainty of the pressure at a known altitude, pascal: how far the weather of the middle latitudes moves
/// it. Common practice, no source.
const WEATHER_STANDARD_PA: f64 = 800.0;

// Value and half-width where nothing was stated. Common practice, no source: a heated room, anywhere from the coast to some
// 400 m (equation 6 gives 966 hPa there) with the weather on top.
const ASSUMED_TEMPERATURE_K: (f64, f64) = (293.15, 5.0);
const ASSUMED_PRESSURE_PA: (f64, f64) = (101_325.0, 5000.0);
const ASSUMED_HUMIDITY: (f64, f64) = (0.5, 0.3);

/// A range and what to call it.
struct Range {
    what: &'static str,
    unit: &'static str,
    low: f64,
    high: f64,
}

impl Range {
    fn contains(&self, value: f64) -> bool {
        (self.low..=self.high).contains(&value)
    }

    fn refuse_outside(&self, value: f64) -> Result<(), AirError> {
        if self.contains(value) {
            return Ok(());
        }
        Err(AirError::Absurd {
            what: self.what,
            value,
            unit: self.unit,
            low: self.low,
            high: self.high,
        })
    }
}

// Outside these a typing error is likelier than such a bench.
const POSSIBLE_CELSIUS: Range = Range {
    what: "temperature",
    unit: "°C",
    low: -20.0,
    high: 60.0,
};
const POSSIBLE_HPA: Range = Range {
    what: "pressure",
    unit: "hPa",
    low: 500.0,
    high: 1100.0,
};
const POSSIBLE_ALTITUDE_M: Range = Range {
    what: "altitude",
    unit: "m",
    low: -500.0,
    high: 5500.0,
};
const POSSIBLE_PERCENT: Range = Range {
    what: "relative humidity",
    unit: "%",
    low: 0.0,
    high: 100.0,
};

// Where both formulas are trusted: CIPM-2007's pressures and Cramer's temperatures. In this whole range, and at any
// humidity, the density is within 40 ppm and the speed of sound within 140 ppm of an independent equation of state
// (docs/air.md, "How far the formulas reach").
const VALID_CELSIUS: Range = Range {
    what: "temperature",
    unit: "Cel",
    low: 0.0,
    high: 30.0,
};
const VALID_PA: Range = Range {
    what: "pressure",
    unit: "Pa",
    low: 60_000.0,
    high: 110_000.0,
};

impl AirInput {
    /// Fills the gaps and turns an altitude into a pressure; findings say what was assumed.
    ///
    /// Notes: a value or a half-width that was not stated. Caution: outside the formulas' range of validity.
    ///
    /// # Errors
    /// [`AirError::Absurd`] if a value cannot be that of a room.
    pub fn resolve(&self) -> Result<(ResolvedAir, Vec<Finding>), AirError> {
        let mut findings = Vec::new();
        let temperature_k = match self.temperature_k {
            Some(stated) => spread_or(
                stated,
                TEMPERATURE_HALF_WIDTH_K,
                &TEMPERATURE,
                &mut findings,
            ),
            None => assumed(ASSUMED_TEMPERATURE_K, &TEMPERATURE, &mut findings),
        };
        let pressure_pa = match self.pressure {
            Some(PressureInput::Pressure(stated)) => {
                spread_or(stated, PRESSURE_HALF_WIDTH_PA, &PRESSURE, &mut findings)
            }
            Some(PressureInput::Altitude(stated)) => pressure_at(stated, &mut findings)?,
            None => assumed(ASSUMED_PRESSURE_PA, &PRESSURE, &mut findings),
        };
        let relative_humidity = match self.relative_humidity {
            Some(stated) => spread_or(stated, HUMIDITY_HALF_WIDTH, &HUMIDITY, &mut findings),
            None => assumed(ASSUMED_HUMIDITY, &HUMIDITY, &mut findings),
        };

        let celsius = temperature_k.value - 273.15;
        POSSIBLE_CELSIUS.refuse_outside(celsius)?;
        POSSIBLE_HPA.refuse_outside(pressure_pa.value / 100.0)?;
        POSSIBLE_PERCENT.refuse_outside(relative_humidity.value * 100.0)?;
        findings.extend(outside(&VALID_CELSIUS, celsius));
        findings.extend(outside(&VALID_PA, pressure_pa.value));
        Ok((
            ResolvedAir {
                temperature_k,
                pressure_pa,
                relative_humidity,
            },
            findings,
        ))
    }
}

/// Reads air such as `23C,1013hPa,45%` or `23C+-1C,450m`: up to three parts in any order, told apart by their units.
///
/// Parts that are absent stay `None`, spreads that are absent stay unstated.
///
/// # Errors
/// [`AirError`] if a part is no temperature, pressure, altitude or percentage, or if one is given twice.
pub fn parse_air(text: &str) -> Result<AirInput, AirError> {
    const PARTS: [Dimension; 4] = [
        Dimension::Temperature,
        Dimension::Pressure,
        Dimension::Altitude,
        Dimension::Ratio,
    ];
    let mut air = AirInput::default();
    for part in text.split(',') {
        let (dimension, stated) =
            parse_quantity_of(part, &PARTS).map_err(|problem| AirError::Part {
                text: text.chars().take(60).collect(),
                problem: Box::new(problem),
            })?;
        let (what, is_second) = match dimension {
            Dimension::Temperature => ("temperature", air.temperature_k.replace(stated).is_some()),
            Dimension::Ratio => ("humidity", air.relative_humidity.replace(stated).is_some()),
            Dimension::Altitude => (
                "pressure",
                air.pressure
                    .replace(PressureInput::Altitude(stated))
                    .is_some(),
            ),
            _ => (
                "pressure",
                air.pressure
                    .replace(PressureInput::Pressure(stated))
                    .is_some(),
            ),
        };
        if is_second {
            return Err(AirError::Twice { what });
        }
    }
    Ok(air)
}

/// How a quantity is spoken of in findings.
struct Wording {
    what: &'static str,
    unit: &'static str,
    ucum: &'static str,
    /// Shown = SI value · `scale` + `offset`.
    scale: f64,
    offset: f64,
    advice: &'static str,
}

const TEMPERATURE: Wording = Wording {
    what: "temperature",
    unit: "°C",
    ucum: "Cel",
    scale: 1.0,
    offset: -273.15,
    advice: "If you know better, state it, as in 23C+-1C.",
};
const PRESSURE: Wording = Wording {
    what: "pressure",
    unit: "hPa",
    ucum: "hPa",
    scale: 0.01,
    offset: 0.0,
    advice: "Vas goes with the pressure, which falls by 1 % for every 85 m of altitude: state the altitude, as in 450m, or a barometer's reading at the bench, as in 1013hPa+-2hPa.",
};
const ALTITUDE: Wording = Wording {
    what: "altitude",
    unit: "m",
    ucum: "m",
    scale: 1.0,
    offset: 0.0,
    advice: "If you know better, state it, as in 450m+-10m.",
};
const HUMIDITY: Wording = Wording {
    what: "relative humidity",
    unit: "%",
    ucum: "%",
    scale: 100.0,
    offset: 0.0,
    advice: "If you know better, state it, as in 45%+-5%; it matters little.",
};

/// The stated value, with the default half-width and a note if it came without a spread.
fn spread_or(
    stated: Stated,
    half_width: f64,
    wording: &Wording,
    findings: &mut Vec<Finding>,
) -> Stated {
    let (stated, is_default) = stated.or_half_width(half_width);
    if is_default {
        let Wording {
            what,
            unit,
            ucum,
            scale,
            advice,
            ..
        } = wording;
        let shown = half_width * scale;
        let message =
            format!("The air's {what} came without a spread; ±{shown} {unit} is assumed.");
        findings.push(
            Finding::new(Code::UncertaintyAssumed, Severity::Note, message, *advice)
                .with_evidence(shown, ucum, None),
        );
    }
    stated
}

/// The default value, with a note.
fn assumed(
    (value, half_width): (f64, f64),
    wording: &Wording,
    findings: &mut Vec<Finding>,
) -> Stated {
    let Wording {
        what,
        unit,
        ucum,
        scale,
        offset,
        advice,
    } = wording;
    let shown = value * scale + offset;
    let message = format!(
        "The air's {what} was not given; {shown} ± {} {unit} is assumed.",
        half_width * scale
    );
    findings.push(
        Finding::new(Code::ValueAssumed, Severity::Note, message, *advice)
            .with_evidence(shown, ucum, None),
    );
    Stated::within(value, half_width)
}

/// Pressure at an altitude, with the altitude's spread and the weather's, taken as normal.
fn pressure_at(altitude: Stated, findings: &mut Vec<Finding>) -> Result<Stated, AirError> {
    POSSIBLE_ALTITUDE_M.refuse_outside(altitude.value)?;
    let altitude = spread_or(altitude, ALTITUDE_HALF_WIDTH_M, &ALTITUDE, findings);
    let pressure_pa = standard_pressure_pa(altitude.value);
    // The barometric formula is straight enough over any spread of altitude that makes sense: a step of 1 m tells its slope.
    let slope_pa_per_m =
        standard_pressure_pa(altitude.value + 0.5) - standard_pressure_pa(altitude.value - 0.5);
    let from_altitude_pa = slope_pa_per_m * altitude.standard_uncertainty().unwrap_or_default();
    let standard_pa = from_altitude_pa.hypot(WEATHER_STANDARD_PA);
    findings.push(
        Finding::new(
            Code::ValueAssumed,
            Severity::Note,
            format!(
                "The pressure was reckoned from the altitude: {:.0} hPa, give or take {:.0} hPa of weather (standard uncertainty).",
                pressure_pa / 100.0,
                WEATHER_STANDARD_PA / 100.0
            ),
            "A barometer at the bench (many phones have one) tells it better; state its reading, as in 1013hPa+-2hPa.",
        )
        .with_evidence(pressure_pa / 100.0, "hPa", None),
    );
    Ok(Stated {
        value: pressure_pa,
        spread: Spread::Standard(standard_pa),
    })
}

fn outside(range: &Range, value: f64) -> Option<Finding> {
    if range.contains(value) {
        return None;
    }
    let limit = if value < range.low {
        range.low
    } else {
        range.high
    };
    let Range {
        what,
        unit,
        low,
        high,
    } = range;
    let shown_unit = if *unit == "Cel" { "°C" } else { unit };
    Some(
        Finding::new(
            Code::AirOutOfRange,
            Severity::Caution,
            format!(
                "The air's {what} of {value:.1} {shown_unit} is outside {low} to {high} {shown_unit}, for which the formulas for density and speed of sound were made."
            ),
            "Check the figure. If it is right, Vas and the efficiency are less certain than stated; measure in a heated room if you can.",
        )
        .with_evidence(value, unit, Some(limit)),
    )
}
