//! Flags about the sound card, the level and the sound.

use clap::Args;
use farcone::recording::ChannelPick;

use crate::cli::args::JigArgs;
use crate::cli::values;

/// Everything that playing and recording needs to be told.
#[derive(Args, Clone)]
pub struct LiveArgs {
    #[command(flatten)]
    pub card: CardArgs,
    #[command(flatten)]
    pub level: LevelArgs,
    #[command(flatten)]
    pub sound: SoundArgs,
    #[command(flatten)]
    pub jig: JigArgs,
}

/// [`farcone::capture::CEILING_DBFS`], as it is typed.
const DEFAULT_CEILING: &str = "-15dBFS";

/// Which sound card.
#[derive(Args, Clone, Default)]
#[command(next_help_heading = "Sound card")]
pub struct CardArgs {
    /// Sound system, as `farcone devices` prints it (alsa, pulseaudio, …); "bench" is an invented card with an invented
    /// driver, to practise with
    #[arg(long, value_name = "HOST")]
    pub host: Option<String>,

    /// Output, by the name that `farcone devices` prints; HOST:ID is understood as well
    #[arg(long, value_name = "ID")]
    pub output: Option<String>,

    /// Input with two channels, by the name that `farcone devices` prints
    #[arg(long, value_name = "ID")]
    pub input: Option<String>,

    /// Which of the input's channels are source and driver (1,2), counted from 1 [default: 1,2]
    #[arg(long, value_name = "A,B", value_parser = values::channels)]
    pub input_channels: Option<ChannelPick>,

    /// Sample rate [default: the device's own]
    #[arg(long, value_name = "FREQUENCY", value_parser = values::sample_rate_hz)]
    pub rate: Option<u32>,
}

/// How loud.
#[derive(Args, Clone)]
#[command(next_help_heading = "Level")]
pub struct LevelArgs {
    /// Peak level to play at; without it the lowest level that serves is sought from -60dBFS up
    #[arg(long, value_name = "LEVEL", allow_hyphen_values = true, value_parser = values::level_dbfs)]
    pub level: Option<f64>,

    /// Never play above this peak level; find out first what it is in volts
    #[arg(long, value_name = "LEVEL", allow_hyphen_values = true, default_value = DEFAULT_CEILING, value_parser = values::level_dbfs)]
    pub ceiling: f64,

    /// A power amplifier is between output and jig: nothing is played before one input is calibrated in volts
    #[arg(long)]
    pub amplifier: bool,

    /// Peak volts that the source's input shows as full scale; `farcone jig volts` measures it
    #[arg(long, value_name = "QUANTITY", value_parser = values::voltage)]
    pub full_scale: Option<farcone::quantity::Stated>,
}

/// What is played.
#[derive(Args, Clone)]
#[command(next_help_heading = "Sound")]
pub struct SoundArgs {
    /// Play a multisine in place of a sweep
    #[arg(long)]
    pub multisine: bool,

    /// Length of the sounding part (s)
    #[arg(long, value_name = "TIME", default_value = "10s", value_parser = values::time_s)]
    pub length: f64,

    /// Lowest frequency; for a tweeter no lower than a quarter of its resonance (Hz, kHz)
    #[arg(long, value_name = "FREQUENCY", default_value = "5Hz", value_parser = values::frequency_hz)]
    pub start: f64,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_help_names_the_ceiling_that_holds() {
        let ceiling = values::level_dbfs(DEFAULT_CEILING).unwrap();
        assert_eq!(ceiling, farcone::capture::CEILING_DBFS);
    }
}
