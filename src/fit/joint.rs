//! All curves of one driver as one least-squares problem.
//!
//! Free-air, added-mass and test-box curves share Bl, Mms, Cms and the coil. Re may differ per curve, because the coil
//! warms up. Rms may differ too, because suspension loss varies with frequency and a metal weight brakes in the stray
//! field; a prior keeps it near. Everything is fitted in the inner coordinates of [`Transform`].

use num_complex::Complex64;

use super::least_squares::Problem;
use super::observation::{Loading, Observation, Whitening};
use super::transform::Transform;
use crate::circuit::{Circuit, CoilFamily, Domain, Glance, Series, driver};

/// Standard uncertainty of ln(Rms in a loaded take / Rms in free air): common practice, no source.
const RMS_RATIO_PRIOR: f64 = 0.2;

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

/// A free number of the fit.
#[derive(Clone, Debug)]
pub(super) struct Unknown {
    pub name: String,
    pub transform: Transform,
    /// Mean and standard uncertainty in the inner coordinate, where something is known beforehand.
    prior: Option<(f64, f64)>,
}

/// Where a parameter of an observation's circuit comes from.
#[derive(Clone, Copy, Debug)]
enum Source {
    Unknown(usize),
    /// The product of two unknowns: Rms, and its ratio in this take.
    Product(usize, usize),
    Fixed(f64),
}

pub(super) struct Part {
    pub name: String,
    pub circuit: Series,
    sources: Vec<Source>,
    frequency_hz: Vec<f64>,
    z_ohm: Vec<Complex64>,
    whitening: Vec<Whitening>,
    /// Robust weights, one a point; multiply the squared error.
    pub weight: Vec<f64>,
}

/// The joint problem: parts share unknowns.
pub(super) struct Joint {
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
            parts: vec![],
            unknowns: vec![],
            start: vec![],
        };
        let weighable = observations
            .iter()
            .any(|o| !matches!(o.loading, Loading::Free));
        for (observation, glance) in observations.iter().zip(glances) {
            let circuit = driver(
                structure.coil,
                structure.creep_reference_hz,
                observation.loading.load(structure.leak),
            );
            let start = circuit.start(glance);
            let mut sources = vec![];
            for (parameter, &value) in circuit.parameters().iter().zip(&start) {
                let own = |what: &str| format!("{what}[{}]", observation.name);
                let source = match parameter.name.as_ref() {
                    "mms_kg" if !weighable => Source::Fixed(GAUGE_MMS_KG),
                    "re_ohm" => joint.unknown(&own("re_ohm"), parameter.domain, value, None),
                    "rms_kg_per_s" if !matches!(observation.loading, Loading::Free) => {
                        let rms = joint.unknown("rms_kg_per_s", parameter.domain, value, None);
                        let prior = Some((0.0, RMS_RATIO_PRIOR));
                        let ratio = joint.unknown(&own("rms_ratio"), Domain::Positive, 1.0, prior);
                        match (rms, ratio) {
                            (Source::Unknown(rms), Source::Unknown(ratio)) => {
                                Source::Product(rms, ratio)
                            }
                            (other, _) => other,
                        }
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
                    shared => joint.unknown(shared, parameter.domain, value, None),
                };
                sources.push(source);
            }
            let whitening: Option<Vec<Whitening>> = observation
                .covariances()
                .iter()
                .map(Whitening::new)
                .collect();
            joint.parts.push(Part {
                name: observation.name.clone(),
                circuit,
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
        });
        // Start values lie inside their domain by the contract of circuits; should one not, the middle of the inner
        // range is as good as any.
        self.start.push(transform.inner(start).unwrap_or(0.0));
        Source::Unknown(self.unknowns.len() - 1)
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
    /// have been, had something typed been different. Circuits must have the same parameters.
    pub fn replaced(&self, observations: &[Observation], structure: &Structure) -> Self {
        let parts = self
            .parts
            .iter()
            .zip(observations)
            .map(|(part, other)| Part {
                name: part.name.clone(),
                circuit: driver(
                    structure.coil,
                    structure.creep_reference_hz,
                    other.loading.load(structure.leak),
                ),
                sources: part.sources.clone(),
                frequency_hz: part.frequency_hz.clone(),
                z_ohm: other.curve.z_ohm().to_vec(),
                whitening: part.whitening.clone(),
                weight: part.weight.clone(),
            });
        Self {
            parts: parts.collect(),
            unknowns: self.unknowns.clone(),
            start: self.start.clone(),
        }
    }

    /// Whitened errors of a part's points, without the robust weights.
    pub fn errors(&self, part: usize, inner: &[f64]) -> Vec<(f64, f64)> {
        let values = self.circuit_values(part, inner);
        let part = &self.parts[part];
        (0..part.frequency_hz.len())
            .map(|i| {
                let z = part.circuit.impedance(part.frequency_hz[i], &values);
                part.whitening[i].apply(z - part.z_ohm[i])
            })
            .collect()
    }

    /// Errors of a part's points in ohm: model less measured.
    pub fn errors_ohm(&self, part: usize, inner: &[f64]) -> Vec<Complex64> {
        let values = self.circuit_values(part, inner);
        let part = &self.parts[part];
        let points = part.frequency_hz.iter().zip(&part.z_ohm);
        points
            .map(|(&f, z)| part.circuit.impedance(f, &values) - z)
            .collect()
    }

    /// Sum of squared priors.
    pub fn prior_loss(&self, inner: &[f64]) -> f64 {
        self.priors()
            .map(|(i, mean, u)| ((inner[i] - mean) / u).powi(2))
            .sum()
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
            let part = &self.parts[p];
            for i in 0..part.frequency_hz.len() {
                let z = part.circuit.impedance(part.frequency_hz[i], &values);
                let (a, b) = part.whitening[i].apply(z - part.z_ohm[i]);
                let weight = part.weight[i].sqrt();
                out[row] = weight * a;
                out[row + 1] = weight * b;
                row += 2;
            }
        }
        for (i, mean, sigma) in self.priors() {
            out[row] = (inner[i] - mean) / sigma;
            row += 1;
        }
    }

    fn jacobian(&self, inner: &[f64], out: &mut [f64]) {
        let n = self.n_residuals();
        out.fill(0.0);
        let mut row = 0;
        for p in 0..self.parts.len() {
            let values = self.circuit_values(p, inner);
            let part = &self.parts[p];
            let slopes = self.slopes(part, inner);
            let mut by_parameter = vec![Complex64::default(); values.len()];
            for i in 0..part.frequency_hz.len() {
                part.circuit.impedance_and_derivatives(
                    part.frequency_hz[i],
                    &values,
                    &mut by_parameter,
                );
                let weight = part.weight[i].sqrt();
                for (derivative, slopes) in by_parameter.iter().zip(&slopes) {
                    let (a, b) = part.whitening[i].apply(*derivative);
                    for &(column, slope) in slopes.iter().flatten() {
                        out[column * n + row] += weight * slope * a;
                        out[column * n + row + 1] += weight * slope * b;
                    }
                }
                row += 2;
            }
        }
        for (i, _, sigma) in self.priors() {
            out[i * n + row] = 1.0 / sigma;
            row += 1;
        }
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
