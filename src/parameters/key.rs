//! The parameters by name.

macro_rules! keys {
    ($($(#[doc = $doc:literal])+ $name:ident = $text:literal, $unit:literal;)+) => {
        /// A parameter of the result.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
        #[non_exhaustive]
        pub enum Key {
            $($(#[doc = $doc])+ $name,)+
        }

        impl Key {
            /// Every parameter, in the order of tables.
            pub const ALL: &'static [Self] = &[$(Self::$name,)+];

            /// The parameters that somebody buys or builds by.
            pub const MAIN: [Self; 8] = [
                Self::Fs,
                Self::Re,
                Self::Qms,
                Self::Qes,
                Self::Qts,
                Self::Vas,
                Self::Mms,
                Self::Bl,
            ];

            /// Its name in a sheet.
            pub fn as_str(self) -> &'static str {
                match self { $(Self::$name => $text,)+ }
            }

            /// Unit of its value as a UCUM code.
            pub fn unit(self) -> &'static str {
                match self { $(Self::$name => $unit,)+ }
            }

            /// What it is, in one sentence.
            pub fn meaning(self) -> &'static str {
                match self { $(Self::$name => concat!($($doc),+).trim_start(),)+ }
            }
        }
    };
}

keys! {
    /// Resonance in free air.
    Fs = "fs", "Hz";
    /// DC resistance of the coil.
    Re = "re", "Ohm";
    /// Mechanical Q.
    Qms = "qms", "1";
    /// Electrical Q, with Re alone in the circuit.
    Qes = "qes", "1";
    /// Total Q.
    Qts = "qts", "1";
    /// Volume of air that is as stiff as the suspension.
    Vas = "vas", "m3";
    /// Moving mass with the air load of free air.
    Mms = "mms", "kg";
    /// Moving mass without air: Mms less 8/3·ρ·a³, the load on both sides of a disc without baffle.
    Mmd = "mmd", "kg";
    /// Compliance of the suspension at fs.
    Cms = "cms", "m/N";
    /// Mechanical resistance at fs.
    Rms = "rms", "kg/s";
    /// Force factor.
    Bl = "bl", "T.m";
    /// Effective area of the cone.
    Sd = "sd", "m2";
    /// Inductance seen at 1 kHz: Im(coil impedance)/(2πf), whatever the coil model.
    Le1khz = "le_1khz", "H";
    /// Inductance seen at 10 kHz.
    Le10khz = "le_10khz", "H";
    /// Reference efficiency into half space.
    Efficiency = "efficiency", "1";
    /// Sound pressure level at 1 m, half space, for 1 W into Re.
    Level1w = "level_1w", "dB[SPL]";
    /// Sound pressure level at 1 m, half space, for 2.83 V across Re.
    Level2v83 = "level_2v83", "dB[SPL]";
    /// Smallest impedance magnitude above the resonance.
    MinimumImpedance = "minimum_impedance", "Ohm";
}
