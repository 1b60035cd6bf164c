//! Parameters with intervals and budget: model averaging, Monte Carlo (JCGM 101:2008) and first-order shares.

use std::f64::consts::TAU;

use super::core::{LE_1KHZ, LE_10KHZ, N_CORE, core_of};
use super::formulas::parameters;
use super::influence::{INFLUENCE_STEP, Influence, Role};
use super::monte_carlo::{Draws, Inputs, MonteCarloError, propagate};
use super::result::{Contribution, ParameterResult, SmallSignal};
use super::setup::SetupSpread;
use super::{Key, Known};
use crate::air::Air;
use crate::fit::{Derived, Fit};
use crate::quantity::{Spread, SymmetricMatrix};

/// What goes into the parameters besides the fit.
#[derive(Clone)]
pub struct Wanted<'a> {
    /// What the takes can tell.
    pub known: Known,
    /// The cone's area, m²: a stand-in where it is not known.
    pub sd_m2: f64,
    /// The air.
    pub air: Air,
    /// Everything with a doubt.
    pub influences: &'a [Influence],
    /// Fits of single remounted free-air takes.
    pub remounted: &'a [Fit],
    /// Monte Carlo draws.
    pub n_draws: usize,
    /// Seed of the draws.
    pub seed: u64,
}

/// One averaged candidate.
struct Member {
    weight: f64,
    derived: Derived,
    /// Lower triangular root of the covariance.
    root: Vec<[f64; N_CORE]>,
}

/// Works out the parameters.
///
/// # Errors
/// If the draws cannot be made: see [`MonteCarloError`].
pub fn small_signal(fit: &Fit, wanted: &Wanted<'_>) -> Result<SmallSignal, MonteCarloError> {
    let members = members(fit);
    let spread = spread(fit);
    let responses: Vec<Vec<f64>> = wanted.influences.iter().map(|i| response(fit, i)).collect();
    let keys: Vec<usize> = (0..Key::ALL.len())
        .filter(|&k| tells(wanted.known, Key::ALL[k]))
        .collect();
    let model = Model {
        wanted,
        members: &members,
        spread: &spread,
        responses: &responses,
    };

    let draws = Draws::Fixed(wanted.n_draws);
    let runs = propagate(
        &model.inputs()?,
        keys.len(),
        draws,
        wanted.seed,
        |inputs, out| {
            let all = model.draw(inputs);
            for (slot, &k) in out.iter_mut().zip(&keys) {
                *slot = all[k];
            }
        },
    )?;
    let central = model.central();
    let budget = model.budget();
    let setup = if wanted.remounted.is_empty() {
        SetupSpread::assumed()
    } else {
        let core = |fit: &Fit| fit.best().derive(core_of(fit.best())).values;
        SetupSpread::measured(&wanted.remounted.iter().map(core).collect::<Vec<_>>())
    };
    let results = keys.iter().enumerate().map(|(i, &k)| {
        let key = Key::ALL[k];
        let statistics = runs.outputs[i].complete();
        ParameterResult {
            key,
            value: central[k],
            standard_uncertainty: statistics.map(|s| s.standard_uncertainty),
            interval_95: statistics.map(|s| s.interval_95),
            setup_uncertainty: setup
                .relative(key)
                .map(|(u, origin)| (u * central[k].abs(), origin)),
            budget: budget.of(k),
        }
    });
    let best = fit.best();
    let coil = best.derive(|_, values| values.to_vec());
    let circuit = best.circuit_parameters(0).into_iter().enumerate();
    let circuit =
        circuit.map(|(i, (parameter, value))| (parameter, value, coil.covariance.get(i, i).sqrt()));
    Ok(SmallSignal {
        parameters: results.collect(),
        circuit: circuit
            .filter(|(p, _, _)| wanted.known.mass || !needs_mass(&p.name))
            .collect(),
        correlation: runs.correlation,
        n_draws: runs.draws,
    })
}

/// Circuit parameters that a free-air take alone cannot tell.
fn needs_mass(name: &str) -> bool {
    matches!(name, "bl_t_m" | "mms_kg" | "cms_m_per_n" | "rms_kg_per_s")
}

fn tells(known: Known, key: Key) -> bool {
    match key {
        Key::Mms | Key::Cms | Key::Rms | Key::Bl => known.mass,
        Key::Mmd => known.mass && known.cone,
        Key::Sd => known.cone,
        Key::Vas | Key::Efficiency | Key::Level1w | Key::Level2v83 => known.volume,
        _ => true,
    }
}

fn members(fit: &Fit) -> Vec<Member> {
    let averaged = fit
        .candidates
        .iter()
        .filter(|candidate| candidate.weight() > 0.0);
    averaged
        .map(|candidate| {
            let derived = candidate.derive(core_of(candidate));
            Member {
                weight: candidate.weight(),
                root: root(&derived.covariance),
                derived,
            }
        })
        .collect()
}

/// Everything that the core is in doubt by where even the best circuit misfits: the families, and what is missed where Le is read.
fn spread(fit: &Fit) -> Vec<Vec<f64>> {
    let mut spread = between_families(fit);
    if fit.misfit {
        spread.extend(missed_le(fit));
    }
    spread
}

/// The reactance that the best circuit misses where Le is read off it, as inductances: (P17).
fn missed_le(fit: &Fit) -> impl Iterator<Item = Vec<f64>> {
    let at = |(slot, hz): (usize, f64)| {
        let missed = fit.best().missed_ohm(0, hz)?;
        let mut core = vec![0.0; N_CORE];
        core[slot] = missed.im / (TAU * hz);
        Some(core)
    };
    [(LE_1KHZ, 1_000.0), (LE_10KHZ, 10_000.0)]
        .into_iter()
        .filter_map(at)
}

/// Differences of the comparable families from the best, where even the best misfits: (P12).
pub(super) fn between_families(fit: &Fit) -> Vec<Vec<f64>> {
    if !fit.misfit {
        return vec![];
    }
    let core = |i: usize| fit.candidates[i].derive(core_of(&fit.candidates[i])).values;
    let best = core(0);
    fit.comparable
        .iter()
        .map(|&(i, share)| {
            let pairs = core(i);
            let pairs = pairs.iter().zip(&best);
            pairs.map(|(a, b)| share.sqrt() * (a - b)).collect()
        })
        .collect()
}

fn response(fit: &Fit, influence: &Influence) -> Vec<f64> {
    match &influence.observations {
        Some(observations) => {
            let moved = fit.best().response(observations, core_of(fit.best()));
            moved.iter().map(|change| change / INFLUENCE_STEP).collect()
        }
        None => vec![0.0; N_CORE],
    }
}

/// Lower triangular root of a positive semi-definite matrix; rows without variance stay zero.
fn root(covariance: &SymmetricMatrix) -> Vec<[f64; N_CORE]> {
    let mut root = vec![[0.0; N_CORE]; N_CORE];
    for j in 0..N_CORE {
        for i in j..N_CORE {
            let mut value = covariance.get(i, j);
            for (left, right) in root[i].iter().zip(&root[j]).take(j) {
                value -= left * right;
            }
            if i == j {
                // An unknown stays unknown: NaN runs through to the results, which then have no interval.
                let none = value <= 1e-14 * covariance.get(j, j);
                root[j][j] = if none { 0.0 } else { value.sqrt() };
            } else if root[j][j] != 0.0 {
                root[i][j] = value / root[j][j];
            }
        }
    }
    root
}

struct Model<'a> {
    wanted: &'a Wanted<'a>,
    members: &'a [Member],
    spread: &'a [Vec<f64>],
    /// Change of the core for one standard uncertainty of each influence.
    responses: &'a [Vec<f64>],
}

impl Model<'_> {
    /// Which member, its scatter, the spread between families, then the influences in units of their standard
    /// uncertainty.
    fn inputs(&self) -> Result<Inputs, MonteCarloError> {
        let mut inputs = Inputs::new();
        inputs.rectangular(0.5, 0.5)?;
        for _ in 0..N_CORE + self.spread.len() {
            inputs.normal(0.0, 1.0)?;
        }
        for influence in self.wanted.influences {
            match influence.stated.spread {
                Spread::HalfWidth(_) => inputs.rectangular(0.0, 3.0_f64.sqrt())?,
                Spread::Standard(_) => inputs.normal(0.0, 1.0)?,
                Spread::Unstated => {
                    return Err(MonteCarloError::SpreadUnstated {
                        input: inputs.n_inputs(),
                    });
                }
            }
        }
        Ok(inputs)
    }

    fn draw(&self, inputs: &[f64]) -> Vec<f64> {
        let member = self.member(inputs[0]);
        let (noise, rest) = inputs[1..].split_at(N_CORE);
        let (between, typed) = rest.split_at(self.spread.len());
        let mut core = member.derived.values.clone();
        for (value, row) in core.iter_mut().zip(&member.root) {
            *value += row.iter().zip(noise).map(|(a, b)| a * b).sum::<f64>();
        }
        for (difference, g) in self.spread.iter().zip(between) {
            add(&mut core, difference, *g);
        }
        self.outputs(core, typed)
    }

    fn member(&self, which: f64) -> &Member {
        let mut upto = 0.0;
        for member in self.members {
            upto += member.weight;
            if which < upto {
                return member;
            }
        }
        &self.members[self.members.len() - 1]
    }

    /// The parameters for a core, with each influence `typed[i]` standard uncertainties off.
    fn outputs(&self, mut core: Vec<f64>, typed: &[f64]) -> Vec<f64> {
        let (mut sd_m2, mut air) = (self.wanted.sd_m2, self.wanted.air);
        for ((influence, response), off) in
            self.wanted.influences.iter().zip(self.responses).zip(typed)
        {
            add(&mut core, response, *off);
            let shift = off * influence.stated.standard_uncertainty().unwrap_or(0.0);
            match influence.role {
                Role::ThroughTheFit => {}
                Role::ConeArea => sd_m2 += shift,
                Role::Temperature => air.temperature_k += shift,
                Role::Pressure => air.pressure_pa += shift,
                Role::Humidity => {
                    air.relative_humidity = (air.relative_humidity + shift).clamp(0.0, 1.0)
                }
            }
        }
        parameters(&core, sd_m2, &air)
    }

    fn nothing_off(&self) -> Vec<f64> {
        vec![0.0; self.wanted.influences.len()]
    }

    /// The averaged values.
    fn central(&self) -> Vec<f64> {
        let mut sum = vec![0.0; Key::ALL.len()];
        for member in self.members {
            add(
                &mut sum,
                &self.outputs(member.derived.values.clone(), &self.nothing_off()),
                member.weight,
            );
        }
        sum
    }

    /// First-order shares: each source alone, one standard uncertainty up.
    fn budget(&self) -> Budget {
        let central = self.central();
        let best = &self.members[0].derived.values;
        let reference = self.outputs(best.clone(), &self.nothing_off());
        let off = |core: Vec<f64>, typed: &[f64]| -> Vec<f64> {
            self.outputs(core, typed)
                .iter()
                .zip(&reference)
                .map(|(a, b)| a - b)
                .collect()
        };
        let mut lines = vec![];
        let mut noise = vec![0.0; Key::ALL.len()];
        for column in 0..N_CORE {
            let mut core = best.clone();
            for (value, row) in core.iter_mut().zip(&self.members[0].root) {
                *value += row[column];
            }
            add_squares(&mut noise, &off(core, &self.nothing_off()));
        }
        lines.push((
            "noise in the takes",
            "record longer, or a little louder, in a quieter room",
            noise,
        ));
        let mut between = vec![0.0; Key::ALL.len()];
        for member in self.members {
            let values = self.outputs(member.derived.values.clone(), &self.nothing_off());
            for ((sum, value), mean) in between.iter_mut().zip(&values).zip(&central) {
                *sum += member.weight * (value - mean).powi(2);
            }
        }
        for difference in self.spread {
            let mut core = best.clone();
            add(&mut core, difference, 1.0);
            add_squares(&mut between, &off(core, &self.nothing_off()));
        }
        lines.push((
            "the choice of coil model",
            "calibrate the channels, and let the sweep reach lower and higher",
            between,
        ));
        for (i, influence) in self.wanted.influences.iter().enumerate() {
            let mut typed = self.nothing_off();
            typed[i] = 1.0;
            let mut square = vec![0.0; Key::ALL.len()];
            add_squares(&mut square, &off(best.clone(), &typed));
            lines.push((&influence.name, influence.advice, square));
        }
        Budget {
            lines: lines
                .into_iter()
                .map(|(name, advice, v)| (name.to_owned(), advice.to_owned(), v))
                .collect(),
        }
    }
}

/// Source, advice, and its variance for each key.
struct Budget {
    lines: Vec<(String, String, Vec<f64>)>,
}

impl Budget {
    fn of(&self, key: usize) -> Vec<Contribution> {
        let total: f64 = self.lines.iter().map(|line| line.2[key]).sum();
        let mut list: Vec<Contribution> = self
            .lines
            .iter()
            .filter(|line| line.2[key] > 0.0)
            .map(|(source, advice, variance)| Contribution {
                source: source.clone(),
                standard_uncertainty: variance[key].sqrt(),
                share: variance[key] / total,
                advice: advice.clone(),
            })
            .collect();
        list.sort_by(|a, b| b.share.total_cmp(&a.share));
        list
    }
}

fn add(sum: &mut [f64], other: &[f64], factor: f64) {
    for (a, b) in sum.iter_mut().zip(other) {
        *a += factor * b;
    }
}

fn add_squares(sum: &mut [f64], other: &[f64]) {
    for (a, b) in sum.iter_mut().zip(other) {
        *a += b * b;
    }
}
