//! A converged fit becomes small-signal parameters with two kinds of doubt, kept apart: within these takes, and from
//! one set-up to the next.
//!
//! Conventions: SI; levels in dB re 20 µPa. What the takes cannot tell is absent from the list, never zero. Formulas
//! (P1) to (P16) are in `docs/parameters.md`.

mod coil_doubt;
mod core;
mod formulas;
mod influence;
mod key;
mod method;
pub mod monte_carlo;
mod plausible;
mod readout;
mod result;
mod setup;
mod shown;
mod small_signal;

pub use coil_doubt::{fit_findings, re_in_doubt};
pub use formulas::rating_ohm;
pub use influence::{INFLUENCE_STEP, Influence, Role};
pub use key::Key;
pub use method::{Known, method_findings};
pub use plausible::plausibility_findings;
pub use readout::{Readout, readout};
pub use result::{Contribution, ParameterResult, SmallSignal};
pub use setup::{SetupSpread, SpreadOrigin};
pub use small_signal::{Wanted, small_signal};
