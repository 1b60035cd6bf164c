//! Small-signal parameters of loudspeaker drivers, with believable uncertainties, from two-channel recordings.
//!
//! ```text
//! takes ──▶ channel ratio ──▶ impedance curve ──▶ fit ──▶ parameters ──▶ sheet
//! recording   signal            jig, impedance     circuit, fit  parameters   sheet
//! ```
//!
//! [`session::analyse`] is the one way through. Everything is a pure function: bytes and numbers come in, values go out;
//! no files, no clock, no printing; randomness comes from a seed. `DEVELOPERS.md` has the map of the rooms.
//!
//! Conventions: SI inside, with the unit as a suffix of the name (`fs_hz`, `mms_kg`). Time convention e^(+jωt). Channel 1
//! is the source node, channel 2 the driver's side; the reference plane is the driver's terminals. An unknown is `None`,
//! never zero.
//!
//! The whole job, on the virtual bench:
//!
//! ```
//! use farcone::air::AirInput;
//! use farcone::bench::{self, Bench, Element, Mounting, demo_driver};
//! use farcone::fit::Choice;
//! use farcone::jig::Wiring;
//! use farcone::progress::Unwatched;
//! use farcone::quantity::Stated;
//! use farcone::recording::Take;
//! use farcone::session::{Condition, Cone, Data, JigInput, Session, SessionTake, analyse};
//! use farcone::signal::SynchronizedSweep;
//!
//! let stimulus = SynchronizedSweep { duration_s: 3.0, ..Default::default() }.samples()?;
//! let bench = Bench::new(bench::Wiring::AcrossDriver, 47.0);
//! let record = |name: &str, condition, mounting| -> Result<SessionTake, Box<dyn std::error::Error>> {
//!     let (circuit, values) = demo_driver().set_up(&mounting);
//!     let element = Element::Driver { circuit: &circuit, values: &values };
//!     let take = bench.record(&element, &stimulus, 48_000.0, 1)?;
//!     let data = Data::Recording(Take::new(48_000, take.source, take.driver)?);
//!     let (findings, sha256) = (vec![], vec![]);
//!     let (level, aside) = (None, false);
//!     Ok(SessionTake { name: name.to_owned(), condition, data, findings, sha256, remounted: false, level, aside })
//! };
//! let mass_kg = Stated::within(2.4e-3, 0.01e-3);
//! let session = Session {
//!     label: "demo".to_owned(),
//!     jig: Some(JigInput {
//!         wiring: Wiring::AcrossDriver,
//!         sense_ohm: Stated::within(47.0, 0.1),
//!         lead_ohm: None,
//!         input_load_ohm: [None, None],
//!         swap_channels: false,
//!     }),
//!     air: AirInput::default(),
//!     cone: Some(Cone::Area(Stated::within(demo_driver().sd_m2, 1e-5))),
//!     meter_re_ohm: None,
//!     dimensions: Default::default(),
//!     photos: vec![],
//!     band_hz: Session::DEFAULT_BAND_HZ,
//!     choice: Choice::default(),
//!     n_draws: Session::DEFAULT_DRAWS,
//!     seed: 1,
//!     played: None,
//!     takes: vec![
//!         record("free-air", Condition::FreeAir, Mounting::FreeAir)?,
//!         record("added-mass", Condition::AddedMass { mass_kg }, Mounting::AddedMass { added_mass_kg: 2.4e-3 })?,
//!     ],
//! };
//! let sheet = analyse(session, &mut Unwatched)?;
//! let truth = demo_driver().truth();
//! let mms = sheet.parameters.mms.ok_or("no mass")?;
//! assert_eq!(sheet.verdict, "good");
//! assert!((mms.value / truth.mms_kg - 1.0).abs() < 1e-3);
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```
#![cfg_attr(not(test), deny(clippy::disallowed_methods))]
#![cfg_attr(
    test,
    allow(
        clippy::unwrap_used,
        clippy::expect_used,
        clippy::panic,
        clippy::print_stdout,
        clippy::print_stderr,
        reason = "a test fails by panicking, and prints the figures it measured"
    )
)]

pub mod air;
pub mod bench;
pub mod bundle;
pub mod capture;
pub mod chat;
pub mod circuit;
pub mod coins;
pub mod compare;
pub mod desk;
#[cfg(all(feature = "audio", not(target_arch = "wasm32")))]
pub mod device;
pub mod enclosure;
pub mod export;
pub mod faults;
pub mod finding;
pub mod fit;
pub mod impedance;
pub mod jig;
#[cfg(feature = "cli")]
pub mod kit;
pub mod level;
pub mod parameters;
pub mod progress;
pub mod quantity;
pub mod recording;
#[cfg(feature = "cli")]
pub mod report;
pub mod session;
pub mod sheet;
pub mod signal;
pub mod test_box;
pub mod web;

pub use num_complex::Complex64;
