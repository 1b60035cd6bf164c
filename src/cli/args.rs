//! Groups of flags that several commands share.

use std::path::PathBuf;

use clap::Args;
use farcone::air::{AirInput, parse_air};
use farcone::circuit::CoilFamily;
use farcone::jig::Wiring;
use farcone::quantity::Stated;
use farcone::recording::ChannelPick;
use farcone::sheet::{Dimensions, parse_dimensions};

use super::values::{self, Band, InputLoad, PhotoArg, TakePath};

/// The recordings, or tables, of one driver.
#[derive(Args)]
#[command(next_help_heading = "Takes")]
pub struct TakeArgs {
    /// The driver alone, hanging or clamped free; several takes are averaged
    ///
    /// TAKE is a two-channel WAV file (channel 1 at the source, channel 2 at the driver), or two mono WAV files of one
    /// recording joined by a comma (source.wav,driver.wav), or a ready impedance table from another instrument (.csv,
    /// .s1p, .z1p; see docs/impedance-tables.md). Recordings and tables do not mix in one call.
    #[arg(long, value_name = "TAKE", num_args = 1.., value_parser = values::take())]
    pub free_air: Vec<TakePath>,

    /// With a known mass on the cone; its --mass follows
    ///
    /// The mass should lower the resonance by 20 to 30 %. Stick it firmly, spread around the middle of the cone.
    #[arg(long, value_name = "TAKE", value_parser = values::take())]
    pub added_mass: Vec<TakePath>,

    /// Everything that was added in the take before, putty included (5.2g+-0.05g)
    ///
    /// Without +- a half-width of 0.1 g is assumed, and noted. Units: g, mg, kg, oz. Or coins of known mass:
    /// coins:2xeur-20ct+putty0.5g+-0.1g (docs/coins.md).
    #[arg(long, value_name = "QUANTITY", value_parser = values::mass)]
    pub mass: Vec<Stated>,

    /// On a closed, airtight box of known volume; its --volume follows
    #[arg(long, value_name = "TAKE", value_parser = values::take())]
    pub test_box: Vec<TakePath>,

    /// The air that the cone closed off in the take before (2.00L+-0.02L)
    ///
    /// The box with the cone's hollow and the gasket, less what of the driver is inside. Without +- a half-width of 2 %
    /// is assumed, and noted. Units: L, ml, cm3, m3, in3.
    #[arg(long, value_name = "QUANTITY", value_parser = values::volume)]
    pub volume: Vec<Stated>,

    /// A known resistor in the driver's place; needs --check-ohm
    #[arg(long, value_name = "TAKE", value_parser = values::take(), requires = "check_ohm")]
    pub check_resistor: Option<TakePath>,

    /// The check resistor's resistance (22.0ohm+-0.1ohm)
    #[arg(long, value_name = "QUANTITY", value_parser = values::resistance, requires = "check_resistor")]
    pub check_ohm: Option<Stated>,

    /// Both inputs on the source node: shows how the two channels differ
    #[arg(long, value_name = "TAKE", value_parser = values::take())]
    pub same_node: Option<TakePath>,

    /// The leads shorted at the driver's end: measures the leads
    #[arg(long, value_name = "TAKE", value_parser = values::take())]
    pub shorted_leads: Option<TakePath>,

    /// The leads open at the driver's end: measures what stays connected
    #[arg(long, value_name = "TAKE", value_parser = values::take())]
    pub open_leads: Option<TakePath>,

    /// The driver was taken out and put back between the free-air takes
    ///
    /// Their scatter then shows the set-up to set-up uncertainty, which is otherwise assumed. Make three or more.
    #[arg(long)]
    pub remounted: bool,

    /// All takes were recorded by one input, whose clip was moved from the source node to the driver's side (and back)
    ///
    /// TIME is the period of what was played (`farcone stimulus one-input`); each TAKE is a mono file, or one whose first
    /// channel is used (or the first of --channels). See docs/one-input.md.
    #[arg(long, value_name = "TIME", num_args = 0..=1, require_equals = true, default_missing_value = "1.4s", value_parser = values::time_s)]
    pub one_input: Option<f64>,

    /// Which channels of the recordings are source and driver (1,2), counted from 1
    #[arg(long, value_name = "A,B", value_parser = values::channels)]
    pub channels: Option<ChannelPick>,
}

/// The jig; recordings need it, tables must not have it.
#[derive(Args, Clone, Default)]
#[command(next_help_heading = "Jig")]
pub struct JigArgs {
    /// The sense resistor (47.0ohm+-0.5ohm)
    ///
    /// Its relative doubt goes straight into Re. Without +- a half-width of 1 % is assumed, and noted. Units: ohm, mohm,
    /// kohm.
    #[arg(long, value_name = "QUANTITY", value_parser = values::resistance)]
    pub sense: Option<Stated>,

    /// Which element has its foot on ground, so that channel 2 measures across it
    ///
    /// across-driver: source, resistor, driver, ground. Ground is at the driver's minus. For headphone and line outputs.
    /// across-resistor: source, driver, resistor, ground. Neither driver terminal may touch ground. For amplifiers whose
    /// minus is truly ground.
    #[arg(long, value_name = "WIRING", value_parser = values::wiring())]
    pub wiring: Option<Wiring>,

    /// The inputs were plugged the wrong way round: channel 1 is the driver's
    #[arg(long)]
    pub swap_channels: bool,

    /// The loop of leads from the two sense points to the driver's terminals (0.05ohm)
    #[arg(long, value_name = "QUANTITY", value_parser = values::resistance)]
    pub lead: Option<Stated>,

    /// Input resistance of the recorder: one value for both channels, or both (10kohm,10kohm)
    #[arg(long, value_name = "QUANTITY[,QUANTITY]", value_parser = values::input_load)]
    pub input_load: Option<InputLoad>,
}

/// What somebody knows about the driver and the room.
#[derive(Args, Clone, Default)]
#[command(next_help_heading = "Driver and air")]
pub struct DriverArgs {
    /// What to call the driver
    #[arg(long, value_name = "TEXT", allow_hyphen_values = true)]
    pub label: Option<String>,

    /// Diameter of the cone, from the middle of the surround to the middle of the surround (78mm+-1mm)
    ///
    /// Vas goes with its fourth power. Without +- a half-width of 1 mm is assumed, and noted. Units: mm, cm, m, in.
    #[arg(long, value_name = "QUANTITY", value_parser = values::diameter)]
    pub cone: Option<Stated>,

    /// Effective area of the cone instead of its diameter (48cm2+-1cm2)
    #[arg(long, value_name = "QUANTITY", value_parser = values::area, conflicts_with = "cone")]
    pub area: Option<Stated>,

    /// Temperature, pressure or altitude, and humidity, in any order (23C,1013hPa,45% or 23C,450m,45%)
    ///
    /// The pressure is that of a barometer at the bench; weather reports give it for sea level, so state the altitude
    /// instead. What is left out is assumed, and noted.
    #[arg(long, value_name = "AIR", value_parser = parse_air)]
    pub air: Option<AirInput>,

    /// DC resistance that a meter reads (5.9ohm): a cross-check, nothing is fitted to it
    #[arg(long, value_name = "QUANTITY", value_parser = values::resistance)]
    pub meter_re: Option<Stated>,

    /// How the driver is mounted (flange=118mm,cutout=92mm,screw-circle=105mm,screws=4,depth=52mm,magnet=70mm)
    ///
    /// Diameters of the flange, of the hole that it needs, of the circle through the screws' middles and of the magnet; the
    /// depth behind the flange. Any may be left out. They go into the sheet, for the enclosure's drawing.
    #[arg(long, value_name = "LIST", value_parser = parse_dimensions)]
    pub dimensions: Option<Dimensions>,

    /// A photo that belongs to the measurement, and what it shows (wiring=wiring.jpg); as often as there are photos
    ///
    /// A session folder gets a copy. The sheet holds its name and SHA-256.
    #[arg(long, value_name = "WHAT=FILE", value_parser = values::photo)]
    pub photo: Vec<PhotoArg>,
}

/// How the takes are analysed.
#[derive(Args, Default)]
#[command(next_help_heading = "Analysis")]
pub struct AnalysisArgs {
    /// Frequencies to use [default: 5Hz..20kHz, within what the recording excites]
    #[arg(long, value_name = "LOW..HIGH", value_parser = values::band)]
    pub band: Option<Band>,

    /// Coil models to try, joined by commas [default: all, averaged by evidence]
    #[arg(long, value_name = "FAMILY", value_parser = values::coil(), value_delimiter = ',')]
    pub coil: Vec<CoilFamily>,

    /// Do not try circuits with suspension creep
    #[arg(long)]
    pub no_creep: bool,

    /// Monte Carlo draws behind the intervals; at least 1000 [default: 10000]
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(1000..=10_000_000))]
    pub draws: Option<u32>,

    /// Seed of the draws; the same seed gives the same result [default: 0]
    #[arg(long, value_name = "N")]
    pub seed: Option<u64>,
}

/// Where the result goes.
#[derive(Args)]
#[command(next_help_heading = "Output")]
pub struct OutputArgs {
    /// Print the sheet as JSON on standard output, and nothing else
    #[arg(long)]
    pub json: bool,

    /// Write the sheet into a new file, usually NAME.driver.json; an existing file is never overwritten
    #[arg(long, short, value_name = "FILE")]
    pub out: Option<PathBuf>,

    /// Draw the curves even where the output is no terminal
    #[arg(long, conflicts_with_all = ["json", "quiet"])]
    pub plot: bool,

    /// Print no table, no plot and no progress, only what goes wrong
    #[arg(long, short)]
    pub quiet: bool,
}
