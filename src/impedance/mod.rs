//! Takes and a jig become an impedance curve; ready tables become the same.
//!
//! Conventions: frequencies in hertz, impedances in ohm with the time convention e^(+jωt), so an inductor's
//! reactance is positive. The reference plane is the driver's terminals once the leads have been taken off.

mod combine;
mod curve;
pub mod table;

pub use combine::{Combined, combine, combine_on_one_jig};
pub use curve::ImpedanceCurve;

use crate::jig::{Corrections, Jig};
use crate::quantity::Covariance2;
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

/// The same, with the doubt apart: the curve has the covariance of its take's own noise only, and the list that of the calibration
/// takes, which all takes on this jig share.
pub fn from_ratio_apart(
    ratio: &ChannelRatio,
    jig: &Jig,
    corrections: &Corrections,
) -> Option<(ImpedanceCurve, Vec<Covariance2>)> {
    let curve = from_ratio(ratio, jig, corrections)?;
    let mut noiseless = ratio.clone();
    noiseless.covariance.fill(Covariance2::default());
    let (_, shared) = corrections.impedance(jig, &noiseless);
    let own = curve.covariance()?.iter().zip(&shared);
    let own = own.map(|(all, shared)| all.plus(&shared.scaled(-1.0)));
    Some((curve.with_covariance(own.collect()), shared))
}
