//! How a parameter is called and shown where people read.

use super::Key;
use crate::quantity::DisplayUnit;

impl Key {
    /// The trade's symbol.
    pub fn symbol(self) -> &'static str {
        self.shown().0
    }

    /// The unit that people read it in.
    pub fn display_unit(self) -> DisplayUnit {
        self.shown().1
    }

    /// What it is, in a few words.
    pub fn in_short(self) -> &'static str {
        self.shown().2
    }

    fn shown(self) -> (&'static str, DisplayUnit, &'static str) {
        use DisplayUnit as U;
        match self {
            Self::Fs => ("fs", U::Hertz, "resonance in free air"),
            Self::Re => ("Re", U::Ohm, "DC resistance"),
            Self::Qms => ("Qms", U::Plain, "mechanical Q"),
            Self::Qes => ("Qes", U::Plain, "electrical Q"),
            Self::Qts => ("Qts", U::Plain, "total Q"),
            Self::Vas => ("Vas", U::Litre, "air as stiff as the suspension"),
            Self::Mms => ("Mms", U::Gram, "moving mass with its air"),
            Self::Mmd => ("Mmd", U::Gram, "moving mass without air"),
            Self::Cms => ("Cms", U::MillimetrePerNewton, "compliance"),
            Self::Rms => ("Rms", U::KilogramPerSecond, "mechanical resistance"),
            Self::Bl => ("Bl", U::TeslaMetre, "force factor"),
            Self::Sd => ("Sd", U::SquareCentimetre, "area of the cone"),
            Self::Le1khz => ("Le 1k", U::Millihenry, "inductance at 1 kHz"),
            Self::Le10khz => ("Le 10k", U::Millihenry, "inductance at 10 kHz"),
            Self::Efficiency => ("η0", U::Percent, "efficiency, half space"),
            Self::Level1w => ("SPL 1 W", U::Decibel, "sound level for 1 W"),
            Self::Level2v83 => ("SPL 2.83 V", U::Decibel, "sound level for 2.83 V"),
            Self::MinimumImpedance => ("|Z| min", U::Ohm, "least impedance above fs"),
        }
    }
}
