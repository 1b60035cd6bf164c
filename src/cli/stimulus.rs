//! `farcone stimulus`: signals to play, as WAV files.

use std::path::PathBuf;

use clap::{Args, Subcommand, ValueEnum};
use farcone::recording::{WavFormat, write_wav};
use farcone::signal::{Envelope, Multisine, SynchronizedSweep, Tilt};

use super::console;
use super::failure::Failure;
use super::{EXIT_GOOD, values};
use crate::store::{self, StoreError};

/// Make a signal to play: a WAV file for any player
#[derive(Subcommand)]
#[command(after_help = CAUTIONS)]
pub enum StimulusCommand {
    Sweep(SweepArgs),
    Multisine(MultisineArgs),
    OneInput(OneInputArgs),
}

const CAUTIONS: &str = "\
Cautions:
  Set the volume to its lowest first, play, and raise it until the recording is clearly above its noise; less than \
0.1 W suffices.
  Low tones move a cone far without being loud. For a tweeter, begin no lower than a quarter of its resonance \
(--start 200Hz), or it may be destroyed.
  Never wear headphones while the signal plays. Switch every sound effect, equaliser and volume leveller off.

Quantities carry their unit: Hz, kHz; s, ms; dBFS (0dBFS is full scale).

Examples:
  farcone stimulus sweep -o sweep.wav
  farcone stimulus sweep -o tweeter.wav --start 200Hz --level -30dBFS
  farcone stimulus multisine -o multisine.wav --period 4s --periods 3
  farcone stimulus one-input -o one-input.wav";

/// An exponential sweep from low to high (synchronized, after Novak et al. 2015)
///
/// Suits nearly everything: every frequency is heard once, and the recording needs no synchronisation with the player.
#[derive(Args)]
#[command(after_help = CAUTIONS)]
pub struct SweepArgs {
    /// Length of the sounding part, to within a period of --start (s, ms)
    #[arg(long, value_name = "TIME", default_value = "10s", value_parser = values::time_s)]
    length: f64,

    #[command(flatten)]
    common: CommonArgs,
}

/// Many tones at once, repeated: a multisine on odd lines with Schroeder phases
///
/// Its periods tell noise and distortion apart from the signal. The first period settles, so play at least three.
#[derive(Args)]
#[command(after_help = CAUTIONS)]
pub struct MultisineArgs {
    /// Length of one period; the tones lie 2/period apart (s, ms)
    #[arg(long, value_name = "TIME", default_value = "4s", value_parser = values::time_s)]
    period: f64,

    /// How many periods
    #[arg(long, value_name = "N", default_value_t = 3, value_parser = clap::value_parser!(u32).range(1..=10_000))]
    periods: u32,

    /// Power against frequency: pink has the same in every octave, as a sweep has, flat the same in every tone
    #[arg(long, value_name = "KIND", value_enum, default_value_t = Spectrum::Pink)]
    spectrum: Spectrum,

    #[command(flatten)]
    common: CommonArgs,
}

/// For a single input whose clip is moved: a multisine that repeats without a break
///
/// Leave the clip on the source node, move it to the driver's side, leave it there, and move it back; each rest lasts nine periods at
/// least. Analyse the recording with `farcone fit --one-input`. See docs/one-input.md.
#[derive(Args)]
#[command(after_help = CAUTIONS)]
pub struct OneInputArgs {
    /// Length of one period; say it to `farcone fit --one-input=TIME` if it is not the usual one (s, ms)
    #[arg(long, value_name = "TIME", default_value = "1.4s", value_parser = values::time_s)]
    period: f64,

    /// Length of the sounding part, to within a period (s, ms)
    #[arg(long, value_name = "TIME", default_value = "56s", value_parser = values::time_s)]
    length: f64,

    #[command(flatten)]
    common: CommonArgs,
}

#[derive(Clone, Copy, ValueEnum)]
enum Spectrum {
    Pink,
    Flat,
}

#[derive(Args)]
struct CommonArgs {
    /// The file to write (24-bit WAV); an existing one is never overwritten
    #[arg(long, short, value_name = "FILE.wav")]
    output: PathBuf,

    /// Lowest frequency (Hz, kHz)
    #[arg(long, value_name = "FREQUENCY", default_value = "5Hz", value_parser = values::frequency_hz)]
    start: f64,

    /// Highest frequency (Hz, kHz)
    #[arg(long, value_name = "FREQUENCY", default_value = "20kHz", value_parser = values::frequency_hz)]
    stop: f64,

    /// Peak level relative to full scale (dBFS)
    #[arg(long, value_name = "LEVEL", default_value = "-20dBFS", allow_hyphen_values = true, value_parser = values::level_dbfs)]
    level: f64,

    /// Rise at the start (s, ms)
    #[arg(long, value_name = "TIME", default_value = "50ms", value_parser = values::time_s)]
    fade_in: f64,

    /// Fall at the end (s, ms)
    #[arg(long, value_name = "TIME", default_value = "5ms", value_parser = values::time_s)]
    fade_out: f64,

    /// Silence before, in which the noise is heard (s, ms)
    #[arg(long, value_name = "TIME", default_value = "0.5s", value_parser = values::time_s)]
    lead_in: f64,

    /// Silence after, in which the driver rings out (s, ms)
    #[arg(long, value_name = "TIME", default_value = "1s", value_parser = values::time_s)]
    tail: f64,

    /// Sample rate; use the sound card's own (Hz, kHz)
    #[arg(long, value_name = "FREQUENCY", default_value = "48kHz", value_parser = values::sample_rate_hz)]
    rate: u32,

    /// Put the signal on both channels, not on the left one alone
    #[arg(long)]
    both: bool,
}

impl CommonArgs {
    fn envelope(&self) -> Envelope {
        Envelope {
            sample_rate_hz: f64::from(self.rate),
            level_dbfs: self.level,
            lead_in_s: self.lead_in,
            tail_s: self.tail,
            fade_in_s: self.fade_in,
            fade_out_s: self.fade_out,
        }
    }
}

pub fn run(command: &StimulusCommand) -> Result<u8, Failure> {
    let (common, samples) = match command {
        StimulusCommand::Sweep(args) => {
            let sweep = SynchronizedSweep {
                start_hz: args.common.start,
                stop_hz: args.common.stop,
                duration_s: args.length,
                envelope: args.common.envelope(),
            };
            (&args.common, sweep.samples()?)
        }
        StimulusCommand::Multisine(args) => {
            let multisine = Multisine {
                start_hz: args.common.start,
                stop_hz: args.common.stop,
                period_s: args.period,
                n_periods: args.periods as usize,
                tilt: match args.spectrum {
                    Spectrum::Pink => Tilt::Pink,
                    Spectrum::Flat => Tilt::Flat,
                },
                envelope: args.common.envelope(),
            };
            (&args.common, multisine.samples()?)
        }
        StimulusCommand::OneInput(args) => {
            let multisine = Multisine {
                start_hz: args.common.start,
                stop_hz: args.common.stop,
                period_s: args.period,
                n_periods: (args.length / args.period).round() as usize,
                tilt: Tilt::Pink,
                envelope: args.common.envelope(),
            };
            (&args.common, multisine.samples()?)
        }
    };
    let left: Vec<f32> = samples.iter().map(|&sample| sample as f32).collect();
    let right = if common.both {
        left.clone()
    } else {
        vec![0.0; left.len()]
    };
    store::write_new(
        &common.output,
        |file| write_wav(file, common.rate, &[&left, &right], WavFormat::Pcm24),
        |path, source| StoreError::Take { path, source },
    )?;
    let seconds = left.len() as f64 / f64::from(common.rate);
    let channels = if common.both {
        "on both channels"
    } else {
        "on the left channel, the right one silent"
    };
    console::print(&format!(
        "{}: {seconds:.2} s at {} Hz, {channels}\nSet the volume to its lowest before you play it, then raise it slowly.\n",
        common.output.display(),
        common.rate,
    ))?;
    Ok(EXIT_GOOD)
}
