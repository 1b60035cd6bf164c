//! What a session is.

use std::path::PathBuf;

use crate::air::AirInput;
use crate::faults::Played;
use crate::finding::Finding;
use crate::fit::Choice;
use crate::impedance::ImpedanceCurve;
use crate::jig::Wiring;
use crate::quantity::Stated;
use crate::recording::{ChannelPick, Take};
use crate::sheet::Dimensions;
use crate::signal::Period;

/// In which condition a take was made.
#[derive(Clone, Copy, Debug, PartialEq)]
#[non_exhaustive]
pub enum Condition {
    /// The driver alone.
    FreeAir,
    /// With a known mass on the cone.
    AddedMass {
        /// Everything added, putty included, kg.
        mass_kg: Stated,
    },
    /// On a closed box.
    TestBox {
        /// The air closed off by the cone, with the cone's hollow and the gasket, less what of the driver is inside, m³.
        volume_m3: Stated,
    },
    /// A known resistor in the driver's place.
    CheckResistor {
        /// Its resistance, ohm.
        ohm: Stated,
    },
    /// Both inputs on one node.
    SameNode,
    /// The leads shorted at the driver's end.
    ShortedLeads,
    /// The leads open at the driver's end.
    OpenLeads,
}

impl Condition {
    /// The condition's name, for example `added-mass`.
    pub fn as_str(&self) -> &'static str {
        match self {
            Self::FreeAir => "free-air",
            Self::AddedMass { .. } => "added-mass",
            Self::TestBox { .. } => "test-box",
            Self::CheckResistor { .. } => "check-resistor",
            Self::SameNode => "same-node",
            Self::ShortedLeads => "shorted-leads",
            Self::OpenLeads => "open-leads",
        }
    }

    /// Whether the take is about the jig and not about the driver.
    pub fn is_calibration(&self) -> bool {
        !matches!(
            self,
            Self::FreeAir | Self::AddedMass { .. } | Self::TestBox { .. }
        )
    }
}

/// The size of the cone.
#[derive(Clone, Copy, Debug, PartialEq)]
#[non_exhaustive]
pub enum Cone {
    /// From the middle of the surround to the middle of the surround, m.
    Diameter(Stated),
    /// Effective area, m².
    Area(Stated),
}

/// What a take holds.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub enum Data {
    /// A two-channel recording.
    Recording(Take),
    /// A recording of one input, which heard both nodes in turn.
    OneInput(OneInputTake),
    /// A ready impedance, from another instrument.
    Table(ImpedanceCurve),
}

/// A recording of one input whose clip was moved from the source node to the driver's side while a periodic signal played.
#[derive(Clone, Debug, PartialEq)]
pub struct OneInputTake {
    /// Samples relative to full scale.
    pub samples: Vec<f32>,
    /// Sample rate, Hz.
    pub sample_rate_hz: u32,
    /// The signal's period.
    pub period: Period,
}

/// How loud a take was played.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TakeLevel {
    /// Peak of what was played, dB relative to the output's full scale.
    pub playback_dbfs: f64,
    /// Peak volts across the driver at its impedance peak; `None` if the input was not calibrated in volts, or no driver
    /// was on the jig.
    pub driver_peak_v: Option<f64>,
}

/// One take.
#[derive(Clone, Debug, PartialEq)]
pub struct SessionTake {
    /// Unique name in the session, for example `free-air-1`.
    pub name: String,
    /// Condition.
    pub condition: Condition,
    /// Recording or table.
    pub data: Data,
    /// What reading it brought up.
    pub findings: Vec<Finding>,
    /// SHA-256 of the file, or of both files of a pair, as lower-case hexadecimal.
    pub sha256: Vec<String>,
    /// Whether the driver had been taken out and put back before this take.
    pub remounted: bool,
    /// How loud it was played; `None` if nobody noted it.
    pub level: Option<TakeLevel>,
    /// Made to compare levels with, and left out of the parameters.
    pub aside: bool,
}

/// A photo that belongs to a session.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Photo {
    /// What it shows, in a word or two: `wiring`, `label`, `cone`.
    pub of: String,
    /// The file, relative to the session's folder.
    pub file: PathBuf,
    /// SHA-256 of the file as lower-case hexadecimal; `None` if nobody took it.
    pub sha256: Option<String>,
}

/// Which sound card a jig is connected to, and how.
#[derive(Clone, Debug, PartialEq)]
pub struct Devices {
    /// The sound system, for example `alsa`.
    pub host: String,
    /// The output's own name there.
    pub output: String,
    /// The input's own name there.
    pub input: String,
    /// Sample rate of both, Hz; not zero.
    pub sample_rate_hz: u32,
    /// Which channels of the input are source and driver; `None`: the first and the second.
    pub channels: Option<ChannelPick>,
}

/// What was said about the jig.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct JigInput {
    /// Wiring.
    pub wiring: Wiring,
    /// Sense resistor, ohm.
    pub sense_ohm: Stated,
    /// Loop resistance of the leads from the sense points to the terminals, ohm.
    pub lead_ohm: Option<Stated>,
    /// Input resistance of channel 1 and channel 2, ohm; `None` where it is taken as infinite.
    pub input_load_ohm: [Option<Stated>; 2],
    /// Whether source and driver channel are swapped in the recordings.
    pub swap_channels: bool,
}

/// Everything about one driver's measurement.
#[derive(Clone, Debug, PartialEq)]
pub struct Session {
    /// What somebody calls the driver.
    pub label: String,
    /// The jig; `None` if all takes are tables.
    pub jig: Option<JigInput>,
    /// The air.
    pub air: AirInput,
    /// The cone; `None` if nobody measured it.
    pub cone: Option<Cone>,
    /// DC resistance read from a meter, ohm: a cross-check.
    pub meter_re_ohm: Option<Stated>,
    /// Mounting dimensions; empty if nobody measured any.
    pub dimensions: Dimensions,
    /// Photos that belong to it.
    pub photos: Vec<Photo>,
    /// Lowest and highest frequency to use, Hz.
    pub band_hz: (f64, f64),
    /// Which circuits to try.
    pub choice: Choice,
    /// Monte Carlo draws.
    pub n_draws: usize,
    /// Seed of the draws.
    pub seed: u64,
    /// The stimulus that was played in every take; `None` if nobody gave it.
    pub played: Option<Played>,
    /// Takes in any order; at least one in free air.
    pub takes: Vec<SessionTake>,
}

impl Session {
    /// Band used where none is given, Hz.
    pub const DEFAULT_BAND_HZ: (f64, f64) = (5.0, 20_000.0);
    /// Draws used where none are given: JCGM 101:2008 asks for well over 1/(1 − 0.95) times 10 000 for two digits of an
    /// interval's ends; 10 000 give the ends to about 1.5 % of the width, which is what is printed.
    pub const DEFAULT_DRAWS: usize = 10_000;
}
