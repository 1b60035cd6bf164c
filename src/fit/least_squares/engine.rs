//! The only place that speaks to the crate `levenberg-marquardt`.

use std::cell::Cell;

use levenberg_marquardt::{LeastSquaresProblem, LevenbergMarquardt, TerminationReason};
use nalgebra::storage::Owned;
use nalgebra::{DMatrix, DVector, Dyn};

use super::{FailureReason, Options, Problem, jacobian_not_finite};

/// Stands for a residual vector that cannot be computed. Its norm is finite and above that of every vector whose
/// squares can be summed, so the crate takes the step back and shortens it to a tenth. Infinities and NaN themselves
/// shorten it by less: BoxBOD of the NIST sets, start 1, then gets stuck.
const FORBIDDEN: f64 = 1e300;

pub(super) struct End {
    pub parameters: Vec<f64>,
    pub evaluations: usize,
    pub result: Result<(), FailureReason>,
}

pub(super) fn run(problem: &dyn Problem, start: &[f64], options: &Options) -> End {
    let engine = LevenbergMarquardt::new()
        .with_ftol(options.ftol)
        .with_xtol(options.xtol)
        .with_gtol(options.gtol)
        .with_patience(options.patience);
    let adapter = Adapter {
        problem,
        parameters: DVector::from_column_slice(start),
        bad_cell: Cell::new(None),
    };
    let (adapter, report) = engine.minimize(adapter);
    let result = match report.termination {
        TerminationReason::Converged { .. }
        | TerminationReason::Orthogonal
        | TerminationReason::ResidualsZero
        // A criterion below what f64 can show: no better minimum can be told from this one.
        | TerminationReason::NoImprovementPossible(_) => Ok(()),
        TerminationReason::LostPatience => {
            Err(FailureReason::OutOfPatience { evaluations: report.number_of_evaluations })
        }
        TerminationReason::Numerical(quantity) | TerminationReason::User(quantity) => {
            Err(match adapter.bad_cell.get() {
                Some(cell) => jacobian_not_finite(cell, problem.n_residuals()),
                None => FailureReason::Numerical { quantity },
            })
        }
        TerminationReason::NoParameters => Err(FailureReason::NoParameters),
        TerminationReason::NoResiduals | TerminationReason::WrongDimensions(_) => {
            Err(FailureReason::TooFewResiduals {
                residuals: problem.n_residuals(),
                parameters: problem.n_parameters(),
            })
        }
    };
    End {
        parameters: adapter.parameters.as_slice().to_vec(),
        evaluations: report.number_of_evaluations,
        result,
    }
}

struct Adapter<'a> {
    problem: &'a dyn Problem,
    parameters: DVector<f64>,
    /// Cell of the Jacobian that was not finite.
    bad_cell: Cell<Option<usize>>,
}

impl LeastSquaresProblem<f64, Dyn, Dyn> for Adapter<'_> {
    type ResidualStorage = Owned<f64, Dyn>;
    type JacobianStorage = Owned<f64, Dyn, Dyn>;
    type ParameterStorage = Owned<f64, Dyn>;

    fn set_params(&mut self, parameters: &DVector<f64>) {
        self.parameters.copy_from(parameters);
    }

    fn params(&self) -> DVector<f64> {
        self.parameters.clone()
    }

    fn residuals(&self) -> Option<DVector<f64>> {
        let mut residuals = DVector::zeros(self.problem.n_residuals());
        self.problem
            .residuals(self.parameters.as_slice(), residuals.as_mut_slice());
        if !super::sum_of_squares(residuals.as_slice()).is_finite() {
            residuals.fill(FORBIDDEN);
        }
        Some(residuals)
    }

    fn jacobian(&self) -> Option<DMatrix<f64>> {
        let mut jacobian = DMatrix::zeros(self.problem.n_residuals(), self.problem.n_parameters());
        self.problem
            .jacobian(self.parameters.as_slice(), jacobian.as_mut_slice());
        self.bad_cell
            .set(jacobian.iter().position(|value| !value.is_finite()));
        self.bad_cell.get().is_none().then_some(jacobian)
    }
}
