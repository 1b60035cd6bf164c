//! All curves of one driver as one least-squares problem.
//!
//! Free-air, added-mass and test-box curves share Bl, Mms, Cms and the coil. Re may differ per curve, because the coil
//! warms up. Rms may differ too, because suspension loss varies with frequency and a metal weight brakes in the stray
//! field, and Cms, because a driver that was taken out sits differently; priors keep them near. Everything is fitted in the inner coordinates of [`Transform`].

use std::sync::Arc;

use num_complex::Complex64;

use super::least_squares::Problem;
use super::observation::{Loading, Observation, Whitening};
use super::transform::Transform;
use crate::circuit::{Circuit, CoilFamily, Domain, Glance, Series, driver};

/// Standard uncertainty of ln(Rms in a loaded take / Rms in free air): common practice, no source.
const RMS_RATIO_PRIOR: f64 = 0.2;

/// Standard uncertainty of the logarithm of a coil's values around their start: a factor of 150 either way. It moves
/// nothing that the data determine, and keeps finite what they do not (a loss resistor that is not needed).
const COIL_PRIOR: f64 = 5.0;

/// What kind of circuit explains the curves.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Structure {
    /// Coil model.
    pub coil: CoilFamily,
    /// Suspension creep with this reference frequency (Hz), or none.
    pub creep_reference_hz: Option<f64>,
    /// Whether test boxes may leak.
    pub leak: bool,
}

impl Structure {
    /// The circuit of a whole driver with a load.
    fn circuit(&self, loading: Loading) -> Series {
        driver(self.coil, self.creep_reference_hz, loading.load(self.leak))
    }
}

/// A part's circuit: as typed, or with its load scaled.
pub(super) enum Loaded {
    Typed(Arc<Series>),
    Own(Series),
}

impl AsRef<Series> for Loaded {
    fn as_ref(&self) -> &Series {
        match self {
            Self::Typed(circuit) => circuit,
            Self::Own(circuit) => circuit,
        }
    }
}

/// Step of the numeric derivative by the logarithm of a load: a central difference errs by its square.
const FACTOR_STEP: f64 = 1e-5;
/// Least relative doubt of a load, so that its prior stays finite.
const LEAST_DOUBT: f64 = 1e-6;

/// A free number of the fit.
#[derive(Clone, Debug)]
pub(super) struct Unknown {
    pub name: String,
    pub transform: Transform,
    /// Mean and standard uncertainty in the inner coordinate, where something is known beforehand.
    prior: Option<(f64, f64)>,
    /// Whether the prior is what somebody typed. Its doubt then counts as an influence, not as scatter.
    pub typed: bool,
}

/// Where a parameter of an observation's circuit comes from.
#[derive(Clone, Copy, Debug)]
enum Source {
    Unknown(usize),
    /// The product of two unknowns: Rms or Cms, and its ratio in this take.
    Product(usize, usize),
    Fixed(f64),
}

pub(super) struct Part {
    pub name: String,
    loading: Loading,
    /// The circuit for what was typed.
    circuit: Arc<Series>,
    /// The unknown that scales the load, where several loads have to agree.
    load_factor: Option<usize>,
    sources: Vec<Source>,
    frequency_hz: Vec<f64>,
    z_ohm: Vec<Complex64>,
    pub whitening: Vec<Whitening>,
    /// Robust weights, one a point; multiply the squared error.
    pub weight: Vec<f64>,
}

/// The joint problem: parts share unknowns.
pub(super) struct Joint {
    structure: Structure,
    pub parts: Vec<Part>,
    pub unknowns: Vec<Unknown>,
    /// Start in the inner coordinates.
    pub start: Vec<f64>,
}

/// Moving mass assumed where nothing tells it. The impedance alone does not depend on it (Bl², Cms and Rms scale along),
/// so only results that do not depend on it are reported then.
pub(super) const GAUGE_MMS_KG: f64 = 0.01;

impl Joint {
    /// Builds the problem. `glances` belong to the observations. `None` if a point's covariance is no covariance.
    pub fn new(
        observations: &[Observation],
        glances: &[Glance],
        structure: &Structure,
    ) -> Option<Self> {
        let mut joint = Self {
            structure: *structure,
            parts: vec![],
            unknowns: vec![],
            start: vec![],
        };
        let coil = structure.coil.coil();
        let coil = coil.parameters();
        let n_loaded = observations
            .iter()
            .filter(|o| o.loading != Loading::Free)
            .count();
        let weighable = n_loaded > 0;
        for (observation, glance) in observations.iter().zip(glances) {
            let circuit = structure.circuit(observation.loading);
            let start = circuit.start(glance);
            let mut sources = vec![];
            for (parameter, &value) in circuit.parameters().iter().zip(&start) {
                let own = |what: &str| format!("{what}[{}]", observation.name);
                let source = match parameter.name.as_ref() {
                    "mms_kg" if !weighable => Source::Fixed(GAUGE_MMS_KG),
                    "re_ohm" => joint.unknown(&own("re_ohm"), parameter.domain, value, None),
                    "rms_kg_per_s" if !matches!(observation.loading, Loading::Free) => joint
                        .shared_but(
                            "rms_kg_per_s",
                            parameter.domain,
                            value,
                            (&own("rms_ratio"), RMS_RATIO_PRIOR),
                        ),
                    "cms_m_per_n" if observation.sits_anew() => {
                        let doubt = observation.stiffness_doubt;
                        joint.shared_but(
                            "cms_m_per_n",
                            parameter.domain,
                            value,
                            (&own("cms_ratio"), doubt),
                        )
                    }
                    "box_air_load_kg" => {
                        let prior = match observation.loading {
                            Loading::TestBox {
                                air_load_change_kg, ..
                            } => Some((0.0, air_load_change_kg)),
                            Loading::Free | Loading::AddedMass { .. } => None,
                        };
                        joint.unknown(&own("box_air_load_kg"), parameter.domain, value, prior)
                    }
                    "box_inverse_ql" => {
                        joint.unknown(&own("box_inverse_ql"), parameter.domain, value, None)
                    }
                    shared if coil.iter().any(|own| own.name == shared) => {
                        let near = Transform::from(parameter.domain)
                            .inner(value)
                            .map(|inner| (inner, COIL_PRIOR));
                        joint.unknown(shared, parameter.domain, value, near)
                    }
                    shared => joint.unknown(shared, parameter.domain, value, None),
                };
                sources.push(source);
            }
            // Two loads that do not quite agree would otherwise bend the shared constants.
            let load_factor = observation
                .loading
                .doubt()
                .filter(|_| n_loaded > 1)
                .map(|doubt| {
                    let spread = if doubt > LEAST_DOUBT {
                        doubt
                    } else {
                        LEAST_DOUBT
                    };
                    joint.unknowns.push(Unknown {
                        name: format!("load_factor[{}]", observation.name),
                        transform: Transform::Log,
                        prior: Some((0.0, spread)),
                        typed: true,
                    });
                    joint.start.push(0.0);
                    joint.unknowns.len() - 1
                });
            let whitening: Option<Vec<Whitening>> = observation
                .covariances()
                .iter()
                .map(Whitening::new)
                .collect();
            joint.parts.push(Part {
                name: observation.name.clone(),
                loading: observation.loading,
                circuit: Arc::new(circuit),
                load_factor,
                sources,
                frequency_hz: observation.curve.frequency_hz().to_vec(),
                z_ohm: observation.curve.z_ohm().to_vec(),
                whitening: whitening?,
                weight: vec![1.0; observation.curve.n_points()],
            });
        }
        Some(joint)
    }

    /// The unknown of this name, made on first use.
    fn unknown(
        &mut self,
        name: &str,
        domain: Domain,
        start: f64,
        prior: Option<(f64, f64)>,
    ) -> Source {
        if let Some(i) = self.unknowns.iter().position(|u| u.name == name) {
            return Source::Unknown(i);
        }
        let transform = Transform::from(domain);
        self.unknowns.push(Unknown {
            name: name.to_owned(),
            transform,
            prior,
            typed: false,
        });
        // Start values lie inside their domain by the contract of circuits; should one not, the middle of the inner
        // range is as good as any.
        self.start.push(transform.inner(start).unwrap_or(0.0));
        Source::Unknown(self.unknowns.len() - 1)
    }

    /// The product of an unknown that all takes share and a ratio of its own near one: its name, and the standard uncertainty of
    /// its logarithm.
    fn shared_but(&mut self, name: &str, domain: Domain, start: f64, ratio: (&str, f64)) -> Source {
        let shared = self.unknown(name, domain, start, None);
        let ratio = self.unknown(ratio.0, Domain::Positive, 1.0, Some((0.0, ratio.1)));
        match (shared, ratio) {
            (Source::Unknown(shared), Source::Unknown(ratio)) => Source::Product(shared, ratio),
            (other, _) => other,
        }
    }

    /// Index of an unknown.
    pub fn index(&self, name: &str) -> Option<usize> {
        self.unknowns.iter().position(|u| u.name == name)
    }

    /// The values of a part's circuit, SI.
    pub fn circuit_values(&self, part: usize, inner: &[f64]) -> Vec<f64> {
        let value = |i: usize| self.unknowns[i].transform.value(inner[i]);
        self.parts[part]
            .sources
            .iter()
            .map(|source| match *source {
                Source::Unknown(i) => value(i),
                Source::Product(i, j) => value(i) * value(j),
                Source::Fixed(fixed) => fixed,
            })
            .collect()
    }

    /// Puts another set of curves and loadings into the same problem, weights untouched: what the measurement would
    /// have been, had something typed been different.
    pub fn replaced(&self, observations: &[Observation]) -> Self {
        let parts = self
            .parts
            .iter()
            .zip(observations)
            .map(|(part, other)| Part {
                name: part.name.clone(),
                loading: other.loading,
                circuit: Arc::new(self.structure.circuit(other.loading)),
                load_factor: part.load_factor,
                sources: part.sources.clone(),
                frequency_hz: part.frequency_hz.clone(),
                z_ohm: other.curve.z_ohm().to_vec(),
                whitening: part.whitening.clone(),
                weight: part.weight.clone(),
            });
        Self {
            structure: self.structure,
            parts: parts.collect(),
            unknowns: self.unknowns.clone(),
            start: self.start.clone(),
        }
    }

    /// A part's circuit with its load as the unknowns have it.
    pub fn circuit(&self, part: usize, inner: &[f64]) -> Loaded {
        self.circuit_off(part, inner, 0.0)
    }

    /// The same with the logarithm of the load off by `step`.
    fn circuit_off(&self, part: usize, inner: &[f64], step: f64) -> Loaded {
        let part = &self.parts[part];
        match part.load_factor {
            Some(i) => Loaded::Own(
                self.structure
                    .circuit(part.loading.scaled((inner[i] + step).exp())),
            ),
            None => Loaded::Typed(Arc::clone(&part.circuit)),
        }
    }

    /// Whitened errors of a part's points, without the robust weights.
    pub fn errors(&self, part: usize, inner: &[f64]) -> Vec<(f64, f64)> {
        let values = self.circuit_values(part, inner);
        let circuit = self.circuit(part, inner);
        let part = &self.parts[part];
        (0..part.frequency_hz.len())
            .map(|i| {
                let z = circuit.as_ref().impedance(part.frequency_hz[i], &values);
                part.whitening[i].apply(z - part.z_ohm[i])
            })
            .collect()
    }

    /// Frequencies of a part's points, Hz.
    pub fn frequency_hz(&self, part: usize) -> &[f64] {
        &self.parts[part].frequency_hz
    }

    /// Errors of a part's points in ohm: model less measured.
    pub fn errors_ohm(&self, part: usize, inner: &[f64]) -> Vec<Complex64> {
        let values = self.circuit_values(part, inner);
        let circuit = self.circuit(part, inner);
        let part = &self.parts[part];
        let points = part.frequency_hz.iter().zip(&part.z_ohm);
        points
            .map(|(&f, z)| circuit.as_ref().impedance(f, &values) - z)
            .collect()
    }

    /// Sum of squared priors.
    pub fn prior_loss(&self, inner: &[f64]) -> f64 {
        self.priors()
            .map(|(i, mean, u)| ((inner[i] - mean) / u).powi(2))
            .sum()
    }

    /// Unknowns whose prior is what somebody typed: index and standard uncertainty of the prior.
    pub fn typed(&self) -> impl Iterator<Item = (usize, f64)> + '_ {
        self.priors()
            .filter(|(i, _, _)| self.unknowns[*i].typed)
            .map(|(i, _, sigma)| (i, sigma))
    }

    /// Unknowns with a prior, in the order of their residuals, which stand behind those of the points.
    pub fn with_prior(&self) -> impl Iterator<Item = usize> + '_ {
        self.priors().map(|(i, _, _)| i)
    }

    fn priors(&self) -> impl Iterator<Item = (usize, f64, f64)> + '_ {
        let with = |(i, u): (usize, &Unknown)| u.prior.map(|(mean, sigma)| (i, mean, sigma));
        self.unknowns.iter().enumerate().filter_map(with)
    }

    /// Real residuals that come from points, priors left out.
    pub fn n_data(&self) -> usize {
        self.parts
            .iter()
            .map(|part| 2 * part.frequency_hz.len())
            .sum()
    }
}

impl Problem for Joint {
    fn n_residuals(&self) -> usize {
        self.n_data() + self.priors().count()
    }

    fn n_parameters(&self) -> usize {
        self.unknowns.len()
    }

    fn residuals(&self, inner: &[f64], out: &mut [f64]) {
        let mut row = 0;
        for p in 0..self.parts.len() {
            let values = self.circuit_values(p, inner);
            let circuit = self.circuit(p, inner);
            let part = &self.parts[p];
            for i in 0..part.frequency_hz.len() {
                let z = circuit.as_ref().impedance(part.frequency_hz[i], &values);
                [out[row], out[row + 1]] = part.residual(i, z);
                row += 2;
            }
        }
        for (i, mean, sigma) in self.priors() {
            out[row] = (inner[i] - mean) / sigma;
            row += 1;
        }
    }

    fn jacobian(&self, inner: &[f64], out: &mut [f64]) {
        let mut residuals = vec![0.0; self.n_residuals()];
        self.linearised(inner, &mut residuals, out);
    }

    /// The derivatives bring the impedance along.
    fn linearised(&self, inner: &[f64], residuals: &mut [f64], out: &mut [f64]) {
        let n = self.n_residuals();
        out.fill(0.0);
        let mut row = 0;
        for p in 0..self.parts.len() {
            let values = self.circuit_values(p, inner);
            let part = &self.parts[p];
            let slopes = self.slopes(part, inner);
            let circuit = self.circuit(p, inner);
            let nearby = [FACTOR_STEP, -FACTOR_STEP].map(|step| self.circuit_off(p, inner, step));
            let mut by_parameter = vec![Complex64::default(); values.len()];
            for i in 0..part.frequency_hz.len() {
                let z = circuit.as_ref().impedance_and_derivatives(
                    part.frequency_hz[i],
                    &values,
                    &mut by_parameter,
                );
                [residuals[row], residuals[row + 1]] = part.residual(i, z);
                let weight = part.weight[i].sqrt();
                for (derivative, slopes) in by_parameter.iter().zip(&slopes) {
                    let (a, b) = part.whitening[i].apply(*derivative);
                    for &(column, slope) in slopes.iter().flatten() {
                        out[column * n + row] += weight * slope * a;
                        out[column * n + row + 1] += weight * slope * b;
                    }
                }
                if let Some(column) = part.load_factor {
                    let [up, down] =
                        [0, 1].map(|k| nearby[k].as_ref().impedance(part.frequency_hz[i], &values));
                    let (a, b) = part.whitening[i].apply((up - down) / (2.0 * FACTOR_STEP));
                    out[column * n + row] += weight * a;
                    out[column * n + row + 1] += weight * b;
                }
                row += 2;
            }
        }
        for (i, mean, sigma) in self.priors() {
            residuals[row] = (inner[i] - mean) / sigma;
            out[i * n + row] = 1.0 / sigma;
            row += 1;
        }
    }
}

impl Part {
    /// Whitened error of a point where the model has an impedance, weighted.
    fn residual(&self, i: usize, z_ohm: Complex64) -> [f64; 2] {
        let (a, b) = self.whitening[i].apply(z_ohm - self.z_ohm[i]);
        let weight = self.weight[i].sqrt();
        [weight * a, weight * b]
    }
}

impl Joint {
    /// For each parameter of a part's circuit: which unknowns move it, and how fast.
    fn slopes(&self, part: &Part, inner: &[f64]) -> Vec<[Option<(usize, f64)>; 2]> {
        let value = |i: usize| self.unknowns[i].transform.value(inner[i]);
        let slope = |i: usize| self.unknowns[i].transform.derivative(inner[i]);
        part.sources
            .iter()
            .map(|source| match *source {
                Source::Unknown(i) => [Some((i, slope(i))), None],
                Source::Product(i, j) => [
                    Some((i, slope(i) * value(j))),
                    Some((j, slope(j) * value(i))),
                ],
                Source::Fixed(_) => [None, None],
            })
            .collect()
    }
}
