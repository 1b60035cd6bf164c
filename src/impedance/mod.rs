//! Takes and a jig become an impedance curve; ready tables become the same.
//!
//! Conventions: frequencies in hertz, impedances in ohm with the time convention e^(+jωt), so an inductor's
//! reactance is positive. The reference plane is the driver's terminals once the leads have been taken off.

mod combine;
mod curve;
pub mod table;

pub use combine::{Combined, combine, combine_on_one_jig};
pub use curve::ImpedanceCurve;

use num_complex::Complex64;

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
    let points = corrections.impedance_apart(jig, ratio);
    let all = |(_, own, shared): &(Complex64, Covariance2, Covariance2)| own.plus(shared);
    let finite = |point| all(point).trace().is_finite() && point.0.is_finite();
    if !points.iter().all(finite) {
        return None;
    }
    let z_ohm = points.iter().map(|point| point.0).collect();
    let own = points.iter().map(|point| point.1).collect();
    let curve = ImpedanceCurve::new(ratio.frequency.clone(), z_ohm, Some(own))?;
    Some((curve, points.iter().map(|point| point.2).collect()))
}
