//! Takes and a jig become an impedance curve; ready tables become the same.
//!
//! Conventions: frequencies in hertz, impedances in ohm with the time convention e^(+jωt), so an inductor's
//! reactance is positive. The reference plane is the driver's terminals once the leads have been taken off.

mod combine;
mod curve;
pub mod table;

pub use combine::{Combined, combine, combine_on_one_jig};
pub use curve::ImpedanceCurve;

use crate::jig::{Apart, CalibrationNoise, Corrections, Jig};
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

/// The same, with the doubt apart: the curve has the covariance of its take's own noise only, beside it what the calibration takes' noise
/// does, which all takes on this jig share.
pub fn from_ratio_apart(
    ratio: &ChannelRatio,
    jig: &Jig,
    corrections: &Corrections,
) -> Option<(ImpedanceCurve, CalibrationNoise)> {
    let Apart {
        z_ohm,
        own,
        calibration,
    } = corrections.impedance_apart(jig, ratio);
    let curve = ImpedanceCurve::new(ratio.frequency.clone(), z_ohm, Some(own))?;
    let finite = |i: usize| {
        let own = curve.covariance().is_some_and(|c| c[i].trace().is_finite());
        let f_hz = curve.frequency_hz()[i];
        own && curve.z_ohm()[i].is_finite() && calibration.covariance_at(f_hz).trace().is_finite()
    };
    let all = (0..curve.n_points()).all(finite);
    all.then_some((curve, calibration))
}
