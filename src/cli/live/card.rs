//! The card that plays and records: a real one, or the invented one of the virtual bench.

use farcone::air::Air;
use farcone::bench::{
    Arrangement, Bench, BenchCard, CardFaults, Channel, DirectMonitor, Inputs, MicrophoneBias,
    Mounting, Noise, SoftSuspension, Spoil, Wiring as BenchWiring, demo_driver,
};
use farcone::capture::{CaptureError, Monitor, Playback, Recorded, Side, SoundCard};
use farcone::jig::Wiring;
use farcone::recording::ChannelPick;
use farcone::session::{Condition, Devices, JigInput};

/// The host whose only card is invented.
pub const BENCH_HOST: &str = "bench";

/// Set-ups of the invented card, by the names of its outputs and inputs.
const BENCH_OUTPUTS: [&str; 4] = ["headphones", "weak", "monitored", "howling"];
const BENCH_INPUTS: [&str; 8] = [
    "line",
    "microphone",
    "knobs",
    "swapped",
    "one",
    "mono",
    "gated",
    "mixed",
];

/// Sample rate of the invented card, Hz.
const BENCH_RATE_HZ: u32 = 48_000;
/// Peak volts of its output and its inputs at full scale.
const BENCH_OUT_V: f64 = 1.4;
const BENCH_IN_V: f64 = 1.8;
/// The air in the invented room.
const BENCH_AIR: Air = Air {
    temperature_k: 296.15,
    pressure_pa: 97_500.0,
    relative_humidity: 0.45,
};

/// What hangs on the jig while something is recorded. A real card has to be told nothing.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum On {
    /// What the condition says.
    Condition(Condition),
    /// The driver, whose cone somebody taps.
    TappedDriver,
}

/// A card.
pub enum LiveCard {
    /// An invented one.
    Bench(Box<BenchCard>),
    /// A real one.
    #[cfg(feature = "audio")]
    Real(farcone::device::Card),
}

impl LiveCard {
    /// Opens the card. `rate_hz` 0 stands for the device's own.
    pub fn open(devices: &Devices, seed: u64) -> Result<Self, CaptureError> {
        if devices.host == BENCH_HOST {
            return bench_card(devices, seed).map(|card| Self::Bench(Box::new(card)));
        }
        real(devices)
    }

    /// Tells an invented card which jig it is connected to.
    pub fn connect(&mut self, jig: &JigInput) {
        match self {
            Self::Bench(card) => {
                card.bench.sense_ohm = jig.sense_ohm.value;
                card.bench.wiring = match jig.wiring {
                    Wiring::AcrossDriver => BenchWiring::AcrossDriver,
                    Wiring::AcrossResistor => BenchWiring::AcrossResistor,
                };
            }
            #[cfg(feature = "audio")]
            Self::Real(_) => {}
        }
    }

    /// Tells an invented card what hangs on the jig.
    pub fn arrange(&mut self, on: On) {
        match self {
            Self::Bench(card) => card.arrange(arrangement(on)),
            #[cfg(feature = "audio")]
            Self::Real(_) => {}
        }
    }

    /// The device's own rate where a server converts, Hz.
    pub fn resampling(&self) -> Option<u32> {
        match self {
            Self::Bench(_) => None,
            #[cfg(feature = "audio")]
            Self::Real(card) => card.resampling(),
        }
    }
}

impl SoundCard for LiveCard {
    fn sample_rate_hz(&self) -> u32 {
        match self {
            Self::Bench(card) => card.sample_rate_hz(),
            #[cfg(feature = "audio")]
            Self::Real(card) => card.sample_rate_hz(),
        }
    }

    fn record(
        &mut self,
        playback: &Playback,
        monitor: &mut dyn Monitor,
    ) -> Result<Recorded, CaptureError> {
        match self {
            Self::Bench(card) => card.record(playback, monitor),
            #[cfg(feature = "audio")]
            Self::Real(card) => card.record(playback, monitor),
        }
    }
}

#[cfg(feature = "audio")]
fn real(devices: &Devices) -> Result<LiveCard, CaptureError> {
    use farcone::device::{Card, CardSettings};
    Card::open(&CardSettings {
        host: devices.host.clone(),
        output: devices.output.clone(),
        input: devices.input.clone(),
        sample_rate_hz: (devices.sample_rate_hz > 0).then_some(devices.sample_rate_hz),
        channels: devices.channels.unwrap_or_default(),
    })
    .map(LiveCard::Real)
}

#[cfg(not(feature = "audio"))]
fn real(devices: &Devices) -> Result<LiveCard, CaptureError> {
    Err(CaptureError::Unavailable {
        side: Side::Output,
        device: devices.output.clone(),
        detail: "this program was built without sound cards (feature \"audio\"); only --host bench is there".to_owned(),
    })
}

fn arrangement(on: On) -> Arrangement {
    match on {
        On::TappedDriver => Arrangement::TappedDriver,
        On::Condition(condition) => match condition {
            Condition::AddedMass { mass_kg } => Arrangement::Driver(Mounting::AddedMass {
                added_mass_kg: mass_kg.value,
            }),
            Condition::TestBox { volume_m3 } => Arrangement::Driver(Mounting::TestBox {
                volume_m3: volume_m3.value,
                rho_c2_pa: BENCH_AIR.bulk_modulus_pa(),
                air_load_kg: 0.0,
                inverse_ql: 0.0,
            }),
            Condition::CheckResistor { ohm } => Arrangement::Resistor(ohm.value),
            Condition::SameNode => Arrangement::SameNode,
            Condition::ShortedLeads => Arrangement::Shorted,
            Condition::OpenLeads => Arrangement::Open,
            // Conditions to come are the driver's, like free air.
            _ => Arrangement::Driver(Mounting::FreeAir),
        },
    }
}

/// The invented card, with what is wrong in the set-up that was asked for.
fn bench_card(devices: &Devices, seed: u64) -> Result<BenchCard, CaptureError> {
    let known = |side, id: &str, names: &[&str]| {
        if names.contains(&id) {
            return Ok(());
        }
        Err(CaptureError::Unavailable {
            side,
            device: id.to_owned(),
            detail: format!("the virtual bench has only {}", names.join(", ")),
        })
    };
    known(Side::Output, &devices.output, &BENCH_OUTPUTS)?;
    known(Side::Input, &devices.input, &BENCH_INPUTS)?;
    let mut bench = Bench::new(BenchWiring::AcrossDriver, 47.0);
    bench.source_ohm = 2.0;
    bench.lead_ohm = 0.03;
    bench.skew_samples = 0.04;
    let input = Channel {
        coupling_hz: Some(2.0),
        load_ohm: Some(20_000.0),
        noise: Noise::Rms(1e-5),
        hum_peak: vec![2e-5, 5e-6, 1e-5],
        bits: Some(24),
        ..Channel::default()
    };
    bench.driver = Channel {
        gain: 1.004,
        ..input.clone()
    };
    bench.source = input;
    let mut faults = CardFaults {
        soft_suspension: Some(SoftSuspension {
            fs_change_per_12_db: -0.01,
            reference_peak_v: 0.02,
        }),
        ..CardFaults::default()
    };
    match devices.output.as_str() {
        "weak" => faults.most_output_a = Some(0.002),
        "monitored" => {
            faults.direct_monitor = Some(DirectMonitor {
                gain: 0.4,
                delay_frames: 960,
            });
        }
        "howling" => {
            faults.direct_monitor = Some(DirectMonitor {
                gain: 2.0,
                delay_frames: 960,
            });
        }
        _ => {}
    }
    match devices.input.as_str() {
        "microphone" => {
            faults.microphone_bias = Some(MicrophoneBias::default());
            bench.source.load_ohm = None;
            bench.driver.load_ohm = None;
        }
        "knobs" => faults.knobs = [1.0, 0.5],
        "swapped" => faults.swapped = true,
        "one" => faults.inputs = Inputs::One,
        "mono" => faults.inputs = Inputs::Mono,
        // Above the inputs' noise and hum, far below what is played.
        "gated" => {
            faults.spoil = Some(Spoil::Gate {
                threshold_peak: 4e-4,
                depth_db: 15.0,
            });
        }
        "mixed" => faults.spoil = Some(Spoil::Mixed { share: 0.3 }),
        _ => {}
    }
    let mut card = BenchCard::new(
        bench,
        demo_driver(),
        BENCH_RATE_HZ,
        BENCH_OUT_V,
        BENCH_IN_V,
        seed,
    );
    card.faults = faults;
    if devices
        .channels
        .is_some_and(|pick| pick != ChannelPick::default())
    {
        // Channels picked the other way round undo exchanged plugs.
        card.faults.swapped = !card.faults.swapped;
    }
    Ok(card)
}
