//! What the Jacobian at the minimum says: covariance, rank, and the step that is left to go.
//!
//! J is scaled to columns of unit length, J = S·D, so that parameters of 1e-4 and 1e3 are weighed alike; then
//! S = Q·R by Householder reflections and R = U·Σ·Vᵀ, which is p × p however long the data are. The normal equations
//! JᵀJ are never formed: they would square the condition.

use nalgebra::{DMatrix, DVector, SVD};

use crate::quantity::SymmetricMatrix;

/// A parameter takes part in an undetermined direction if its share of that unit vector (columns scaled) is above
/// this. Rounding tilts the vector by about 1e-16 / `rank_tolerance` = 1e-6 at most.
const SHARE_IN_NULL_SPACE: f64 = 1e-4;

/// QR and singular values of the column-scaled Jacobian.
pub(super) struct Decomposition {
    /// Length of each column of J; 1 for a column of zeros.
    scales: Vec<f64>,
    /// Descending.
    singular_values: Vec<f64>,
    /// One row per right singular vector, in the order of the singular values.
    right_vectors: DMatrix<f64>,
    /// Uᵀ·Qᵀ·r: the residuals' part along each singular direction.
    along: DVector<f64>,
    rss: f64,
    rank: usize,
}

impl Decomposition {
    /// From n·p cells of J, column by column, and n residuals, n ≥ p. `None` if the singular values cannot be found.
    pub(super) fn new(jacobian: Vec<f64>, residuals: &[f64], rank_tolerance: f64) -> Option<Self> {
        let n = residuals.len();
        let p = jacobian.len() / n;
        let mut scaled = DMatrix::from_vec(n, p, jacobian);
        let scales: Vec<f64> = scaled
            .column_iter_mut()
            .map(|mut column| {
                let norm = column.norm();
                let scale = if norm > 0.0 { norm } else { 1.0 };
                column /= scale;
                scale
            })
            .collect();
        if scales.iter().any(|scale| !scale.is_finite()) {
            return None;
        }
        let qr = scaled.qr();
        let mut along_q = DVector::from_column_slice(residuals);
        qr.q_tr_mul(&mut along_q);
        let svd = SVD::try_new(qr.unpack_r(), true, true, f64::EPSILON, 1000 * p)?;
        let (u, right_vectors) = (svd.u?, svd.v_t?);
        let singular_values = svd.singular_values.as_slice().to_vec();
        let floor = rank_tolerance * singular_values.first().copied()?;
        Some(Self {
            scales,
            rank: singular_values
                .iter()
                .filter(|&&value| value > floor)
                .count(),
            along: u.tr_mul(&along_q.rows(0, p)),
            rss: super::sum_of_squares(residuals),
            right_vectors,
            singular_values,
        })
    }

    pub(super) fn rank(&self) -> usize {
        self.rank
    }

    pub(super) fn into_singular_values(self) -> Vec<f64> {
        self.singular_values
    }

    /// (JᵀJ)⁻¹ = D⁻¹·V·Σ⁻²·Vᵀ·D⁻¹ over the determined directions.
    pub(super) fn covariance(&self) -> SymmetricMatrix {
        let mut covariance = SymmetricMatrix::zero(self.scales.len());
        for i in 0..self.scales.len() {
            for j in 0..=i {
                let sum: f64 = (0..self.rank)
                    .map(|k| {
                        let inverse = 1.0 / self.singular_values[k];
                        (self.right_vectors[(k, i)] * inverse)
                            * (self.right_vectors[(k, j)] * inverse)
                    })
                    .sum();
                covariance.set(i, j, sum / self.scales[i] / self.scales[j]);
            }
        }
        covariance
    }

    /// Parameters with a share in a direction that nothing determines.
    pub(super) fn undetermined(&self) -> Vec<usize> {
        let p = self.scales.len();
        (0..p)
            .filter(|&i| {
                (self.rank..p).any(|k| self.right_vectors[(k, i)].abs() > SHARE_IN_NULL_SPACE)
            })
            .collect()
    }

    /// ‖Uᵀ·Qᵀ·r‖²/rss over the determined directions; zero if rss is.
    pub(super) fn promised_fraction(&self) -> f64 {
        if self.rss == 0.0 {
            return 0.0;
        }
        (0..self.rank).map(|k| self.along[k].powi(2)).sum::<f64>() / self.rss
    }

    /// The Gauss–Newton step −J⁺·r, along the determined directions only.
    pub(super) fn full_step(&self) -> Vec<f64> {
        (0..self.scales.len())
            .map(|j| {
                let along = |k: usize| {
                    self.right_vectors[(k, j)] * (self.along[k] / self.singular_values[k])
                };
                -(0..self.rank).map(along).sum::<f64>() / self.scales[j]
            })
            .collect()
    }

    /// Length of a vector in parameter space, each component times its column's length.
    pub(super) fn scaled_length(&self, vector: &[f64]) -> f64 {
        vector
            .iter()
            .zip(&self.scales)
            .map(|(value, scale)| (value * scale).powi(2))
            .sum::<f64>()
            .sqrt()
    }
}
