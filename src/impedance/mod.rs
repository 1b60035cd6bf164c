//! Takes and a jig become an impedance curve; ready tables become the same.
//!
//! Conventions: frequencies in hertz, impedances in ohm with the time convention e^(+jωt), so an inductor's
//! reactance is positive. The reference plane is the driver's terminals once the leads have been taken off.

mod combine;
mod curve;
pub mod table;

pub use combine::{Combined, combine};
pub use curve::ImpedanceCurve;

use crate::jig::{Corrections, Jig};
use crate::signal::ChannelRatio;

/// The impedance at the driver's terminals that a channel ratio shows on a jig. `None` if a point has no finite value,
/// as when both channels are the same.
pub fn from_ratio(
    ratio: &ChannelRatio,
    jig: &Jig,
    corrections: &Corrections,
) -> Option<ImpedanceCurve> {
    let (z_ohm, covariance) = corrections.impedance(jig, ratio);
    let finite =
        z_ohm.iter().all(|z| z.is_finite()) && covariance.iter().all(|c| c.trace().is_finite());
    finite.then(|| ImpedanceCurve::new(ratio.frequency.clone(), z_ohm, Some(covariance)))?
}
