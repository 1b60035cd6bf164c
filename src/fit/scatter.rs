//! How far the estimates scatter: (F11).
//!
//! Formulas stand in `docs/fit.md`.
//!
//! The fit weighs each point by all the doubt in it. That is also how far the estimates scatter as long as the points err on their own. The
//! calibration takes' noise is the same over many points and in all curves; what it does is therefore followed from its source.

use super::joint::Joint;
use super::least_squares::Problem;
use super::observation::Observation;
use crate::jig::{Summed, covariance_of_sums};
use crate::quantity::SymmetricMatrix;

/// Covariance of the estimates for the noise alone, with the inverse of JᵀJ and what was observed: without the doubt of what was typed,
/// which counts as an influence.
pub(super) fn scatter(
    joint: &Joint,
    inner: &[f64],
    inverse: &SymmetricMatrix,
    observations: &[Observation],
) -> SymmetricMatrix {
    if observations.iter().all(|o| o.calibration.is_empty()) {
        return without_typed(joint, inverse);
    }
    let pulls = Pulls::new(joint, inner, inverse);
    let p = inner.len();
    // Squares are summed and nothing is taken off a sum, so that no variance gets lost in another: weights may have moved a little since the
    // inverse was taken.
    let mut scatter = SymmetricMatrix::zero(p);
    let mut row = 0;
    let mut curves = vec![];
    for (part, observation) in joint.parts.iter().zip(observations) {
        let f_hz = observation.curve.frequency_hz();
        let mut factors = vec![vec![]; p];
        for (i, &f_hz) in f_hz.iter().enumerate() {
            let (a, b) = (pulls.of(row), pulls.of(row + 1));
            row += 2;
            let shared = observation.calibration.covariance_at(f_hz);
            let [aa, ab, bb] = part.whitening[i].covariance(&shared);
            add(&mut scatter, &a, &b, [1.0 - aa, -ab, 1.0 - bb]);
            let root = part.weight[i].sqrt();
            for (m, factors) in factors.iter_mut().enumerate() {
                factors.push(part.whitening[i].factor(root * a[m], root * b[m]));
            }
        }
        curves.push(Summed {
            noise: &observation.calibration,
            frequency_hz: f_hz,
            factors,
        });
    }
    let typed: Vec<usize> = joint.typed().map(|(unknown, _)| unknown).collect();
    for unknown in joint.with_prior() {
        if !typed.contains(&unknown) {
            let pull = pulls.of(row);
            add(&mut scatter, &pull, &pull, [1.0, 0.0, 0.0]);
        }
        row += 1;
    }
    let shared = covariance_of_sums(p, &curves);
    for m in 0..p {
        for l in 0..=m {
            scatter.set(m, l, scatter.get(m, l) + shared.get(m, l));
        }
    }
    scatter
}

/// What each residual moves each estimate by: the columns of (JᵀJ)⁻¹·Jᵀ.
struct Pulls<'a> {
    inverse: &'a SymmetricMatrix,
    jacobian: Vec<f64>,
    n_rows: usize,
}

impl<'a> Pulls<'a> {
    fn new(joint: &Joint, inner: &[f64], inverse: &'a SymmetricMatrix) -> Self {
        let n_rows = joint.n_residuals();
        let mut jacobian = vec![0.0; n_rows * inner.len()];
        joint.jacobian(inner, &mut jacobian);
        Self {
            inverse,
            jacobian,
            n_rows,
        }
    }

    fn of(&self, row: usize) -> Vec<f64> {
        let p = self.inverse.n();
        let slope = |j: usize| self.jacobian[j * self.n_rows + row];
        (0..p)
            .map(|i| (0..p).map(|j| self.inverse.get(i, j) * slope(j)).sum())
            .collect()
    }
}

/// Adds (a b)·C·(a b)ᵀ for a covariance of two numbers: first·first, first·second, second·second.
fn add(sum: &mut SymmetricMatrix, a: &[f64], b: &[f64], [aa, ab, bb]: [f64; 3]) {
    for m in 0..a.len() {
        for l in 0..=m {
            let product = aa * a[m] * a[l] + ab * (a[m] * b[l] + b[m] * a[l]) + bb * b[m] * b[l];
            sum.set(m, l, sum.get(m, l) + product);
        }
    }
}

/// Covariance of the estimates without the doubt of what was typed: C − Σ c·cᵀ/σ², with c the column of a typed unknown
/// and σ its prior's standard uncertainty, formula (F2).
fn without_typed(joint: &Joint, covariance: &SymmetricMatrix) -> SymmetricMatrix {
    let mut scatter = covariance.clone();
    for (t, sigma) in joint.typed() {
        for i in 0..covariance.n() {
            for j in 0..=i {
                let typed = covariance.get(i, t) * covariance.get(j, t) / (sigma * sigma);
                scatter.set(i, j, scatter.get(i, j) - typed);
            }
        }
    }
    scatter
}
