//! Bounds by change of variable: the fitter moves a number without bounds, the model sees a value inside its domain.

use crate::circuit::Domain;
use crate::quantity::SymmetricMatrix;

/// How the fitter's inner number becomes a parameter's value.
///
/// At the far end of a range the map flattens until the value sits on the bound and its derivative is zero: a fit that
/// ends there shows as an undetermined parameter.
#[derive(Clone, Copy, Debug, PartialEq)]
#[non_exhaustive]
pub enum Transform {
    /// value = inner.
    Identity,
    /// value = e^inner: positive.
    Log,
    /// value = low + (high − low)/(1 + e^−inner): between the two.
    Logit {
        /// Lower bound.
        low: f64,
        /// Upper bound.
        high: f64,
    },
}

impl From<Domain> for Transform {
    fn from(domain: Domain) -> Self {
        match domain {
            Domain::Positive => Self::Log,
            Domain::Between(low, high) => Self::Logit { low, high },
            Domain::Real => Self::Identity,
        }
    }
}

impl Transform {
    /// The value that belongs to an inner number.
    pub fn value(self, inner: f64) -> f64 {
        match self {
            Self::Identity => inner,
            Self::Log => inner.exp(),
            // From the nearer bound, so that a value close to zero keeps its digits.
            Self::Logit { low, high } if inner < 0.0 => low + (high - low) * logistic(inner),
            Self::Logit { low, high } => high - (high - low) * logistic(-inner),
        }
    }

    /// ∂value/∂inner.
    pub fn derivative(self, inner: f64) -> f64 {
        match self {
            Self::Identity => 1.0,
            Self::Log => inner.exp(),
            Self::Logit { low, high } => (high - low) * logistic(inner) * logistic(-inner),
        }
    }

    /// The inner number that belongs to a value; `None` if the value is not strictly inside the domain.
    pub fn inner(self, value: f64) -> Option<f64> {
        let inner = match self {
            Self::Identity => value,
            Self::Log => value.ln(),
            Self::Logit { low, high } => ((value - low) / (high - value)).ln(),
        };
        inner.is_finite().then_some(inner)
    }
}

/// 1/(1 + e^−x). For large −x the power is infinite and the quotient zero, as it should be.
fn logistic(x: f64) -> f64 {
    1.0 / (1.0 + (-x).exp())
}

/// Covariance of the values, given that of the inner numbers and ∂value/∂inner at the estimate (first order).
///
/// Both have one row per parameter; `None` if their lengths differ.
pub fn covariance_of_values(
    inner: &SymmetricMatrix,
    derivatives: &[f64],
) -> Option<SymmetricMatrix> {
    if inner.n() != derivatives.len() {
        return None;
    }
    let mut values = SymmetricMatrix::zero(inner.n());
    for (i, di) in derivatives.iter().enumerate() {
        for (j, dj) in derivatives.iter().enumerate().take(i + 1) {
            values.set(i, j, di * inner.get(i, j) * dj);
        }
    }
    Some(values)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Rounding: a handful of operations, and the conditioning of ln near its pole.
    const ROUNDING: f64 = 1e-12;
    /// Method: the central difference at a step of 1e-5 errs by 1e-10 · f'''/f'.
    const DIFFERENCE: f64 = 1e-8;

    fn all() -> [Transform; 3] {
        [
            Domain::Real.into(),
            Domain::Positive.into(),
            Domain::Between(-2.0, 0.5).into(),
        ]
    }

    fn near(a: f64, b: f64, relative: f64) -> bool {
        (a - b).abs() <= relative * a.abs().max(b.abs())
    }

    #[test]
    fn inner_undoes_value() {
        for transform in all() {
            for inner in [-7.0, -0.3, 0.2, 4.0] {
                let back = transform.inner(transform.value(inner)).unwrap();
                assert!(
                    near(back, inner, ROUNDING),
                    "{transform:?}: {inner} came back as {back}"
                );
            }
        }
    }

    #[test]
    fn derivative_is_the_slope() {
        for transform in all() {
            for inner in [-7.0, -0.3, 0.0, 0.2, 4.0] {
                let h = 1e-5;
                let slope = (transform.value(inner + h) - transform.value(inner - h)) / (2.0 * h);
                let derivative = transform.derivative(inner);
                assert!(
                    near(slope, derivative, DIFFERENCE),
                    "{transform:?} at {inner}: {slope} against {derivative}"
                );
            }
        }
    }

    #[test]
    fn values_outside_have_no_inner_number() {
        let between = Transform::from(Domain::Between(1.0, 2.0));
        for value in [0.5, 1.0, 2.0, 3.0, f64::NAN] {
            assert_eq!(between.inner(value), None, "{value}");
        }
        for value in [0.0, -1.0, f64::INFINITY] {
            assert_eq!(Transform::Log.inner(value), None, "{value}");
        }
    }

    #[test]
    fn far_ends_stay_finite_and_inside() {
        let between = Transform::from(Domain::Between(1.0, 2.0));
        for inner in [-1e4, 1e4] {
            assert!((1.0..=2.0).contains(&between.value(inner)));
            assert_eq!(between.derivative(inner), 0.0);
        }
    }

    #[test]
    fn relative_uncertainty_of_a_logarithm() {
        // u(ln x) = 0.01 and 0.02 with r = 0.5 at x = 4 and 0.25: u(x) = 0.04 and 0.005.
        let inner = SymmetricMatrix::from_rows(2, vec![1e-4, 0.0, 1e-4, 4e-4]).unwrap();
        let derivatives = [
            Transform::Log.derivative(4.0_f64.ln()),
            Transform::Log.derivative(0.25_f64.ln()),
        ];
        let values = covariance_of_values(&inner, &derivatives).unwrap();
        assert!(near(values.get(0, 0).sqrt(), 0.04, ROUNDING));
        assert!(near(values.get(1, 1).sqrt(), 0.005, ROUNDING));
        assert!(near(values.correlation().get(0, 1), 0.5, ROUNDING));
        assert_eq!(covariance_of_values(&inner, &[1.0]), None);
    }
}
