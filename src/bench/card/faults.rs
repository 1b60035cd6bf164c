//! What may be wrong with an invented sound card, its knobs and what is plugged into it.

use crate::bench::Spoil;

/// How many inputs the card has.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[non_exhaustive]
pub enum Inputs {
    /// Two, each with its own signal.
    #[default]
    Two,
    /// One: every recording ends with [`crate::capture::CaptureError::OneInput`].
    One,
    /// One that is handed over twice: both channels are copies of input 1.
    Mono,
}

/// Input 1 is mixed into the output, as direct monitoring, sidetone or "listen to this device" do.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DirectMonitor {
    /// Full scale of the output per full scale of the input. Times what the jig lets through, it is the gain once round:
    /// below 1 it gives a train of echoes, above 1 a howl.
    pub gain: f64,
    /// Time once round, frames; taken as 1 at least.
    pub delay_frames: usize,
}

/// Supply voltage for microphones on both inputs, through a resistor.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MicrophoneBias {
    /// The resistor, which loads the input, ohm.
    pub ohm: f64,
    /// The voltage without load, V.
    pub open_v: f64,
}

impl Default for MicrophoneBias {
    /// 2.5 V through 2 kilohm, as small sound cards have it (common practice, no source).
    fn default() -> Self {
        Self {
            ohm: 2_000.0,
            open_v: 2.5,
        }
    }
}

/// A suspension that gets softer the further it moves.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SoftSuspension {
    /// Relative change of the resonance for each 12 dB, for example −0.03; above −1.
    pub fs_change_per_12_db: f64,
    /// Peak voltage across the driver at which its constants hold, V.
    pub reference_peak_v: f64,
}

/// Frames that are missing in mid-take, in both channels.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LostFrames {
    /// Where, from the beginning of the take, s.
    pub at_s: f64,
    /// How many.
    pub n_frames: usize,
    /// Whether the card says so.
    pub reported: bool,
}

/// The output's volume changes in mid-take.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LevelStep {
    /// When, from the beginning of the take, s.
    pub at_s: f64,
    /// By how much, dB.
    pub change_db: f64,
}

/// Everything that may be wrong; by default nothing is.
#[derive(Clone, Debug, PartialEq)]
pub struct CardFaults {
    /// Direct monitoring is on.
    pub direct_monitor: Option<DirectMonitor>,
    /// The inputs are microphone inputs that supply a voltage.
    pub microphone_bias: Option<MicrophoneBias>,
    /// The output delivers no more than this, A peak.
    pub most_output_a: Option<f64>,
    /// Where the gain knobs of inputs 1 and 2 stand: 1 is where full scale is what it should be.
    pub knobs: [f64; 2],
    /// How many inputs there are.
    pub inputs: Inputs,
    /// The plugs of inputs 1 and 2 are exchanged.
    pub swapped: bool,
    /// The driver's resonance depends on the level.
    pub soft_suspension: Option<SoftSuspension>,
    /// Frames get lost.
    pub lost_frames: Option<LostFrames>,
    /// The volume changes.
    pub level_step: Option<LevelStep>,
    /// What the input or the system does to the samples of every take.
    pub spoil: Option<Spoil>,
    /// After so long nothing comes any more, s.
    pub stall_after_s: Option<f64>,
    /// In which take, counted from 0, `lost_frames`, `level_step` and `stall_after_s` happen; `None`: in each.
    pub only_take: Option<u64>,
}

impl Default for CardFaults {
    fn default() -> Self {
        Self {
            direct_monitor: None,
            microphone_bias: None,
            most_output_a: None,
            knobs: [1.0; 2],
            inputs: Inputs::default(),
            swapped: false,
            soft_suspension: None,
            lost_frames: None,
            level_step: None,
            spoil: None,
            stall_after_s: None,
            only_take: None,
        }
    }
}

impl CardFaults {
    /// These faults as they are in one take, counted from 0.
    pub(super) fn in_take(&self, number: u64) -> Self {
        let mut faults = self.clone();
        if self.only_take.is_some_and(|only| only != number) {
            faults.lost_frames = None;
            faults.level_step = None;
            faults.stall_after_s = None;
        }
        faults
    }
}
