//! Nonlinear least squares: a start, residuals and their Jacobian in; a minimum with its covariance out.
//!
//! The crate `levenberg-marquardt` takes the steps. This layer adds what it has not: checks before the start, the
//! covariance, the rank, and an outcome that is data. Weights, bounds and robust losses belong one layer up: whoever
//! fits divides each residual by its standard uncertainty, and maps bounded values with [`Transform`].
//!
//! Conventions: residual vector r(p) with n elements for p parameters, minimised is rss = rᵀr (no factor ½).
//! The sign of r is free. Jacobian J = ∂r/∂p, column by column. The formulas are on the page `docs/least-squares.md`.
//!
//! [`Transform`]: super::transform::Transform

mod decomposition;
mod engine;
mod point;

use crate::quantity::SymmetricMatrix;
use point::Point;

/// Residuals to be made small, and how they move.
pub trait Problem {
    /// Number of residuals n. The same at every call.
    fn n_residuals(&self) -> usize;

    /// Number of parameters p. The same at every call.
    fn n_parameters(&self) -> usize;

    /// Writes the n residuals at `parameters` to `out`. A value that is not finite marks a point that must not be
    /// entered: the step that led there is taken back and a shorter one is tried.
    fn residuals(&self, parameters: &[f64], out: &mut [f64]);

    /// Writes ∂r_i/∂p_j to `out[j * n + i]`: n·p cells, one parameter's column after the other.
    fn jacobian(&self, parameters: &[f64], out: &mut [f64]);

    /// Both of them. Worth its own code where they share work.
    fn linearised(&self, parameters: &[f64], residuals: &mut [f64], jacobian: &mut [f64]) {
        self.residuals(parameters, residuals);
        self.jacobian(parameters, jacobian);
    }
}

/// When to stop, and what counts as undetermined.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Options {
    /// At most `patience` · (p + 1) evaluations of the residuals, 1 to 1 000 000. The crate's own 100 allows 500 for
    /// MGH09 of the NIST StRD, whose far start takes 508, and 600 for MGH17, which takes about as many.
    pub patience: usize,
    /// Stop when rss falls, and promises to fall, by less than this fraction.
    pub ftol: f64,
    /// Stop when the step is shorter than this fraction of the parameters (each scaled by its column of J).
    pub xtol: f64,
    /// Stop when the cosine between the residuals and each column of J is below this.
    pub gtol: f64,
    /// Singular values of the column-scaled Jacobian below this fraction of the largest count as zero.
    ///
    /// The default of 1e-10 lies between two measured things: a direction that does nothing shows up below 1e-13
    /// (rounding of 4000 analytic derivatives), and the NIST StRD set of the worst condition (Bennett5) has 2e-5.
    pub rank_tolerance: f64,
    /// The minimum is reached when a full step is shorter than this, in standard uncertainties as the residuals show them.
    pub least_step: f64,
}

impl Default for Options {
    fn default() -> Self {
        // The crate's own default for the three tolerances: as near as f64 lets the criteria come.
        let as_near_as_possible = 30.0 * f64::EPSILON;
        Self {
            patience: 1000,
            ftol: as_near_as_possible,
            xtol: as_near_as_possible,
            gtol: as_near_as_possible,
            rank_tolerance: 1e-10,
            least_step: 1e-10,
        }
    }
}

/// How a minimisation ended.
#[derive(Clone, Debug, PartialEq)]
pub enum Outcome {
    /// At a minimum. It may still be a whole valley: see [`Solution::undetermined`].
    Converged(Solution),
    /// Not at a minimum; there are no results, only a reason.
    Failed(Failure),
}

impl Outcome {
    /// The solution, if there is one.
    pub fn solution(&self) -> Option<&Solution> {
        match self {
            Self::Converged(solution) => Some(solution),
            Self::Failed(_) => None,
        }
    }
}

/// A minimum and how sharp it is.
#[derive(Clone, Debug, PartialEq)]
pub struct Solution {
    /// The p parameters.
    pub parameters: Vec<f64>,
    /// The n residuals there.
    pub residuals: Vec<f64>,
    /// Sum of the squared residuals.
    pub rss: f64,
    /// (JᵀJ)⁻¹, p × p: the covariance if each residual was divided by its true standard uncertainty.
    ///
    /// With `rank` < p it is the pseudo-inverse. It then holds for what the data determine (any function whose slope
    /// has no part along the undetermined directions), and says nothing about an undetermined parameter by itself.
    pub covariance: SymmetricMatrix,
    /// Number of directions in parameter space that the residuals determine.
    pub rank: usize,
    /// Singular values of J after its columns were scaled to unit length; p of them, descending.
    pub singular_values: Vec<f64>,
    /// Positions, ascending, of the parameters that take part in a direction along which nothing changes.
    pub undetermined: Vec<usize>,
    /// How often the residuals were evaluated.
    pub evaluations: usize,
}

impl Solution {
    /// n − rank.
    pub fn degrees_of_freedom(&self) -> usize {
        self.residuals.len().saturating_sub(self.rank)
    }

    /// rss / (n − rank): the variance of a residual as the fit shows it. `None` without degrees of freedom.
    pub fn residual_variance(&self) -> Option<f64> {
        match self.degrees_of_freedom() {
            0 => None,
            degrees => Some(self.rss / degrees as f64),
        }
    }

    /// The covariance times [`Solution::residual_variance`]: for residuals of one unknown standard uncertainty.
    /// `None` without degrees of freedom.
    pub fn covariance_scaled_by_residuals(&self) -> Option<SymmetricMatrix> {
        let variance = self.residual_variance()?;
        let cells = self
            .covariance
            .cells()
            .iter()
            .map(|cell| cell * variance)
            .collect();
        SymmetricMatrix::from_rows(self.covariance.n(), cells)
    }

    /// Standard uncertainty of one parameter from [`Solution::covariance`], unscaled. `None` if it is undetermined.
    pub fn standard_uncertainty(&self, parameter: usize) -> Option<f64> {
        let known = parameter < self.parameters.len() && !self.undetermined.contains(&parameter);
        known.then(|| self.covariance.get(parameter, parameter).sqrt())
    }

    /// Largest over smallest singular value of the column-scaled Jacobian; above 1e10 or
    /// so, or infinite, if a direction is undetermined.
    pub fn condition(&self) -> f64 {
        match (self.singular_values.first(), self.singular_values.last()) {
            (Some(largest), Some(smallest)) => largest / smallest,
            _ => f64::NAN,
        }
    }
}

/// A minimisation that did not reach a minimum.
#[derive(Clone, Debug, PartialEq)]
pub struct Failure {
    /// Why.
    pub reason: FailureReason,
    /// Where it stood last; the start if it never moved.
    pub parameters: Vec<f64>,
    /// How often the residuals were evaluated.
    pub evaluations: usize,
}

/// Why a minimisation failed.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum FailureReason {
    /// Nothing to fit.
    #[error("the problem has no parameters; leave at least one of them free")]
    NoParameters,
    /// The start does not fit the problem.
    #[error("the start has {start} values for {parameters} parameters; give one value for each")]
    StartLength {
        /// Length of the start.
        start: usize,
        /// Parameters of the problem.
        parameters: usize,
    },
    /// An option that means nothing.
    #[error("the option `{name}` is {value}; it must be {must_be}")]
    Option {
        /// Which one.
        name: &'static str,
        /// Its value.
        value: f64,
        /// What is allowed.
        must_be: &'static str,
    },
    /// More unknowns than equations.
    #[error(
        "{residuals} residuals cannot determine {parameters} parameters; add data or fix parameters"
    )]
    TooFewResiduals {
        /// Residuals.
        residuals: usize,
        /// Parameters.
        parameters: usize,
    },
    /// A start value that is not finite.
    #[error("start value {value} of parameter {parameter} is not finite; choose another start")]
    StartNotFinite {
        /// Position of the parameter.
        parameter: usize,
        /// Its value.
        value: f64,
    },
    /// A residual at the start that is not finite, or too large to be squared.
    #[error(
        "residual {residual} is {value} at the start; choose a start that the model can be computed at"
    )]
    ResidualNotFinite {
        /// Position of the residual.
        residual: usize,
        /// Its value.
        value: f64,
    },
    /// A derivative that is not finite where the residuals are.
    #[error(
        "the derivative of residual {residual} by parameter {parameter} is not finite; keep this parameter away from \
         the edge of its range"
    )]
    JacobianNotFinite {
        /// Position of the residual.
        residual: usize,
        /// Position of the parameter.
        parameter: usize,
    },
    /// The evaluations are used up.
    #[error(
        "no minimum after {evaluations} evaluations; start nearer, fix parameters, or raise the patience"
    )]
    OutOfPatience {
        /// How many were made.
        evaluations: usize,
    },
    /// No step makes the residuals smaller, although the Jacobian says that one should.
    #[error(
        "stuck where a step should still lower the sum of squares by a fraction of {promised_fraction:e}; the \
         derivatives do not belong to the residuals, or the residuals jump"
    )]
    Stuck {
        /// Fraction of rss that a full step promises to remove.
        promised_fraction: f64,
    },
    /// Numbers too large or too small to go on.
    #[error("the step cannot be computed ({quantity}); rescale the residuals or start elsewhere")]
    Numerical {
        /// What came out as not finite.
        quantity: &'static str,
    },
}

/// The crate compares sums of squares, which near a minimum are alike to sixteen digits while the parameters still
/// differ in the eighth. Full Gauss–Newton steps, judged by the gradient instead, win the missing digits back.
const MOST_POLISHING_STEPS: usize = 10;
/// A polishing step counts if what is left to gain falls at least to this fraction; otherwise rounding is reached.
const WORTHWHILE: f64 = 0.5;

/// Minimises the sum of squared residuals from `start` (p values).
///
/// Deterministic; never panics on values that a problem returns.
pub fn minimise(problem: &dyn Problem, start: &[f64], options: &Options) -> Outcome {
    if let Err(reason) = check(problem, start, options) {
        return failed(reason, start, 0);
    }
    let mut residuals = vec![0.0; problem.n_residuals()];
    problem.residuals(start, &mut residuals);
    if let Some((residual, value)) = first_unusable(&residuals) {
        return failed(
            FailureReason::ResidualNotFinite { residual, value },
            start,
            1,
        );
    }

    let end = engine::run(problem, start, options);
    // One at the start above.
    let evaluations = end.evaluations + 1;
    if let Err(reason) = end.result {
        return failed(reason, &end.parameters, evaluations);
    }
    polished(problem, end.parameters, evaluations, options)
}

/// Minimises on from parameters that are all but at the minimum, with full steps only.
pub(super) fn finish(problem: &dyn Problem, near: &[f64], options: &Options) -> Outcome {
    match check(problem, near, options) {
        Ok(()) => polished(problem, near.to_vec(), 0, options),
        Err(reason) => failed(reason, near, 0),
    }
}

/// Takes full steps until none is worth it, and judges what is reached.
fn polished(
    problem: &dyn Problem,
    parameters: Vec<f64>,
    evaluations: usize,
    options: &Options,
) -> Outcome {
    let mut evaluations = evaluations + 1;
    let last = parameters.clone();
    let mut point = match Point::at(problem, parameters, options) {
        Ok(point) => point,
        Err(reason) => return failed(reason, &last, evaluations),
    };
    for _ in 0..MOST_POLISHING_STEPS {
        if point.is_settled(options.least_step) {
            break;
        }
        evaluations += 1;
        // A step into forbidden ground is no failure here: the point before it stands.
        match Point::at(problem, point.after_full_step(), options) {
            Ok(next) if next.promised_fraction() < WORTHWHILE * point.promised_fraction() => {
                point = next
            }
            Ok(_) | Err(_) => break,
        }
    }
    if let Some(promised_fraction) = point.unfinished() {
        return failed(
            FailureReason::Stuck { promised_fraction },
            &point.parameters,
            evaluations,
        );
    }
    Outcome::Converged(Solution {
        rss: sum_of_squares(&point.residuals),
        residuals: point.residuals,
        covariance: point.decomposition.covariance(),
        rank: point.decomposition.rank(),
        undetermined: point.decomposition.undetermined(),
        singular_values: point.decomposition.into_singular_values(),
        parameters: point.parameters,
        evaluations,
    })
}

fn check(problem: &dyn Problem, start: &[f64], options: &Options) -> Result<(), FailureReason> {
    let (residuals, parameters) = (problem.n_residuals(), problem.n_parameters());
    if parameters == 0 {
        return Err(FailureReason::NoParameters);
    }
    if start.len() != parameters {
        return Err(FailureReason::StartLength {
            start: start.len(),
            parameters,
        });
    }
    if residuals < parameters {
        // The crate calls this converged.
        return Err(FailureReason::TooFewResiduals {
            residuals,
            parameters,
        });
    }
    if let Some(parameter) = start.iter().position(|value| !value.is_finite()) {
        return Err(FailureReason::StartNotFinite {
            parameter,
            value: start[parameter],
        });
    }
    // The crate asserts on these.
    if !(1..=1_000_000).contains(&options.patience) {
        let value = options.patience as f64;
        return Err(FailureReason::Option {
            name: "patience",
            value,
            must_be: "from 1 to 1000000",
        });
    }
    let tolerances = [
        ("ftol", options.ftol),
        ("xtol", options.xtol),
        ("gtol", options.gtol),
        ("rank_tolerance", options.rank_tolerance),
        ("least_step", options.least_step),
    ];
    for (name, value) in tolerances {
        if !(0.0..1.0).contains(&value) {
            return Err(FailureReason::Option {
                name,
                value,
                must_be: "at least 0 and below 1",
            });
        }
    }
    Ok(())
}

fn failed(reason: FailureReason, parameters: &[f64], evaluations: usize) -> Outcome {
    Outcome::Failed(Failure {
        reason,
        parameters: parameters.to_vec(),
        evaluations,
    })
}

/// The first residual that is not finite, or else the largest one if the squares overflow.
fn first_unusable(residuals: &[f64]) -> Option<(usize, f64)> {
    if sum_of_squares(residuals).is_finite() {
        return None;
    }
    residuals
        .iter()
        .copied()
        .enumerate()
        .find(|(_, value)| !value.is_finite())
        .or_else(|| {
            residuals
                .iter()
                .copied()
                .enumerate()
                .max_by(|a, b| a.1.abs().total_cmp(&b.1.abs()))
        })
}

fn jacobian_not_finite(cell: usize, n_residuals: usize) -> FailureReason {
    FailureReason::JacobianNotFinite {
        residual: cell % n_residuals,
        parameter: cell / n_residuals,
    }
}

fn sum_of_squares(values: &[f64]) -> f64 {
    values.iter().map(|value| value * value).sum()
}

#[cfg(test)]
mod tests;
