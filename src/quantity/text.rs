//! Quantities as people type them: `5.2g+-0.05g`, `47ohm+-1%`, `23C`, `6Hz..20kHz`.
//!
//! A value and its unit; then, if its doubt is known, `+-` (or `±`, or `+/-`) and the half-width that a scale or a
//! marking states, or `+-u` and a standard uncertainty. The doubt carries a unit of its own, or `%` of the value.
//! Spaces are allowed between the parts. Units are case-sensitive (a milliohm is no megohm), decimals take a point.
//! A bare number is refused: guessing its unit is how a wrong result begins.

use super::unit::{Dimension, Sign, Unit};
use super::{Spread, Stated};

/// Why a text is no quantity. `text` is what was typed, cut short if it was long.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum QuantityError {
    /// Nothing was typed where a quantity belongs.
    #[error("{wanted} is missing; write for example {example}")]
    Missing {
        /// What was expected, with its article.
        wanted: String,
        /// How it could look.
        example: String,
    },
    /// It does not begin with a number.
    #[error("\"{text}\" does not begin with a number; write {wanted} like {example}")]
    NotANumber {
        /// What was typed.
        text: String,
        /// What was expected, with its article.
        wanted: String,
        /// How it could look.
        example: String,
    },
    /// A comma in a number.
    #[error(
        "\"{text}\" has a comma in its number; write a decimal point, as in {suggestion}, and no thousands separators"
    )]
    DecimalComma {
        /// What was typed.
        text: String,
        /// The same with a point.
        suggestion: String,
    },
    /// A number without a unit.
    #[error("\"{text}\" has no unit; write {suggestion} (units for {wanted}: {units})")]
    NoUnit {
        /// What was typed.
        text: String,
        /// The same with the most usual unit.
        suggestion: String,
        /// What was expected, with its article.
        wanted: String,
        /// What may be typed.
        units: String,
    },
    /// A unit that nothing here has.
    #[error(
        "\"{unit}\" in \"{text}\" is not a unit known here; units for {wanted}: {units} (mind upper and lower case)"
    )]
    UnknownUnit {
        /// What was typed.
        text: String,
        /// Its unit.
        unit: String,
        /// What was expected, with its article.
        wanted: String,
        /// What may be typed.
        units: String,
    },
    /// The unit of something else.
    #[error("\"{text}\" is {}, but {wanted} belongs here; its units are {units}", found.with_article())]
    WrongDimension {
        /// What was typed.
        text: String,
        /// What its unit measures.
        found: Dimension,
        /// What was expected, with its article.
        wanted: String,
        /// What may be typed.
        units: String,
    },
    /// A number too large for the machine.
    #[error("the number in \"{text}\" is too large to compute with; check its exponent")]
    NotFinite {
        /// What was typed.
        text: String,
    },
    /// Zero or less where only a positive value makes sense.
    #[error("\"{text}\" is not above zero, as {} has to be", dimension.with_article())]
    NotPositive {
        /// What was typed.
        text: String,
        /// What it measures.
        dimension: Dimension,
    },
    /// Less than zero where that makes no sense.
    #[error("\"{text}\" is below zero, which {} cannot be", dimension.with_article())]
    Negative {
        /// What was typed.
        text: String,
        /// What it measures.
        dimension: Dimension,
    },
    /// A spread without a unit.
    #[error(
        "the spread in \"{text}\" has no unit; write +-{suggestion}, or a percentage where that makes sense"
    )]
    SpreadNoUnit {
        /// What was typed.
        text: String,
        /// The spread with the most usual unit.
        suggestion: String,
    },
    /// A spread that is zero or negative.
    #[error(
        "the spread in \"{text}\" is not above zero; state what the scale or the marking allows, or leave the spread off and a default is assumed"
    )]
    SpreadNotPositive {
        /// What was typed.
        text: String,
    },
    /// A spread as large as the value itself.
    #[error(
        "the spread in \"{text}\" is as large as the value, so the value could be zero; check both"
    )]
    SpreadTooLarge {
        /// What was typed.
        text: String,
    },
    /// A percentage of a value whose zero is a convention.
    #[error("a spread in % makes no sense for the {} \"{text}\"; write it in {unit}", dimension.name())]
    SpreadRelative {
        /// What was typed.
        text: String,
        /// What it measures.
        dimension: Dimension,
        /// The unit to use.
        unit: &'static str,
    },
    /// More than one spread.
    #[error("\"{text}\" has more than one +-; state one spread")]
    TwoSpreads {
        /// What was typed.
        text: String,
    },
    /// Not of the shape low..high.
    #[error(
        "\"{text}\" is not a frequency band; write both ends with two points between them, like 6Hz..20kHz"
    )]
    NotABand {
        /// What was typed.
        text: String,
    },
    /// The ends of a band are equal or swapped.
    #[error("the band \"{text}\" does not rise; write the lower frequency first")]
    BandNotRising {
        /// What was typed.
        text: String,
    },
}

/// Reads a quantity of one dimension; the result is in SI (temperatures in kelvin, percent as a plain number).
///
/// A spread in `%` is relative to the value, except for a ratio, where `45%+-5%` means five percentage points.
///
/// # Errors
/// [`QuantityError`], always with the text and what to write instead.
///
/// ```
/// use farcone::quantity::{Dimension, Spread, parse_quantity};
/// let mass = parse_quantity("5.2g+-0.05g", Dimension::Mass)?;
/// assert_eq!((mass.value, mass.spread), (0.0052, Spread::HalfWidth(0.00005)));
/// assert!(parse_quantity("5.2", Dimension::Mass).unwrap_err().to_string().contains("write 5.2g"));
/// # Ok::<(), farcone::quantity::QuantityError>(())
/// ```
pub fn parse_quantity(text: &str, dimension: Dimension) -> Result<Stated, QuantityError> {
    parse_quantity_of(text, &[dimension]).map(|(_, stated)| stated)
}

/// Reads a quantity that may be of several dimensions; its unit decides which, the earlier one if two share the unit.
///
/// # Errors
/// As [`parse_quantity`].
pub fn parse_quantity_of(
    text: &str,
    dimensions: &[Dimension],
) -> Result<(Dimension, Stated), QuantityError> {
    let typed = Typed {
        text: text.trim(),
        dimensions,
    };
    let (value_text, spread_text) = typed.split()?;
    let (number, unit_text) = typed.number_and_rest(value_text)?;
    let (dimension, unit) = typed.unit(unit_text, number.digits)?;
    let value = typed.finite((number.scaled(unit) + unit.zero) * unit.factor)?;
    match dimension.sign() {
        Sign::Positive if value <= 0.0 => {
            return Err(QuantityError::NotPositive {
                text: typed.quoted(),
                dimension,
            });
        }
        Sign::NotNegative if value < 0.0 => {
            return Err(QuantityError::Negative {
                text: typed.quoted(),
                dimension,
            });
        }
        _ => {}
    }
    let spread = match spread_text {
        None => Spread::Unstated,
        Some(spread_text) => typed.spread(spread_text, dimension, value)?,
    };
    Ok((dimension, Stated { value, spread }))
}

/// Reads a frequency band such as `6Hz..20kHz`: lower and upper end in hertz.
///
/// # Errors
/// [`QuantityError`] if it is not two frequencies with units, the lower one first.
pub fn parse_band(text: &str) -> Result<(f64, f64), QuantityError> {
    let quoted = || shorten(text.trim());
    let (low_text, high_text) = text
        .split_once("..")
        .ok_or_else(|| QuantityError::NotABand { text: quoted() })?;
    let low = parse_quantity(low_text, Dimension::Frequency)?;
    let high = parse_quantity(high_text, Dimension::Frequency)?;
    if low.spread != Spread::Unstated || high.spread != Spread::Unstated {
        return Err(QuantityError::NotABand { text: quoted() });
    }
    if low.value >= high.value {
        return Err(QuantityError::BandNotRising { text: quoted() });
    }
    Ok((low.value, high.value))
}

/// A decimal number as typed, so that a power of ten can be applied to it without rounding twice.
struct Number<'a> {
    digits: &'a str,
    mantissa: &'a str,
    exponent: Option<i32>,
}

impl Number<'_> {
    /// The number times the unit's power of ten; infinite where the exponent is beyond reading.
    fn scaled(&self, unit: &Unit) -> f64 {
        self.shifted(unit.power_of_ten)
    }

    fn shifted(&self, power_of_ten: i32) -> f64 {
        self.exponent
            .and_then(|exponent| exponent.checked_add(power_of_ten))
            .and_then(|exponent| format!("{}e{exponent}", self.mantissa).parse().ok())
            .unwrap_or(f64::INFINITY)
    }
}

/// What was typed and what is expected there.
struct Typed<'t, 'd> {
    text: &'t str,
    dimensions: &'d [Dimension],
}

impl<'t> Typed<'t, '_> {
    fn split(&self) -> Result<(&'t str, Option<&'t str>), QuantityError> {
        if self.text.is_empty() {
            return Err(QuantityError::Missing {
                wanted: self.wanted(),
                example: self.example(),
            });
        }
        let Some((value, spread)) = split_at_spread(self.text) else {
            return Ok((self.text, None));
        };
        if split_at_spread(spread).is_some() {
            return Err(QuantityError::TwoSpreads {
                text: self.quoted(),
            });
        }
        Ok((value, Some(spread)))
    }

    fn number_and_rest(&self, text: &'t str) -> Result<(Number<'t>, &'t str), QuantityError> {
        let (number, rest) = scan_number(text.trim()).ok_or_else(|| QuantityError::NotANumber {
            text: self.quoted(),
            wanted: self.wanted(),
            example: self.example(),
        })?;
        if rest.starts_with(',') {
            return Err(QuantityError::DecimalComma {
                text: self.quoted(),
                suggestion: shorten(&self.text.replace(',', ".")),
            });
        }
        Ok((number, rest.trim()))
    }

    fn unit(
        &self,
        unit_text: &str,
        digits: &str,
    ) -> Result<(Dimension, &'static Unit), QuantityError> {
        if unit_text.is_empty() {
            let usual = self
                .dimensions
                .iter()
                .find_map(|dimension| dimension.units().next())
                .unwrap_or_default();
            return Err(QuantityError::NoUnit {
                text: self.quoted(),
                suggestion: format!("{}{usual}", shorten(digits)),
                wanted: self.wanted(),
                units: self.units(),
            });
        }
        let found = self
            .dimensions
            .iter()
            .find_map(|&dimension| Some((dimension, dimension.unit(unit_text)?)));
        found.ok_or_else(|| match Dimension::that_has(unit_text) {
            Some(found) => QuantityError::WrongDimension {
                text: self.quoted(),
                found,
                wanted: self.wanted(),
                units: self.units(),
            },
            None => QuantityError::UnknownUnit {
                text: self.quoted(),
                unit: shorten(unit_text),
                wanted: self.wanted(),
                units: self.units(),
            },
        })
    }

    fn spread(
        &self,
        text: &'t str,
        dimension: Dimension,
        value: f64,
    ) -> Result<Spread, QuantityError> {
        let text = text.trim();
        let (text, is_standard) = match text.strip_prefix('u') {
            Some(rest) => (rest, true),
            None => (text, false),
        };
        let (number, unit_text) = self.number_and_rest(text)?;
        let width = if unit_text == "%" && dimension != Dimension::Ratio {
            if !dimension.takes_relative_spread() {
                let unit = dimension.units().next().unwrap_or_default();
                return Err(QuantityError::SpreadRelative {
                    text: self.quoted(),
                    dimension,
                    unit,
                });
            }
            number.shifted(-2) * value
        } else if unit_text == "dB" && dimension == Dimension::Level {
            number.shifted(0)
        } else {
            // A spread is a difference, so the zero of the unit's scale does not enter.
            if unit_text.is_empty() {
                let usual = dimension.units().next().unwrap_or_default();
                let suggestion = format!("{}{usual}", shorten(number.digits));
                return Err(QuantityError::SpreadNoUnit {
                    text: self.quoted(),
                    suggestion,
                });
            }
            let spread_of = Typed {
                text: self.text,
                dimensions: &[dimension],
            };
            let (_, unit) = spread_of.unit(unit_text, number.digits)?;
            number.scaled(unit) * unit.factor
        };
        let width = self.finite(width)?;
        if width <= 0.0 {
            return Err(QuantityError::SpreadNotPositive {
                text: self.quoted(),
            });
        }
        if dimension.sign() == Sign::Positive && width >= value {
            return Err(QuantityError::SpreadTooLarge {
                text: self.quoted(),
            });
        }
        Ok(if is_standard {
            Spread::Standard(width)
        } else {
            Spread::HalfWidth(width)
        })
    }

    fn finite(&self, value: f64) -> Result<f64, QuantityError> {
        if value.is_finite() {
            Ok(value)
        } else {
            Err(QuantityError::NotFinite {
                text: self.quoted(),
            })
        }
    }

    fn quoted(&self) -> String {
        shorten(self.text)
    }

    fn wanted(&self) -> String {
        self.dimensions
            .iter()
            .map(|dimension| dimension.with_article())
            .collect::<Vec<_>>()
            .join(" or ")
    }

    fn units(&self) -> String {
        self.dimensions
            .iter()
            .flat_map(|dimension| dimension.units())
            .collect::<Vec<_>>()
            .join(", ")
    }

    fn example(&self) -> String {
        self.dimensions
            .iter()
            .take(1)
            .flat_map(|dimension| dimension.units().take(1))
            .map(|unit| format!("5.2{unit}"))
            .collect()
    }
}

fn split_at_spread(text: &str) -> Option<(&str, &str)> {
    ["+/-", "+-", "±"]
        .iter()
        .filter_map(|sign| text.split_once(sign))
        .min_by_key(|(before, _)| before.len())
}

/// A decimal number at the start of `text`, and what follows it.
fn scan_number(text: &str) -> Option<(Number<'_>, &str)> {
    let digits_from = |start: usize| {
        text.bytes()
            .skip(start)
            .take_while(u8::is_ascii_digit)
            .count()
    };
    let sign = usize::from(text.starts_with(['+', '-']));
    let whole = digits_from(sign);
    let mut end = sign + whole;
    let mut fraction = 0;
    if text[end..].starts_with('.') {
        fraction = digits_from(end + 1);
        end += 1 + fraction;
    }
    if whole + fraction == 0 {
        return None;
    }
    let mantissa = &text[..end];
    let mut exponent = Some(0);
    if text[end..].starts_with(['e', 'E']) {
        let exponent_sign = usize::from(text[end + 1..].starts_with(['+', '-']));
        let exponent_digits = digits_from(end + 1 + exponent_sign);
        // Without digits the letter belongs to the unit.
        if exponent_digits > 0 {
            let exponent_end = end + 1 + exponent_sign + exponent_digits;
            exponent = text[end + 1..exponent_end].parse().ok();
            end = exponent_end;
        }
    }
    Some((
        Number {
            digits: &text[..end],
            mantissa,
            exponent,
        },
        &text[end..],
    ))
}

/// Keeps messages short whatever was pasted.
fn shorten(text: &str) -> String {
    const LONGEST: usize = 60;
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
