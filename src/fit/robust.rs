//! The fit of one structure, robust against outlying points such as hum lines or a rattle.
//!
//! Iteratively reweighted least squares with Huber's weights (Huber, Ann. Math. Stat. 35(1), 1964, 73–101; from
//! memory). A point's error is its whitened complex magnitude, whose square is χ² with two degrees of freedom.

use super::joint::Joint;
use super::least_squares::{Failure, Options, Outcome, Solution, finish, minimise};
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

/// How far from its minimum a round may end that is not the last, in standard uncertainties: the weights, and with them the last
/// round, then move by a thousandth of it.
const LEAST_STEP_BETWEEN: f64 = 1e-4;

/// Fits; leaves the settled weights in `joint`.
pub(super) fn fit(
    joint: &mut Joint,
    start: &[f64],
    options: &Options,
    relative: bool,
) -> Result<RobustFit, Failure> {
    let between = Options {
        least_step: LEAST_STEP_BETWEEN,
        ..*options
    };
    let mut inner = start.to_vec();
    for round in 0.. {
        // Other weights move the minimum by little, and full steps lead there. Where they do not, the long way does.
        let nearby = if round == 0 {
            None
        } else {
            converged(finish(joint, &inner, &between)).ok()
        };
        let solution = match nearby {
            Some(solution) => solution,
            None => converged(minimise(joint, &inner, &between))?,
        };
        let (_, weights) = judged(joint, &solution.parameters, relative);
        if moved(joint, &weights) >= SETTLED && round < ROUNDS {
            set(joint, weights);
            inner = solution.parameters;
            continue;
        }
        let solution = converged(finish(joint, &solution.parameters, options))?;
        let (scale, weights) = judged(joint, &solution.parameters, relative);
        set(joint, weights);
        return Ok(RobustFit {
            inner: solution.parameters,
            covariance: solution.covariance,
            undetermined: solution.undetermined,
            scale,
        });
    }
    unreachable!("the loop ends by returning")
}

fn converged(outcome: Outcome) -> Result<Solution, Failure> {
    match outcome {
        Outcome::Converged(solution) => Ok(solution),
        Outcome::Failed(failure) => Err(failure),
    }
}

/// The scale of the errors at a point, and the weights of each part's points that follow.
fn judged(joint: &Joint, inner: &[f64], relative: bool) -> (f64, Vec<Vec<f64>>) {
    let magnitude = |(a, b): (f64, f64)| a.hypot(b);
    let magnitudes: Vec<Vec<f64>> = (0..joint.parts.len())
        .map(|p| joint.errors(p, inner).into_iter().map(magnitude).collect())
        .collect();
    let scale = scale(&magnitudes, relative);
    let limit = HUBER * scale;
    let weight = |magnitude: f64| {
        if magnitude <= limit {
            1.0
        } else {
            limit / magnitude
        }
    };
    let weights = magnitudes
        .into_iter()
        .map(|part| part.into_iter().map(weight).collect());
    (scale, weights.collect())
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

/// By how much the weights would move at most.
fn moved(joint: &Joint, weights: &[Vec<f64>]) -> f64 {
    let now = joint.parts.iter().flat_map(|part| &part.weight);
    now.zip(weights.iter().flatten())
        .map(|(now, next)| (next - now).abs())
        .fold(0.0, |m: f64, v| if v > m { v } else { m })
}

fn set(joint: &mut Joint, weights: Vec<Vec<f64>>) {
    for (part, weights) in joint.parts.iter_mut().zip(weights) {
        part.weight = weights;
    }
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
