//! Curves and a circuit become an outcome: a joint fit over all takes of a driver, and the choice of circuit.
//!
//! The first observation is the free-air one. Nothing here knows what a parameter means to a box designer; that is
//! [`crate::parameters`]. Formulas (F1) to (F11) are in `docs/fit.md`.

mod align;
mod candidate;
mod choice;
mod compare;
mod extra_loop;
mod glance;
mod joint;
pub mod least_squares;
mod misfit;
mod observation;
mod robust;
mod scatter;
mod second_peak;
mod starts;
pub mod transform;

pub use align::mean_curve;
pub use candidate::{Candidate, Derived};
pub use choice::{Choice, Fit, Unfitted, fit_all, fit_by_noise};
pub use extra_loop::{ExtraLoop, extra_loop};
pub use glance::{Resonance, resonance};
pub use observation::{Loading, Observation};
pub use second_peak::{SecondPeak, second_peak};
