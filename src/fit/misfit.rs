//! What is left between circuit and curve, and what to do where it is more than noise.

use std::ops::Range;

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
            let stretch = stretch(f_hz, i);
            let n = stretch.len() as f64;
            errors[stretch].iter().sum::<Complex64>() / n
        })
        .collect()
}

/// The points around one.
fn stretch(f_hz: &[f64], i: usize) -> Range<usize> {
    stretch_at(f_hz, f_hz[i])
}

/// The points around a frequency; none where the curve does not reach.
fn stretch_at(f_hz: &[f64], at_hz: f64) -> Range<usize> {
    let low = f_hz.partition_point(|&f| f < at_hz / HALF_STRETCH);
    let high = f_hz.partition_point(|&f| f <= at_hz * HALF_STRETCH);
    low..high
}

/// Mean of the errors around a frequency.
pub(super) fn around(f_hz: &[f64], errors: &[Complex64], at_hz: f64) -> Option<Complex64> {
    let near = &errors[stretch_at(f_hz, at_hz)];
    (!near.is_empty()).then(|| near.iter().sum::<Complex64>() / near.len() as f64)
}

/// The observations with the misfit above `above_hz` added to their covariance, so that there it shapes the coil but
/// pulls at nothing else, and below with what is missed there on the whole: (F9). The misfit is that of circuits fitted below `above_hz`
/// only.
pub(super) fn eased(
    observations: &[Observation],
    seen: &[Resonance],
    choice: &Choice,
    (above_hz, below_too): (f64, bool),
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
    let (_, part) = judged(best, &below, above_hz);
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
        let widened = covariance.iter().enumerate().map(|(i, c)| {
            let doubt = if f_hz[i] > above_hz {
                misfit[i].norm_sqr()
            } else if !below_too {
                0.0
            } else {
                // The points of a stretch are wrong together.
                let n_together = stretch(f_hz, i).len() as f64;
                n_together * part * part * observation.curve.z_ohm()[i].norm_sqr()
            };
            c.plus(&Covariance2::circular(doubt))
        });
        let curve = observation.curve.with_covariance(widened.collect());
        Observation {
            curve,
            ..observation.clone()
        }
    });
    Ok(Some(eased.collect()))
}

/// Candidates besides the best that count as other ways of being wrong, and how much each counts: the misfit of the best over its own,
/// squared, scaled so that they add up to 1: (F10). Another coil family is always among them, where one was tried.
pub(super) fn comparable(
    candidates: &[Candidate],
    observations: &[Observation],
    up_to_hz: f64,
) -> Vec<(usize, f64)> {
    let part = |candidate: &Candidate| judged(candidate, observations, up_to_hz).1;
    let parts: Vec<f64> = candidates.iter().map(part).collect();
    let Some(best) = parts.first() else {
        return vec![];
    };
    let follows = |i: &usize| parts[*i] <= COMPARABLE * best;
    let mut others: Vec<usize> = (1..parts.len()).filter(follows).collect();
    let another = |i: &usize| candidates[*i].coil() != candidates[0].coil();
    if !others.iter().any(another) {
        let nearest = (1..parts.len())
            .filter(another)
            .min_by(|a, b| parts[*a].total_cmp(&parts[*b]));
        others.extend(nearest);
    }
    let counts: Vec<f64> = others.iter().map(|i| (best / parts[*i]).powi(2)).collect();
    let total: f64 = counts.iter().sum();
    others
        .into_iter()
        .zip(counts)
        .map(|(i, count)| (i, count / total))
        .collect()
}
