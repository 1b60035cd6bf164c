//! A point in parameter space with everything that is known there.

use super::decomposition::Decomposition;
use super::{FailureReason, Options, Problem, first_unusable, jacobian_not_finite};

/// A minimum is believed unless a full step still promises to remove more than this fraction of rss, ...
const PROMISED_FRACTION: f64 = 1e-6;
/// ... and would move the parameters by more than this fraction. The second excuses fits without noise: their
/// residuals are rounding errors, a part of which can always be "fitted" by moving the last digits.
const PROMISED_MOVE: f64 = 1e-9;

pub(super) struct Point {
    pub parameters: Vec<f64>,
    pub residuals: Vec<f64>,
    pub decomposition: Decomposition,
}

impl Point {
    pub(super) fn at(
        problem: &dyn Problem,
        parameters: Vec<f64>,
        options: &Options,
    ) -> Result<Self, FailureReason> {
        let mut residuals = vec![0.0; problem.n_residuals()];
        let mut jacobian = vec![0.0; residuals.len() * parameters.len()];
        problem.linearised(&parameters, &mut residuals, &mut jacobian);
        if let Some((residual, value)) = first_unusable(&residuals) {
            return Err(FailureReason::ResidualNotFinite { residual, value });
        }
        if let Some(cell) = jacobian.iter().position(|value| !value.is_finite()) {
            return Err(jacobian_not_finite(cell, residuals.len()));
        }
        let decomposition = Decomposition::new(jacobian, &residuals, options.rank_tolerance)
            .ok_or(FailureReason::Numerical {
                quantity: "singular values",
            })?;
        Ok(Self {
            parameters,
            residuals,
            decomposition,
        })
    }

    /// The parameters after a full Gauss–Newton step.
    pub(super) fn after_full_step(&self) -> Vec<f64> {
        let step = self.decomposition.full_step();
        self.parameters
            .iter()
            .zip(step)
            .map(|(value, step)| value + step)
            .collect()
    }

    /// The fraction of rss that a full step promises to remove: the squared cosine between the residuals and the
    /// space that J spans.
    pub(super) fn promised_fraction(&self) -> f64 {
        self.decomposition.promised_fraction()
    }

    /// Nothing left to gain: a full step is no longer than `least_step`, in standard uncertainties as the residuals show them.
    pub(super) fn is_settled(&self, least_step: f64) -> bool {
        let degrees = self.residuals.len() - self.decomposition.rank();
        self.promised_fraction() * degrees as f64 <= least_step * least_step
    }

    /// The promised fraction, if this is no minimum.
    pub(super) fn unfinished(&self) -> Option<f64> {
        let promised = self.promised_fraction();
        let step = self
            .decomposition
            .scaled_length(&self.decomposition.full_step());
        let size = self.decomposition.scaled_length(&self.parameters);
        (promised > PROMISED_FRACTION && step > PROMISED_MOVE * size).then_some(promised)
    }
}
