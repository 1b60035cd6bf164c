//! The fit of one structure, robust against outlying points such as hum lines or a rattle.
//!
//! Iteratively reweighted least squares with Huber's weights (Huber, Ann. Math. Stat. 35(1), 1964, 73–101; from
//! memory). A point's error is its whitened complex magnitude, whose square is χ² with two degrees of freedom.

use super::joint::Joint;
use super::least_squares::{Failure, Options, Outcome, minimise};
use crate::quantity::SymmetricMatrix;

/// Magnitude beyond which a point's pull no longer grows, in standard deviations of one part. Of good points one in
/// ninety lies beyond (e^(−9/2)), so that next to nothing is lost when nothing is wrong.
const HUBER: f64 = 3.0;
/// Median of the magnitude of two unit normals (Rayleigh): √(2 ln 2).
const RAYLEIGH_MEDIAN: f64 = 1.177_410_022_515_474_7;
/// Reweighting stops when no weight moves by more than this, or after so many rounds: the weights settle
/// geometrically, and what is left then is far below the noise.
const SETTLED: f64 = 0.02;
const ROUNDS: usize = 8;

pub(super) struct RobustFit {
    pub inner: Vec<f64>,
    /// (JᵀJ)⁻¹ in the inner coordinates, unscaled.
    pub covariance: SymmetricMatrix,
    /// Indices of unknowns that the data do not determine.
    pub undetermined: Vec<usize>,
    /// Robust scale of the whitened errors: 1 if the stated noise explains them.
    pub scale: f64,
}

/// Fits; leaves the settled weights in `joint`.
pub(super) fn fit(
    joint: &mut Joint,
    start: &[f64],
    options: &Options,
    relative: bool,
) -> Result<RobustFit, Failure> {
    let mut inner = start.to_vec();
    for round in 0.. {
        let solution = match minimise(joint, &inner, options) {
            Outcome::Converged(solution) => solution,
            Outcome::Failed(failure) => return Err(failure),
        };
        inner.clone_from(&solution.parameters);
        let magnitudes: Vec<Vec<f64>> = (0..joint.parts.len())
            .map(|p| {
                joint
                    .errors(p, &inner)
                    .into_iter()
                    .map(|(a, b)| a.hypot(b))
                    .collect()
            })
            .collect();
        let scale = scale(&magnitudes, relative);
        let moved = reweight(joint, &magnitudes, scale);
        if moved < SETTLED || round == ROUNDS {
            let covariance = solution.covariance;
            return Ok(RobustFit {
                inner,
                covariance,
                undetermined: solution.undetermined,
                scale,
            });
        }
    }
    unreachable!("the loop ends by returning")
}

/// Robust scale of the errors. At least 1, since noise below what was stated is luck, not licence; unless nothing was
/// stated.
fn scale(magnitudes: &[Vec<f64>], relative: bool) -> f64 {
    let mut all: Vec<f64> = magnitudes.iter().flatten().copied().collect();
    let middle = all.len() / 2;
    let (_, median, _) = all.select_nth_unstable_by(middle, f64::total_cmp);
    let scale = *median / RAYLEIGH_MEDIAN;
    // A perfect table leaves no scatter at all; the weights then do not matter.
    let least = if relative { f64::EPSILON } else { 1.0 };
    if scale > least { scale } else { least }
}

/// Sets the weights; returns the largest change.
fn reweight(joint: &mut Joint, magnitudes: &[Vec<f64>], scale: f64) -> f64 {
    let mut moved = 0.0;
    for (part, magnitudes) in joint.parts.iter_mut().zip(magnitudes) {
        for (weight, magnitude) in part.weight.iter_mut().zip(magnitudes) {
            let limit = HUBER * scale;
            let new = if *magnitude <= limit {
                1.0
            } else {
                limit / magnitude
            };
            let change = (new - *weight).abs();
            if change > moved {
                moved = change;
            }
            *weight = new;
        }
    }
    moved
}

/// Huber's loss of all points plus the priors, for a common scale: what circuits are compared by.
pub(super) fn loss(joint: &Joint, inner: &[f64], scale: f64) -> f64 {
    let limit = HUBER * scale;
    let points: f64 = (0..joint.parts.len())
        .flat_map(|p| joint.errors(p, inner))
        .map(|(a, b)| {
            let magnitude = a.hypot(b);
            if magnitude <= limit {
                magnitude * magnitude
            } else {
                limit * (2.0 * magnitude - limit)
            }
        })
        .sum();
    points + joint.prior_loss(inner)
}
