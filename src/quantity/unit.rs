//! The units that people may type, by dimension.

/// What a typed quantity measures; it decides which units are accepted.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub enum Dimension {
    /// Kilograms.
    Mass,
    /// Cubic metres.
    Volume,
    /// Ohms.
    Resistance,
    /// Metres; a size, so above zero.
    Length,
    /// Square metres.
    Area,
    /// Hertz.
    Frequency,
    /// Kelvin, whichever scale was typed.
    Temperature,
    /// Pascals.
    Pressure,
    /// Metres above sea level, which may be below zero.
    Altitude,
    /// A plain number that is typed in percent; zero or above.
    Ratio,
    /// Seconds.
    Time,
    /// Decibels relative to full scale; any sign.
    Level,
    /// Volts.
    Voltage,
    /// Henries.
    Inductance,
    /// Metres per newton.
    Compliance,
    /// Tesla metres.
    ForceFactor,
    /// Kilograms per second.
    MechanicalResistance,
    /// Decibels re 20 µPa; any sign.
    SoundLevel,
}

/// Which numbers a dimension can take.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Sign {
    Positive,
    NotNegative,
    Any,
}

impl Dimension {
    const ALL: &'static [Self] = &[
        Self::Mass,
        Self::Volume,
        Self::Resistance,
        Self::Length,
        Self::Area,
        Self::Frequency,
        Self::Temperature,
        Self::Pressure,
        Self::Altitude,
        Self::Ratio,
        Self::Time,
        Self::Level,
        Self::Voltage,
        Self::Inductance,
        Self::Compliance,
        Self::ForceFactor,
        Self::MechanicalResistance,
        Self::SoundLevel,
    ];

    /// What it is called in a message.
    pub fn name(self) -> &'static str {
        match self {
            Self::Mass => "mass",
            Self::Volume => "volume",
            Self::Resistance => "resistance",
            Self::Length => "length",
            Self::Area => "area",
            Self::Frequency => "frequency",
            Self::Temperature => "temperature",
            Self::Pressure => "pressure",
            Self::Altitude => "altitude",
            Self::Ratio => "ratio",
            Self::Time => "time",
            Self::Level => "level",
            Self::Voltage => "voltage",
            Self::Inductance => "inductance",
            Self::Compliance => "compliance",
            Self::ForceFactor => "force factor",
            Self::MechanicalResistance => "mechanical resistance",
            Self::SoundLevel => "sound level",
        }
    }

    pub(super) fn with_article(self) -> String {
        let article = if matches!(self, Self::Area | Self::Altitude | Self::Inductance) {
            "an"
        } else {
            "a"
        };
        format!("{article} {}", self.name())
    }

    /// The usual spelling of every unit that may be typed, the most usual unit first.
    pub fn units(self) -> impl Iterator<Item = &'static str> {
        self.table().iter().map(|unit| unit.spellings[0])
    }

    pub(super) fn sign(self) -> Sign {
        match self {
            Self::Altitude | Self::Level | Self::SoundLevel => Sign::Any,
            Self::Ratio => Sign::NotNegative,
            _ => Sign::Positive,
        }
    }

    /// Whether a spread may be typed as a percentage of the value: not where zero is a convention.
    pub(super) fn takes_relative_spread(self) -> bool {
        !matches!(
            self,
            Self::Temperature | Self::Altitude | Self::Level | Self::Ratio | Self::SoundLevel
        )
    }

    pub(super) fn unit(self, spelling: &str) -> Option<&'static Unit> {
        self.table()
            .iter()
            .find(|unit| unit.spellings.contains(&spelling))
    }

    /// The first dimension that has a unit of this spelling.
    pub(super) fn that_has(spelling: &str) -> Option<Self> {
        Self::ALL
            .iter()
            .copied()
            .find(|dimension| dimension.unit(spelling).is_some())
    }

    fn table(self) -> &'static [Unit] {
        match self {
            Self::Mass => MASS,
            Self::Volume => VOLUME,
            Self::Resistance => RESISTANCE,
            Self::Length => LENGTH,
            Self::Area => AREA,
            Self::Frequency => FREQUENCY,
            Self::Temperature => TEMPERATURE,
            Self::Pressure => PRESSURE,
            Self::Altitude => ALTITUDE,
            Self::Ratio => RATIO,
            Self::Time => TIME,
            Self::Level => LEVEL,
            Self::Voltage => VOLTAGE,
            Self::Inductance => INDUCTANCE,
            Self::Compliance => COMPLIANCE,
            Self::ForceFactor => FORCE_FACTOR,
            Self::MechanicalResistance => MECHANICAL_RESISTANCE,
            Self::SoundLevel => SOUND_LEVEL,
        }
    }
}

/// One unit: SI value = (number + `zero`) · 10^`power_of_ten` · `factor`.
///
/// The power of ten is kept apart because it can be applied to the typed digits without rounding.
#[derive(Debug)]
pub(super) struct Unit {
    spellings: &'static [&'static str],
    pub(super) power_of_ten: i32,
    pub(super) factor: f64,
    pub(super) zero: f64,
}

const fn decimal(spellings: &'static [&'static str], power_of_ten: i32) -> Unit {
    Unit {
        spellings,
        power_of_ten,
        factor: 1.0,
        zero: 0.0,
    }
}

const fn odd(spellings: &'static [&'static str], factor: f64, zero: f64) -> Unit {
    Unit {
        spellings,
        power_of_ten: 0,
        factor,
        zero,
    }
}

// The inch is 25.4 mm, the foot 12 inches and the avoirdupois ounce 28.349523125 g, all exactly (international yard
// and pound agreement of 1959). Fahrenheit: 9 °F = 5 K, absolute zero at -459.67 °F.
const MASS: &[Unit] = &[
    decimal(&["g"], -3),
    decimal(&["mg"], -6),
    decimal(&["kg"], 0),
    odd(&["oz"], 0.028_349_523_125, 0.0),
];
const VOLUME: &[Unit] = &[
    decimal(&["L", "l", "dm3", "dm^3", "dm³"], -3),
    decimal(&["ml", "mL", "cm3", "cm^3", "cm³"], -6),
    decimal(&["cl", "cL"], -5),
    decimal(&["dl", "dL"], -4),
    decimal(&["m3", "m^3", "m³"], 0),
    odd(&["in3", "in^3", "in³"], 1.638_706_4e-5, 0.0),
];
// Greek capital omega and the ohm sign are two code points that look the same; likewise the two micro signs.
const RESISTANCE: &[Unit] = &[
    decimal(&["ohm", "Ohm", "ohms", "\u{3a9}", "\u{2126}"], 0),
    decimal(&["mohm", "m\u{3a9}", "m\u{2126}"], -3),
    decimal(&["kohm", "kOhm", "k\u{3a9}", "k\u{2126}"], 3),
    decimal(&["Mohm", "MOhm", "M\u{3a9}", "M\u{2126}"], 6),
];
const LENGTH: &[Unit] = &[
    decimal(&["mm"], -3),
    decimal(&["cm"], -2),
    decimal(&["m"], 0),
    odd(&["in", "inch"], 0.0254, 0.0),
];
const AREA: &[Unit] = &[
    decimal(&["cm2", "cm^2", "cm²"], -4),
    decimal(&["mm2", "mm^2", "mm²"], -6),
    decimal(&["m2", "m^2", "m²"], 0),
    odd(&["in2", "in^2", "in²"], 6.4516e-4, 0.0),
];
const FREQUENCY: &[Unit] = &[decimal(&["Hz"], 0), decimal(&["kHz"], 3)];
const TEMPERATURE: &[Unit] = &[
    odd(&["C", "°C", "degC"], 1.0, 273.15),
    odd(&["F", "°F", "degF"], 5.0 / 9.0, 459.67),
    decimal(&["K"], 0),
];
const PRESSURE: &[Unit] = &[
    decimal(&["hPa"], 2),
    decimal(&["Pa"], 0),
    decimal(&["kPa"], 3),
    decimal(&["mbar"], 2),
];
const ALTITUDE: &[Unit] = &[
    decimal(&["m"], 0),
    decimal(&["km"], 3),
    odd(&["ft"], 0.3048, 0.0),
];
const RATIO: &[Unit] = &[decimal(&["%"], -2)];
const TIME: &[Unit] = &[decimal(&["s"], 0), decimal(&["ms"], -3)];
const LEVEL: &[Unit] = &[decimal(&["dBFS", "dBfs"], 0)];
const VOLTAGE: &[Unit] = &[decimal(&["V"], 0), decimal(&["mV"], -3)];
const INDUCTANCE: &[Unit] = &[
    decimal(&["mH"], -3),
    decimal(&["H"], 0),
    decimal(&["uH", "\u{b5}H", "\u{3bc}H"], -6),
];
const COMPLIANCE: &[Unit] = &[
    decimal(&["mm/N"], -3),
    decimal(&["um/N", "\u{b5}m/N", "\u{3bc}m/N"], -6),
    decimal(&["m/N"], 0),
];
const FORCE_FACTOR: &[Unit] = &[decimal(&["Tm", "T.m", "T\u{b7}m", "N/A"], 0)];
const MECHANICAL_RESISTANCE: &[Unit] = &[decimal(&["kg/s", "Ns/m", "N.s/m", "N\u{b7}s/m"], 0)];
const SOUND_LEVEL: &[Unit] = &[decimal(&["dB"], 0)];
