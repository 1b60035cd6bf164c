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
    let mut scatter = without_typed(joint, inverse);
    if observations.iter().all(|o| o.calibration.is_empty()) {
        return scatter;
    }
    let (n, p) = (joint.n_residuals(), inner.len());
    let mut jacobian = vec![0.0; n * p];
    joint.jacobian(inner, &mut jacobian);
    // What each residual moves each estimate by: the columns of (JᵀJ)⁻¹·Jᵀ.
    let pull = |row: usize| -> Vec<f64> {
        let along = |i: usize| {
            (0..p)
                .map(|j| inverse.get(i, j) * jacobian[j * n + row])
                .sum()
        };
        (0..p).map(along).collect()
    };
    let mut row = 0;
    let mut curves = vec![];
    for (part, observation) in joint.parts.iter().zip(observations) {
        let f_hz = observation.curve.frequency_hz();
        let mut factors = vec![vec![]; p];
        for (i, &f_hz) in f_hz.iter().enumerate() {
            let (a, b) = (pull(row), pull(row + 1));
            row += 2;
            let [aa, ab, bb] =
                part.whitening[i].covariance(&observation.calibration.covariance_at(f_hz));
            let root = part.weight[i].sqrt();
            for m in 0..p {
                factors[m].push(part.whitening[i].factor(root * a[m], root * b[m]));
                for l in 0..=m {
                    let counted =
                        aa * a[m] * a[l] + ab * (a[m] * b[l] + b[m] * a[l]) + bb * b[m] * b[l];
                    scatter.set(m, l, scatter.get(m, l) - counted);
                }
            }
        }
        curves.push(Summed {
            noise: &observation.calibration,
            frequency_hz: f_hz,
            factors,
        });
    }
    let shared = covariance_of_sums(p, &curves);
    for m in 0..p {
        for l in 0..=m {
            scatter.set(m, l, scatter.get(m, l) + shared.get(m, l));
        }
    }
    scatter
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
