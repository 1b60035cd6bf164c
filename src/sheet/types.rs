//! The sheet and its parts.

use std::collections::BTreeMap;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::rows::numbers_in_rows;
use super::{Dimensions, Parameters};
use crate::parameters::Key;

/// The format's name and version, the value of [`Sheet::schema`].
pub const SCHEMA: &str = "farcone-driver-sheet/1";

/// The result of one driver's session.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[schemars(title = "farcone-driver-sheet/1")]
pub struct Sheet {
    /// `farcone-driver-sheet/1`.
    pub schema: String,
    /// What somebody calls the driver.
    pub label: String,
    /// `good`, `usable` or `redo`.
    pub verdict: String,
    /// What was noticed.
    pub findings: Vec<Finding>,
    /// Small-signal parameters; what the takes cannot tell is absent.
    pub parameters: Parameters,
    /// Correlations of the parameters within these takes; null without parameters.
    pub correlation: Option<Correlation>,
    /// The best circuit with its own values; null if no circuit was fitted.
    pub circuit: Option<CircuitEntry>,
    /// Derived: highest standard rating of which 80 % lies below the minimum impedance, ohm.
    pub derived_rating_ohm: Option<f64>,
    /// Mounting dimensions; null if nobody typed any.
    pub dimensions: Option<Dimensions>,
    /// What the takes were made in.
    pub conditions: Conditions,
    /// The driver at several levels, the quietest first; empty if all takes had one level.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub levels: Vec<LevelEntry>,
    /// Impedance of each condition: measured and modelled.
    pub curves: Vec<CurveEntry>,
    /// Where the result came from.
    pub origin: Origin,
}

/// Something that was noticed.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Finding {
    /// Stable code.
    pub code: String,
    /// `note`, `caution` or `redo`.
    pub severity: String,
    /// The take it is about; null if it is about none in particular.
    pub take: Option<String>,
    /// What was noticed.
    pub message: String,
    /// What to do.
    pub advice: String,
    /// The figure behind it; null if there is none.
    pub evidence: Option<Evidence>,
}

/// The figure behind a finding.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Evidence {
    /// What was measured, in `unit`; null if it is not finite.
    pub value: Option<f64>,
    /// UCUM code.
    pub unit: String,
    /// The limit it crossed, in `unit`; null if there is none.
    pub limit: Option<f64>,
}

impl From<&crate::finding::Finding> for Finding {
    fn from(finding: &crate::finding::Finding) -> Self {
        // What is not finite is unknown: JSON has no number for it.
        let known = |value: f64| value.is_finite().then_some(value);
        Self {
            code: finding.code.as_str().to_owned(),
            severity: finding.severity.as_str().to_owned(),
            take: finding.take.clone(),
            message: finding.message.clone(),
            advice: finding.advice.clone(),
            evidence: finding.evidence.as_ref().map(|evidence| Evidence {
                value: known(evidence.value),
                unit: evidence.unit.to_owned(),
                limit: evidence.limit.and_then(known),
            }),
        }
    }
}

/// Correlation coefficients.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Correlation {
    /// Names, in the order of rows and columns.
    pub parameters: Vec<String>,
    /// Rows of the symmetric matrix.
    pub matrix: Vec<Vec<f64>>,
}

impl Correlation {
    /// The coefficient of two parameters; `None` where one of them is not in the matrix.
    pub fn coefficient(&self, a: Key, b: Key) -> Option<f64> {
        let place = |key: Key| self.parameters.iter().position(|name| name == key.as_str());
        self.matrix.get(place(a)?)?.get(place(b)?).copied()
    }
}

/// A value with its unit and standard uncertainty.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ValueEntry {
    /// Value in `unit`.
    pub value: f64,
    /// UCUM code.
    pub unit: String,
    /// Standard uncertainty within these takes; null if unknown.
    pub standard_uncertainty: Option<f64>,
}

/// The best circuit.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct CircuitEntry {
    /// Coil family: `plain`, `lr-2`, `power-law` or `semi-inductor`.
    pub coil: String,
    /// Reference frequency of the suspension creep, Hz; null without creep.
    pub creep_reference_hz: Option<f64>,
    /// The circuit's own parameters by name. Without an added mass or a box the mechanical ones stand for any driver
    /// with the same electrical behaviour, and have no uncertainty.
    pub values: BTreeMap<String, ValueEntry>,
    /// Whether the mechanical values are the driver's own (true), or only electrically equivalent (false).
    pub mechanical_values_known: bool,
    /// All circuits that were compared, the best first.
    pub candidates: Vec<CandidateEntry>,
}

/// A circuit that was compared.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct CandidateEntry {
    /// Coil family.
    pub coil: String,
    /// Whether suspension creep was part of it.
    pub creep: bool,
    /// Whether a leak of the test box was part of it.
    pub leak: bool,
    /// Weight in the averaged parameters, 0 to 1.
    pub weight: f64,
    /// AICc above the best one's.
    pub aicc_behind: f64,
    /// Loss over degrees of freedom: near 1 if noise explains what is left.
    pub reduced_loss: f64,
}

/// A value as somebody stated it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct StatedEntry {
    /// Value in `unit`.
    pub value: f64,
    /// UCUM code.
    pub unit: String,
    /// Standard uncertainty; null if unknown.
    pub standard_uncertainty: Option<f64>,
}

/// The air.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct AirEntry {
    /// Temperature, K.
    pub temperature: StatedEntry,
    /// Pressure at the bench, Pa.
    pub pressure: StatedEntry,
    /// Relative humidity, 0 to 1.
    pub relative_humidity: StatedEntry,
    /// Density, kg/m³.
    pub density_kg_per_m3: f64,
    /// Speed of sound, m/s.
    pub speed_of_sound_m_per_s: f64,
}

/// The jig.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct JigEntry {
    /// `across-driver` or `across-resistor`.
    pub wiring: String,
    /// Sense resistor, Ohm.
    pub sense: StatedEntry,
    /// Loop resistance of the leads, Ohm; null if a take measured it.
    pub leads: Option<StatedEntry>,
    /// Input resistance of channel 2, Ohm; null if taken as infinite or measured by a take.
    pub input_load: Option<StatedEntry>,
    /// Calibration takes that were applied.
    pub calibrated_by: Vec<String>,
}

/// What the takes were made in.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Conditions {
    /// The air.
    pub air: AirEntry,
    /// The jig; null if all takes are tables.
    pub jig: Option<JigEntry>,
    /// Root mean square level of channel 1 in the loudest free-air take, dB below full scale; null for tables.
    pub level_dbfs: Option<f64>,
    /// Highest peak voltage noted across the driver at its impedance peak, V; absent if no input was calibrated in volts.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub driver_peak_v: Option<f64>,
    /// Lowest and highest frequency used, Hz.
    pub band_hz: [f64; 2],
}

/// One free-air take by itself, fitted with the best circuit's structure.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct LevelEntry {
    /// Name of the take.
    pub take: String,
    /// Peak of what was played, dB below the output's full scale.
    pub playback_dbfs: f64,
    /// Peak volts across the driver at its impedance peak; null if unknown.
    pub driver_peak_v: Option<f64>,
    /// Resonance, Hz, with the scatter of this fit alone.
    pub fs: ValueEntry,
    /// Mechanical Q.
    pub qms: ValueEntry,
    /// Electrical Q.
    pub qes: ValueEntry,
    /// Total Q.
    pub qts: ValueEntry,
}

/// Impedance of one condition. All lists have the same length.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct CurveEntry {
    /// Name of the condition, for example `free-air` or `added-mass-1`.
    pub name: String,
    /// Takes that it was combined from.
    pub takes: Vec<String>,
    /// Frequencies, Hz.
    pub frequency_hz: Vec<f64>,
    /// Measured, real part, ohm.
    pub measured_re_ohm: Vec<f64>,
    /// Measured, imaginary part, ohm.
    pub measured_im_ohm: Vec<f64>,
    /// Standard uncertainty of the measured real part, ohm; null if unknown.
    pub uncertainty_re_ohm: Option<Vec<f64>>,
    /// Standard uncertainty of the measured imaginary part, ohm; null if unknown.
    pub uncertainty_im_ohm: Option<Vec<f64>>,
    /// Best circuit, real part, ohm; null if no circuit was fitted.
    pub modelled_re_ohm: Option<Vec<f64>>,
    /// Best circuit, imaginary part, ohm; null if no circuit was fitted.
    pub modelled_im_ohm: Option<Vec<f64>>,
    /// Scatter of the takes around their mean over what their noise explains (as a variance); null for one take.
    pub spread: Option<f64>,
}

/// A take that went in.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct TakeEntry {
    /// Its name.
    pub name: String,
    /// `free-air`, `added-mass`, `test-box`, `check-resistor`, `same-node`, `shorted-leads` or `open-leads`.
    pub condition: String,
    /// What belongs to the condition: the added mass (kg), the volume (m3) or the resistor (Ohm); null if nothing does.
    pub stated: Option<StatedEntry>,
    /// `recording`, `one-input` or `table`.
    pub kind: String,
    /// SHA-256 of each file.
    pub sha256: Vec<String>,
    /// Whether the driver had been remounted before it.
    pub remounted: bool,
    /// Peak of what was played, dB below the output's full scale; absent if nobody noted it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub playback_dbfs: Option<f64>,
    /// Peak volts across the driver at its impedance peak; absent if unknown.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub driver_peak_v: Option<f64>,
    /// Whether it only compares levels and is left out of the parameters.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub aside: bool,
}

/// A photo of the session.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct PhotoEntry {
    /// What it shows, in a word or two.
    pub of: String,
    /// Name of the file.
    pub file: String,
    /// SHA-256 of the file; null if nobody took it.
    pub sha256: Option<String>,
}

/// Where the result came from.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Origin {
    /// `farcone`.
    pub program: String,
    /// Version of the program.
    pub version: String,
    /// Monte Carlo draws.
    pub draws: u64,
    /// Seed of the draws.
    pub seed: u64,
    /// The takes.
    pub takes: Vec<TakeEntry>,
    /// Photos of the session.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub photos: Vec<PhotoEntry>,
}

/// Why something is no sheet.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum SheetError {
    /// Not JSON, or not with these fields.
    #[error("this is no driver sheet: {source}; choose a file that ends in .driver.json")]
    Malformed {
        /// What the reader found.
        #[source]
        source: serde_json::Error,
    },
    /// Another format or version.
    #[error(
        "this sheet has the format \"{found}\", but only \"{SCHEMA}\" can be read here; use the program version that \
         wrote it, or compute it again from the takes"
    )]
    Version {
        /// What the sheet says of itself.
        found: String,
    },
}

impl Sheet {
    /// Reads a sheet from JSON text.
    ///
    /// # Errors
    /// See [`SheetError`].
    pub fn from_json(text: &str) -> Result<Self, SheetError> {
        #[derive(Deserialize)]
        struct Version {
            schema: String,
        }
        let malformed = |source| SheetError::Malformed { source };
        let version: Version = serde_json::from_str(text).map_err(malformed)?;
        if version.schema != SCHEMA {
            return Err(SheetError::Version {
                found: version.schema,
            });
        }
        serde_json::from_str(text).map_err(malformed)
    }

    /// The sheet as JSON text with a line end at the end, each list of numbers in one line.
    ///
    /// # Errors
    /// [`SheetError::Malformed`] if a value cannot be written; sheets from [`crate::session::analyse`] always can.
    pub fn to_json(&self) -> Result<String, SheetError> {
        let text = serde_json::to_string_pretty(self)
            .map_err(|source| SheetError::Malformed { source })?;
        Ok(numbers_in_rows(&text))
    }

    /// The JSON Schema (2020-12) of the format, as JSON text with a line end at the end.
    pub fn json_schema() -> String {
        let mut text = format!("{:#}", schemars::schema_for!(Sheet).as_value());
        text.push('\n');
        text
    }
}
