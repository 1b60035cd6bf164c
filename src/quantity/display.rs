//! Honest digits: a value shown to the place that its uncertainty allows, in a unit that people use.
//!
//! The uncertainty gets two significant digits if they would be 10 to 29, else one; the value is rounded to the same
//! place. Two digits at most is the advice of JCGM 100:2008, 7.2.6; where to change from two to one is common practice
//! without a source, and keeps the rounding of the uncertainty itself below about 17 %. An uncertainty that is not
//! known is shown as `unknown`, and the value then to four significant digits.

/// A unit that people read.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub enum DisplayUnit {
    /// A plain number.
    Plain,
    /// A plain number shown in percent.
    Percent,
    /// Hertz.
    Hertz,
    /// Kilohertz.
    Kilohertz,
    /// Ohms.
    Ohm,
    /// Kilograms shown in grams.
    Gram,
    /// Cubic metres shown in litres.
    Litre,
    /// Metres shown in millimetres.
    Millimetre,
    /// Metres per newton shown in millimetres per newton.
    MillimetrePerNewton,
    /// Metres per newton shown in micrometres per newton.
    MicrometrePerNewton,
    /// Square metres shown in square centimetres.
    SquareCentimetre,
    /// Henries shown in millihenries.
    Millihenry,
    /// Tesla metres.
    TeslaMetre,
    /// Kilograms per second.
    KilogramPerSecond,
    /// Decibels.
    Decibel,
    /// Volts.
    Volt,
    /// Seconds.
    Second,
    /// Pascals shown in hectopascals.
    Hectopascal,
    /// Kilograms per cubic metre.
    KilogramPerCubicMetre,
    /// Metres per second.
    MetrePerSecond,
}

impl DisplayUnit {
    /// What stands behind the number; empty for a plain number.
    pub fn symbol(self) -> &'static str {
        match self {
            Self::Plain => "",
            Self::Percent => "%",
            Self::Hertz => "Hz",
            Self::Kilohertz => "kHz",
            Self::Ohm => "Ω",
            Self::Gram => "g",
            Self::Litre => "L",
            Self::Millimetre => "mm",
            Self::MillimetrePerNewton => "mm/N",
            Self::MicrometrePerNewton => "µm/N",
            Self::SquareCentimetre => "cm²",
            Self::Millihenry => "mH",
            Self::TeslaMetre => "T·m",
            Self::KilogramPerSecond => "kg/s",
            Self::Decibel => "dB",
            Self::Volt => "V",
            Self::Second => "s",
            Self::Hectopascal => "hPa",
            Self::KilogramPerCubicMetre => "kg/m³",
            Self::MetrePerSecond => "m/s",
        }
    }

    /// The number shown for an SI value.
    pub fn from_si(self, value_si: f64) -> f64 {
        let power = self.power_of_ten();
        // Dividing by a positive power of ten rounds once; multiplying by its inexact inverse would round twice.
        if power < 0 {
            value_si * 10_f64.powi(-power)
        } else {
            value_si / 10_f64.powi(power)
        }
    }

    /// One of this unit is 10 to this power in SI.
    fn power_of_ten(self) -> i32 {
        match self {
            Self::Plain
            | Self::Hertz
            | Self::Ohm
            | Self::TeslaMetre
            | Self::KilogramPerSecond
            | Self::Decibel
            | Self::Volt
            | Self::Second
            | Self::KilogramPerCubicMetre
            | Self::MetrePerSecond => 0,
            Self::Percent => -2,
            Self::Kilohertz => 3,
            Self::Gram
            | Self::Litre
            | Self::Millimetre
            | Self::MillimetrePerNewton
            | Self::Millihenry => -3,
            Self::MicrometrePerNewton => -6,
            Self::SquareCentimetre => -4,
            Self::Hectopascal => 2,
        }
    }
}

/// The texts of one value, ready for a table.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Shown {
    /// The value.
    pub value: String,
    /// What stands behind the ±: the uncertainty, `unknown`, or `<` and the last place shown.
    pub plus_minus: String,
    /// The unit; empty for a plain number.
    pub unit: &'static str,
}

impl Shown {
    /// `95.0 ± 1.9 Hz`, or `95.00 Hz, doubt unknown`.
    ///
    /// ```
    /// use farcone::quantity::{DisplayUnit, format_estimate};
    /// let fs = |u| format_estimate(95.0, u, DisplayUnit::Hertz).with_doubt();
    /// assert_eq!(fs(Some(1.9)), "95.0 ± 1.9 Hz");
    /// assert_eq!(fs(None), "95.00 Hz, doubt unknown");
    /// ```
    pub fn with_doubt(&self) -> String {
        let Self {
            value,
            plus_minus,
            unit,
        } = self;
        let space = if unit.is_empty() { "" } else { " " };
        match plus_minus.as_str() {
            "unknown" => format!("{value}{space}{unit}, doubt unknown"),
            doubt => format!("{value} ± {doubt}{space}{unit}"),
        }
    }
}

/// Half-width of a 95 % interval in standard uncertainties, for a normal distribution.
pub const COVERAGE_95: f64 = 1.96;

/// Digits for a value whose uncertainty is not known.
const DIGITS_OF_UNKNOWN: i32 = 4;
/// No value is shown to more significant digits than this, however small its uncertainty: no bench measures better.
const MOST_DIGITS: i32 = 7;
/// Beyond these powers of ten a number is shown with an exponent.
const PLAIN_DECADES: std::ops::RangeInclusive<i32> = -6..=9;

/// Rounds an SI value to what its uncertainty (SI; `None`: unknown) allows and shows both in `unit`.
///
/// Whether the uncertainty is a standard one or a half-width is the caller's to say; the digits are the same. One that
/// is zero, negative or not a number counts as unknown, since zero would read as perfect certainty.
///
/// ```
/// use farcone::quantity::{DisplayUnit, format_estimate};
/// let vas = format_estimate(0.042418935, Some(0.0013), DisplayUnit::Litre);
/// assert_eq!((vas.value.as_str(), vas.plus_minus.as_str(), vas.unit), ("42.4", "1.3", "L"));
/// ```
pub fn format_estimate(value_si: f64, uncertainty_si: Option<f64>, unit: DisplayUnit) -> Shown {
    let value = unit.from_si(value_si);
    let uncertainty = uncertainty_si
        .map(|u| unit.from_si(u))
        .filter(|u| *u > 0.0 && u.is_finite());
    let (value, plus_minus) = if value.is_finite() {
        digits(value, uncertainty)
    } else {
        (String::from("unknown"), String::from("unknown"))
    };
    Shown {
        value,
        plus_minus,
        unit: unit.symbol(),
    }
}

fn digits(value: f64, uncertainty: Option<f64>) -> (String, String) {
    let finest = |n_digits: i32| decade(value) - n_digits + 1;
    match uncertainty {
        None => (
            at_place(value, finest(DIGITS_OF_UNKNOWN)),
            String::from("unknown"),
        ),
        Some(u) => {
            let wanted = last_place(u);
            let place = if value == 0.0 {
                wanted
            } else {
                wanted.max(finest(MOST_DIGITS))
            };
            let shown = at_place(u, place);
            let vanished = place > wanted && 2.0 * u < 10_f64.powi(place);
            let shown = if vanished {
                format!("<{}", at_place(10_f64.powi(place), place))
            } else {
                shown
            };
            (at_place(value, place), shown)
        }
    }
}

/// The power of ten of the last digit that an uncertainty deserves.
fn last_place(u: f64) -> i32 {
    let decade = decade(u);
    let two_digits = (u / 10_f64.powi(decade - 1)).round();
    if two_digits < 30.0 {
        decade - 1
    } else {
        decade
    }
}

/// The power of ten of the first digit; 0 for zero.
fn decade(x: f64) -> i32 {
    if x == 0.0 {
        0
    } else {
        x.abs().log10().floor() as i32
    }
}

/// `x` with its last digit at 10^`place`.
fn at_place(x: f64, place: i32) -> String {
    let text = if !PLAIN_DECADES.contains(&decade(x)) {
        format!(
            "{:.*e}",
            (decade(x) - place).clamp(0, MOST_DIGITS) as usize,
            x
        )
    } else if place <= 0 {
        format!("{x:.*}", place.unsigned_abs() as usize)
    } else {
        let step = 10_f64.powi(place);
        format!("{:.0}", (x / step).round() * step)
    };
    // A negative number that rounds to nothing would keep its sign.
    match text.strip_prefix('-') {
        Some(rest) if rest.bytes().all(|b| matches!(b, b'0' | b'.')) => rest.to_owned(),
        _ => text,
    }
}
