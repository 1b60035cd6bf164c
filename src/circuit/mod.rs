//! Equivalent circuits of a driver and its coil: an impedance, and how it moves with each parameter.
//!
//! Conventions: time convention e^(+jωt), so an inductor's reactance is positive; ω in rad/s is 2π times the frequency
//! in hertz; impedances in ohm; parameters in SI. A circuit does not know that it is being fitted: no weights, no
//! bounds beyond what physics forbids. The formulas, with their sources, stand in `docs/circuits.md`; the code cites
//! them as (C1), (C2) and so on.
//!
//! [`Circuit`] is the contract; anybody can implement it outside this crate. [`driver`] puts a whole driver together:
//!
//! ```
//! use farcone::circuit::{Circuit, CoilFamily, Load, driver};
//!
//! let circuit = driver(CoilFamily::Plain, None, Load::Free);
//! let names: Vec<&str> = circuit.parameters().iter().map(|p| p.name.as_ref()).collect();
//! assert_eq!(names, ["re_ohm", "le_h", "bl_t_m", "mms_kg", "cms_m_per_n", "rms_kg_per_s"]);
//! let z_ohm = circuit.impedance(42.874_150, &[5.5, 0.0, 7.2, 21.2e-3, 0.65e-3, 1.35]);
//! assert!((z_ohm.norm() - 43.9).abs() < 1e-6);
//! ```

mod coil_family;
mod coil_ladder;
mod contract;
mod creep_ladder;
mod lr2_coil;
mod motional;
mod motional_load;
mod plain_coil;
mod power_law_coil;
mod resistance;
mod semi_inductor_coil;
mod series;
mod start;

pub use coil_family::{CoilFamily, coil_inductance_h, driver};
pub use coil_ladder::{BesideLadder, CoilLadder, LADDER_BAND_HZ, RlSection};
pub use contract::{Circuit, Domain, Glance, Parameter};
pub use creep_ladder::{CreepLadder, CreepSection};
pub use lr2_coil::Lr2Coil;
pub use motional::MotionalBranch;
pub use motional_load::{Load, TestBox};
pub use plain_coil::PlainCoil;
pub use power_law_coil::PowerLawCoil;
pub use resistance::Resistance;
pub use semi_inductor_coil::SemiInductorCoil;
pub use series::Series;

/// Where the power-law elements state their magnitude, Hz; see (C5) for why.
pub const MAGNITUDE_REFERENCE_HZ: f64 = 1000.0;
