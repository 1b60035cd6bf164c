//! One circuit fitted to all curves, and what can be read off it.

use super::joint::{Joint, Loaded, Structure, Unknown};
use super::least_squares::{Failure, FailureReason, Options, Problem};
use super::misfit::around;
use super::observation::Observation;
use super::robust;
use super::scatter::scatter;
use super::transform::Transform;
use crate::circuit::{Circuit, CoilFamily, Glance, Parameter};
use crate::quantity::SymmetricMatrix;

/// An inner coordinate (a logarithm) known no better than this is not determined: a factor of e either way.
const UNDETERMINED: f64 = 1.0;
/// Step of the numeric derivatives of derived quantities, in inner coordinates: the cube root of the rounding error
/// balances rounding and curvature of a central difference.
const STEP: f64 = 6e-6;

/// A value this near to an end of its range, as a share of the range, has run there: the map to the fit's own coordinate is so
/// flat that the data have stopped telling.
const AT_BOUND: f64 = 0.01;

/// A circuit that was fitted to all observations.
pub struct Candidate {
    structure: Structure,
    joint: Joint,
    inner: Vec<f64>,
    /// (JᵀJ)⁻¹ with the priors in J, unscaled: what a step of the fit goes by.
    covariance: SymmetricMatrix,
    /// Scatter of the estimates, unscaled: without the doubt of what was typed, which counts as an influence.
    scatter: SymmetricMatrix,
    /// Whether no observation states an uncertainty, so that the scatter around the fit is all there is to go by.
    relative: bool,
    /// The circuits of the observations with their loads as fitted.
    circuits: Vec<Loaded>,
    undetermined: Vec<String>,
    scale: f64,
    /// Loss with the comparison's common scale, and what follows from it; set by the comparison.
    pub(super) loss: f64,
    pub(super) aicc: f64,
    pub(super) weight: f64,
}

/// Values derived from a candidate, and their covariance.
#[derive(Clone, Debug, PartialEq)]
pub struct Derived {
    /// The values.
    pub values: Vec<f64>,
    /// Their covariance.
    pub covariance: SymmetricMatrix,
}

impl Candidate {
    /// Fits one structure.
    pub(super) fn fit(
        observations: &[Observation],
        glances: &[Glance],
        structure: Structure,
        options: &Options,
    ) -> Result<Self, Failure> {
        let Some(mut joint) = Joint::new(observations, glances, &structure) else {
            return Err(Failure {
                reason: FailureReason::ResidualNotFinite {
                    residual: 0,
                    value: f64::NAN,
                },
                parameters: vec![],
                evaluations: 0,
            });
        };
        let start = joint.start.clone();
        let relative = observations.iter().all(|o| o.curve.covariance().is_none());
        let fit = robust::fit(&mut joint, &start, options, relative)?;
        let scatter = scatter(&joint, &fit.inner, &fit.covariance, observations);
        let circuits = (0..joint.parts.len())
            .map(|p| joint.circuit(p, &fit.inner))
            .collect();
        let unsure = |i: &usize| fit.covariance.get(*i, *i).sqrt() > UNDETERMINED;
        let undetermined = (0..joint.unknowns.len())
            .filter(|i| {
                fit.undetermined.contains(i)
                    || (unsure(i) && !is_scale_free(&joint.unknowns[*i].name))
            })
            .map(|i| joint.unknowns[i].name.clone())
            .collect();
        Ok(Self {
            structure,
            joint,
            inner: fit.inner,
            covariance: fit.covariance,
            scatter,
            relative,
            circuits,
            undetermined,
            scale: fit.scale,
            loss: f64::NAN,
            aicc: f64::NAN,
            weight: 0.0,
        })
    }

    pub(super) fn robust_scale(&self) -> f64 {
        self.scale
    }

    /// Sets the loss for a common scale and the information criterion AICc that follows, formula (F5).
    pub(super) fn judge(&mut self, scale: f64) {
        let n = self.joint.n_data() as f64;
        let k = self.joint.unknowns.len() as f64 + 1.0;
        self.loss = robust::loss(&self.joint, &self.inner, scale);
        // Rounding can leave a loss of exactly zero.
        let loss = if self.loss > f64::MIN_POSITIVE {
            self.loss
        } else {
            f64::MIN_POSITIVE
        };
        self.aicc = n * (loss / n).ln() + 2.0 * k + 2.0 * k * (k + 1.0) / (n - k - 1.0);
    }

    /// Coil family.
    pub fn coil(&self) -> CoilFamily {
        self.structure.coil
    }

    /// Reference frequency of the creep, Hz; `None` without creep.
    pub fn creep_reference_hz(&self) -> Option<f64> {
        self.structure.creep_reference_hz
    }

    /// Whether a leak of the test box was fitted.
    pub fn leak(&self) -> bool {
        self.structure.leak
    }

    /// Akaike weight among the candidates that were compared, 0 to 1.
    pub fn weight(&self) -> f64 {
        self.weight
    }

    /// The information criterion; only differences mean something.
    pub fn aicc(&self) -> f64 {
        self.aicc
    }

    /// Loss over degrees of freedom: near 1 if the stated noise explains what is left, formula (F4).
    pub fn reduced_loss(&self) -> f64 {
        self.loss / (self.joint.n_data() as f64 - self.joint.unknowns.len() as f64)
    }

    /// Unknowns that the data do not determine, by name.
    pub fn undetermined(&self) -> &[String] {
        &self.undetermined
    }

    /// Unknowns that ran to an end of their range, by name.
    pub fn at_bound(&self) -> Vec<String> {
        let ran = |(unknown, inner): &(&Unknown, &f64)| match unknown.transform {
            Transform::Logit { low, high } => {
                let share = (unknown.transform.value(**inner) - low) / (high - low);
                // No creep is no end that a fit runs to: it is the simpler model.
                share > 1.0 - AT_BOUND || (share < AT_BOUND && unknown.name != "creep")
            }
            Transform::Identity | Transform::Log => false,
        };
        let unknowns = self.joint.unknowns.iter().zip(&self.inner).filter(ran);
        unknowns.map(|(unknown, _)| unknown.name.clone()).collect()
    }

    /// The circuit of one observation.
    pub fn circuit(&self, observation: usize) -> &dyn Circuit {
        self.circuits[observation].as_ref()
    }

    /// The values of the circuit of one observation, SI, in the circuit's order.
    pub fn circuit_values(&self, observation: usize) -> Vec<f64> {
        self.joint.circuit_values(observation, &self.inner)
    }

    /// The parameters of the circuit of one observation with their values.
    pub fn circuit_parameters(&self, observation: usize) -> Vec<(Parameter, f64)> {
        let values = self.circuit_values(observation);
        self.circuit(observation)
            .parameters()
            .iter()
            .cloned()
            .zip(values)
            .collect()
    }

    /// An unknown of the fit by name, for example `box_inverse_ql[test-box]`: value and standard uncertainty, SI.
    pub fn unknown(&self, name: &str) -> Option<(f64, f64)> {
        let i = self.joint.index(name)?;
        let transform = &self.joint.unknowns[i].transform;
        let u = (self.scatter.get(i, i) * self.inflation()).sqrt()
            * transform.derivative(self.inner[i]).abs();
        Some((transform.value(self.inner[i]), u))
    }

    /// Model less measured at each point of one observation, ohm.
    pub fn errors_ohm(&self, observation: usize) -> Vec<num_complex::Complex64> {
        self.joint.errors_ohm(observation, &self.inner)
    }

    /// Model less measured around a frequency, ohm: the mean over a twelfth of an octave to both sides, which noise does not survive.
    /// `None` where the observation has no point there.
    pub fn missed_ohm(
        &self,
        observation: usize,
        frequency_hz: f64,
    ) -> Option<num_complex::Complex64> {
        let errors = self.errors_ohm(observation);
        around(self.joint.frequency_hz(observation), &errors, frequency_hz)
    }

    /// Whitened model less measured at each point of one observation.
    pub fn whitened_errors(&self, observation: usize) -> Vec<(f64, f64)> {
        self.joint.errors(observation, &self.inner)
    }

    /// Quantities of the free-air circuit with their covariance, by propagation: JCGM 100:2008, 5.2.
    ///
    /// `quantities` gets the free-air circuit and its values.
    pub fn derive(&self, quantities: impl Fn(&dyn Circuit, &[f64]) -> Vec<f64>) -> Derived {
        let at = |inner: &[f64]| {
            quantities(
                self.circuits[0].as_ref() as &dyn Circuit,
                &self.joint.circuit_values(0, inner),
            )
        };
        let values = at(&self.inner);
        let n_unknown = self.inner.len();
        let mut slopes = vec![vec![0.0; n_unknown]; values.len()];
        for j in 0..n_unknown {
            let moved = |step: f64| {
                let mut inner = self.inner.clone();
                inner[j] += step;
                at(&inner)
            };
            for (i, (up, down)) in moved(STEP).iter().zip(moved(-STEP)).enumerate() {
                slopes[i][j] = (up - down) / (2.0 * STEP);
            }
        }
        let mut covariance = SymmetricMatrix::zero(values.len());
        for i in 0..values.len() {
            for j in 0..=i {
                let mut sum = 0.0;
                for (k, a) in slopes[i].iter().enumerate() {
                    for (l, b) in slopes[j].iter().enumerate() {
                        sum += a * b * self.scatter.get(k, l);
                    }
                }
                covariance.set(i, j, sum * self.inflation());
            }
        }
        Derived { values, covariance }
    }

    /// How the quantities would change, had the observations been these: one Gauss–Newton step, formula (F6).
    pub fn response(
        &self,
        observations: &[Observation],
        quantities: impl Fn(&dyn Circuit, &[f64]) -> Vec<f64>,
    ) -> Vec<f64> {
        let replaced = self.joint.replaced(observations);
        let (n, p) = (self.joint.n_residuals(), self.inner.len());
        let (mut before, mut after) = (vec![0.0; n], vec![0.0; n]);
        self.joint.residuals(&self.inner, &mut before);
        replaced.residuals(&self.inner, &mut after);
        let mut jacobian = vec![0.0; n * p];
        self.joint.jacobian(&self.inner, &mut jacobian);
        let pull: Vec<f64> = (0..p)
            .map(|j| {
                let column = &jacobian[j * n..(j + 1) * n];
                column
                    .iter()
                    .zip(after.iter().zip(&before))
                    .map(|(c, (a, b))| c * (a - b))
                    .sum()
            })
            .collect();
        let moved: Vec<f64> = (0..p)
            .map(|i| {
                self.inner[i]
                    - (0..p)
                        .map(|j| self.covariance.get(i, j) * pull[j])
                        .sum::<f64>()
            })
            .collect();
        let at = |inner: &[f64]| {
            quantities(
                self.circuits[0].as_ref() as &dyn Circuit,
                &self.joint.circuit_values(0, inner),
            )
        };
        at(&moved)
            .iter()
            .zip(at(&self.inner))
            .map(|(new, old)| new - old)
            .collect()
    }

    /// Scatter beyond the stated noise widens the covariance; scatter below it narrows it only where nothing was stated.
    fn inflation(&self) -> f64 {
        let reduced = self.reduced_loss();
        if self.relative || reduced > 1.0 {
            reduced
        } else {
            1.0
        }
    }
}

/// Unknowns whose inner coordinate is no logarithm, so that [`UNDETERMINED`] says nothing about them.
fn is_scale_free(name: &str) -> bool {
    name.starts_with("box_") || name.starts_with("load_factor")
}
