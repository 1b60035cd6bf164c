//! What is left between circuit and curve, and what to do where it is more than noise.

use num_complex::Complex64;

use super::candidate::Candidate;
use super::choice::{Choice, Unfitted};
use super::compare::compare;
use super::glance::Resonance;
use super::observation::Observation;
use crate::progress::Watcher;
use crate::quantity::Covariance2;

/// Half the stretch over which misfit is judged, as a frequency ratio: a twelfth of an octave.
const HALF_STRETCH: f64 = 1.059_463_094_359_295_3;
/// Where misfit cannot be explained, families that misfit by up to this factor more than the best still count as
/// possible ways of being wrong.
const COMPARABLE: f64 = 5.0;

/// Reduced loss, and smoothed misfit up to a frequency as a part of |Z|, root mean square.
pub(super) fn judged(
    candidate: &Candidate,
    observations: &[Observation],
    up_to_hz: f64,
) -> (f64, f64) {
    let mut squares = vec![];
    for (i, observation) in observations.iter().enumerate() {
        let f_hz = observation.curve.frequency_hz();
        let misfit = smoothed(f_hz, &candidate.errors_ohm(i));
        let points = f_hz
            .iter()
            .zip(misfit.iter().zip(observation.curve.z_ohm()));
        let inside = points.filter(|(f, _)| **f <= up_to_hz);
        squares.extend(inside.map(|(_, (e, z))| e.norm_sqr() / z.norm_sqr()));
    }
    let mean = squares.iter().sum::<f64>() / squares.len() as f64;
    (candidate.reduced_loss(), mean.sqrt())
}

/// Mean over a stretch around each point, which noise does not survive but misfit does.
fn smoothed(f_hz: &[f64], errors: &[Complex64]) -> Vec<Complex64> {
    (0..f_hz.len())
        .map(|i| {
            let low = f_hz.partition_point(|&f| f < f_hz[i] / HALF_STRETCH);
            let high = f_hz.partition_point(|&f| f <= f_hz[i] * HALF_STRETCH);
            errors[low..high].iter().sum::<Complex64>() / (high - low) as f64
        })
        .collect()
}

/// The observations with the misfit above `above_hz` added to their covariance, so that there it shapes the coil but
/// pulls at nothing else. The misfit is that of circuits fitted below `above_hz` only.
pub(super) fn eased(
    observations: &[Observation],
    seen: &[Resonance],
    choice: &Choice,
    above_hz: f64,
    watcher: &mut dyn Watcher,
) -> Result<Option<Vec<Observation>>, Unfitted> {
    let below: Option<Vec<Observation>> = observations
        .iter()
        .map(|o| {
            Some(Observation {
                curve: o.curve.between(0.0, above_hz)?,
                ..o.clone()
            })
        })
        .collect();
    let Some(below) = below.filter(|list| list.iter().all(|o| o.curve.n_points() > 30)) else {
        return Ok(None);
    };
    let fitted = compare(&below, seen, choice, watcher)?;
    let best = &fitted[0];
    let eased = observations.iter().enumerate().map(|(i, observation)| {
        let values = best.circuit_values(i);
        let f_hz = observation.curve.frequency_hz();
        let model = |f: f64| best.circuit(i).impedance(f, &values);
        let errors: Vec<_> = f_hz
            .iter()
            .zip(observation.curve.z_ohm())
            .map(|(&f, z)| model(f) - z)
            .collect();
        let misfit = smoothed(f_hz, &errors);
        let covariance = observation.covariances();
        let widened = covariance
            .iter()
            .zip(&misfit)
            .zip(f_hz)
            .map(|((c, e), &f)| {
                if f > above_hz {
                    c.plus(&Covariance2::circular(e.norm_sqr()))
                } else {
                    *c
                }
            });
        let curve = observation.curve.with_covariance(widened.collect());
        Observation {
            curve,
            ..observation.clone()
        }
    });
    Ok(Some(eased.collect()))
}

/// How many candidates from the front misfit about as little as the best; at least two where there are two.
pub(super) fn n_comparable(candidates: &mut [Candidate], observations: &[Observation]) -> usize {
    let part = |candidate: &Candidate| judged(candidate, observations, f64::INFINITY).1;
    let best = part(&candidates[0]);
    let n = candidates
        .iter()
        .take_while(|candidate| part(candidate) <= COMPARABLE * best)
        .count();
    n.max(2).min(candidates.len())
}
