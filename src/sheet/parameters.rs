//! The parameters of a sheet.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::parameters::Key;

/// A source of doubt about one parameter.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Share {
    /// The source, in plain words.
    pub source: String,
    /// Standard uncertainty that it alone would cause, in the parameter's unit.
    pub standard_uncertainty: f64,
    /// Its part of the variance within these takes, 0 to 1.
    pub share: f64,
    /// What would make it smaller.
    pub advice: String,
}

/// One parameter.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ParameterEntry {
    /// Value in `unit`.
    pub value: f64,
    /// UCUM code.
    pub unit: String,
    /// Standard uncertainty within these takes; null if unknown.
    pub standard_uncertainty: Option<f64>,
    /// Standard uncertainty from one set-up to the next; null if unknown.
    pub setup_uncertainty: Option<f64>,
    /// `measured` from remounted takes, or `assumed` (common practice, no source); null if unknown.
    pub setup_origin: Option<String>,
    /// 95 % coverage interval within these takes; null if unknown.
    pub interval_95: Option<[f64; 2]>,
    /// Sources of doubt within these takes, the largest first.
    pub budget: Vec<Share>,
}

macro_rules! parameters {
    ($($(#[doc = $doc:literal])+ $field:ident = $key:ident,)+) => {
        /// The parameters. One that the takes cannot tell is absent.
        #[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
        #[serde(deny_unknown_fields)]
        pub struct Parameters {
            $(
                $(#[doc = $doc])+
                #[serde(default, skip_serializing_if = "Option::is_none")]
                pub $field: Option<ParameterEntry>,
            )+
        }

        impl Parameters {
            /// One parameter, if the sheet has it.
            pub fn get(&self, key: Key) -> Option<&ParameterEntry> {
                match key { $(Key::$key => self.$field.as_ref(),)+ }
            }

            /// One parameter, to be changed.
            pub fn get_mut(&mut self, key: Key) -> Option<&mut ParameterEntry> {
                match key { $(Key::$key => self.$field.as_mut(),)+ }
            }

            /// Puts a parameter in.
            pub fn set(&mut self, key: Key, entry: ParameterEntry) {
                match key { $(Key::$key => self.$field = Some(entry),)+ }
            }
        }
    };
}

parameters! {
    /// Resonance in free air.
    fs = Fs,
    /// DC resistance of the coil.
    re = Re,
    /// Mechanical Q.
    qms = Qms,
    /// Electrical Q, with Re alone in the circuit.
    qes = Qes,
    /// Total Q.
    qts = Qts,
    /// Volume of air that is as stiff as the suspension.
    vas = Vas,
    /// Moving mass with the air load of free air.
    mms = Mms,
    /// Moving mass without air.
    mmd = Mmd,
    /// Compliance of the suspension at fs.
    cms = Cms,
    /// Mechanical resistance at fs.
    rms = Rms,
    /// Force factor.
    bl = Bl,
    /// Effective area of the cone.
    sd = Sd,
    /// Inductance seen at 1 kHz.
    le_1khz = Le1khz,
    /// Inductance seen at 10 kHz.
    le_10khz = Le10khz,
    /// Reference efficiency into half space.
    efficiency = Efficiency,
    /// Level at 1 m, half space, for 1 W into Re.
    level_1w = Level1w,
    /// Level at 1 m, half space, for 2.83 V across Re.
    level_2v83 = Level2v83,
    /// Smallest impedance magnitude above the resonance.
    minimum_impedance = MinimumImpedance,
}
