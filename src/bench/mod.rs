//! The virtual bench: a driver on a jig becomes a two-channel recording, with faults on request.
//!
//! Only adapters and tests import this room, and it uses nothing of the analysis: what recovers a driver from a take
//! must not share code with what made the take.
//!
//! Conventions: a stimulus is the source's electromotive force in volt, one sample after the other; a recorded sample
//! of 1 is full scale, and with a gain of 1 that is one volt. Channel 1 (`source`) sits at the source node, channel 2
//! (`driver`) at the node between resistor and driver. Linear parts are exact: solved per frequency, with (C17) to (C20)
//! of `docs/circuits.md`, and transformed with enough silence behind the stimulus that nothing wraps round. Then each
//! channel gets its hum, its noise, its clipping and its rounding, in this order.
//!
//! ```
//! use farcone::bench::{Bench, Element, Mounting, Wiring, drivers};
//!
//! let driver = &drivers()[3];
//! let (circuit, values) = driver.set_up(&Mounting::FreeAir);
//! let bench = Bench::new(Wiring::AcrossDriver, 47.0);
//! let stimulus: Vec<f64> = (0..4800).map(|i| 0.3 * (0.01 * f64::from(i)).sin()).collect();
//! let element = Element::Driver { circuit: &circuit, values: &values };
//! let take = bench.record(&element, &stimulus, 48_000.0, 1)?;
//! assert_eq!(take.driver.len(), 4800);
//! # Ok::<(), farcone::bench::BenchError>(())
//! ```

mod card;
mod channel;
mod converter;
mod crosstalk;
mod divider;
mod driver_circuit;
mod drivers;
mod error;
mod nonlinear;
mod one_clip;
mod other_coil;
mod other_drivers;
mod plugs;
mod record;
mod response;
mod spoil;
mod truth;

pub use card::{
    Arrangement, BenchCard, CardFaults, DirectMonitor, Inputs, LevelStep, LostFrames,
    MicrophoneBias, SoftSuspension,
};
pub use channel::{Channel, Noise};
pub use crosstalk::Crosstalk;
pub use divider::Wiring;
pub use driver_circuit::{DriverCircuit, ExtraResonance};
pub use drivers::{Coil, Creep, InventedDriver, Mounting, demo_driver, drivers};
pub use error::BenchError;
pub use nonlinear::{Buzz, NonlinearDriver, Rub, Stop};
pub use one_clip::{ClipMove, OneClip, Slip};
pub use other_coil::OtherCoil;
pub use other_drivers::{OtherDriver, Softening, SuspensionLoss, other_drivers};
pub use record::{Bench, BenchTake, Element};
pub use spoil::Spoil;
pub use truth::Truth;
