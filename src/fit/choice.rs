//! Which circuit? All coil families, with and without creep, are fitted and compared by evidence.
//!
//! AICc: Hurvich, Tsai, Biometrika 76(2), 1989, 297–307; model averaging: Burnham, Anderson, Model Selection and
//! Multimodel Inference, 2nd ed., 2002 (both from memory).

use super::candidate::Candidate;
use super::glance::{Resonance, coil_ohm, resonance};
use super::joint::{GAUGE_MMS_KG, Structure};
use super::least_squares::{Failure, Options};
use super::observation::{Loading, Observation};
use crate::circuit::{CoilFamily, Glance};
use crate::finding::{Code, Finding, Severity};
use crate::impedance::ImpedanceCurve;
use crate::progress::{Continue, Watcher};
use crate::quantity::Covariance2;

/// Candidates further than this from the best in AICc have "essentially no support" (Burnham, Anderson 2002, 2.6).
const SUPPORTED: f64 = 10.0;
/// A leak is believed only if it improves AICc by as much.
const LEAK_EVIDENCE: f64 = 10.0;
/// The residual test: scatter beyond this multiple of the stated noise variance …
const POOR_LOSS: f64 = 1.5;
/// … that also is this large a part of |Z|, smoothed, root mean square. Below it no parameter moves by more than
/// about as much, which is the accuracy we ask of a noise-free take.
const POOR_PART: f64 = 1e-3;
/// Misfit beyond this part of |Z| is no matter of coil models: what was measured is no driver on its own.
const HOPELESS_PART: f64 = 0.05;
/// Above this multiple of fs only the coil's model shapes the curve, so misfit there must not pull at the rest.
const COIL_ONLY: f64 = 10.0;
/// A candidate that needs more than this many evaluations an unknown crawls along a valley: the data do not determine
/// it. A fit that works needs three.
const PATIENCE: usize = 20;
/// A candidate has settled when its loss, or its parameters, move by less than this fraction: far below any noise.
const SETTLED: f64 = 1e-9;
/// Half the stretch over which misfit is judged, as a frequency ratio: a twelfth of an octave.
const HALF_STRETCH: f64 = 1.059_463_094_359_295_3;
/// Where misfit cannot be explained, families that misfit by up to this factor more than the best still count as
/// possible ways of being wrong.
const COMPARABLE: f64 = 3.0;

/// What may be tried.
#[derive(Clone, Debug, PartialEq)]
pub struct Choice {
    /// Coil families to try.
    pub coils: Vec<CoilFamily>,
    /// Whether suspension creep is tried as well.
    pub creep: bool,
}

impl Default for Choice {
    fn default() -> Self {
        Self {
            coils: CoilFamily::ALL.to_vec(),
            creep: true,
        }
    }
}

/// A fit that converged.
pub struct Fit {
    /// The best first; weights sum to 1 over those that are averaged, the others have weight 0.
    pub candidates: Vec<Candidate>,
    /// Resonances seen at a glance, one an observation.
    pub seen: Vec<Resonance>,
    /// Whether even the best circuit misses the curve by more than noise explains: then the spread between the
    /// comparable families is added to the uncertainty, unweighted.
    pub misfit: bool,
    /// Number of candidates, from the front, that count as comparable where `misfit` is set.
    pub n_comparable: usize,
    /// What was noticed.
    pub findings: Vec<Finding>,
}

impl Fit {
    /// The best candidate.
    pub fn best(&self) -> &Candidate {
        // `fit_all` never returns without a candidate.
        &self.candidates[0]
    }
}

/// A fit that gave nothing.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub enum Unfitted {
    /// A curve shows no resonance.
    NoResonance {
        /// Which observation.
        observation: String,
    },
    /// No candidate converged; the reason of the first.
    NotConverged {
        /// Why.
        failure: Failure,
    },
    /// There is no curve to fit, or no circuit to try.
    NoObservation,
    /// The caller asked to stop.
    Cancelled,
}

impl Unfitted {
    /// The finding that says so.
    pub fn finding(&self) -> Finding {
        match self {
            Self::NoResonance { observation } => Finding::new(
                Code::NoResonance,
                Severity::Redo,
                "the curve shows no resonance",
                "check that the driver is connected, that nothing else is in its place, and that the sweep starts well \
                 below the resonance",
            )
            .about(observation.clone()),
            Self::NotConverged { failure } => Finding::new(
                Code::NotConverged,
                Severity::Redo,
                format!("no circuit could be fitted to the curves: {}", failure.reason),
                "look at the curve: a rattle, a loose contact or a moving lead leaves steps or spikes; then record again",
            ),
            Self::NoObservation => Finding::new(
                Code::NotConverged,
                Severity::Redo,
                "there is no curve to fit, or no circuit to try",
                "give a free-air take and at least one coil model",
            ),
            Self::Cancelled => {
                Finding::new(Code::NotConverged, Severity::Redo, "the fit was stopped on request", "start it again")
            }
        }
    }
}

/// Fits all candidates jointly to the observations, of which the first is the free-air one.
pub fn fit_all(
    observations: &[Observation],
    choice: &Choice,
    watcher: &mut dyn Watcher,
) -> Result<Fit, Unfitted> {
    let mut seen = vec![];
    for observation in observations {
        let none = Unfitted::NoResonance {
            observation: observation.name.clone(),
        };
        seen.push(resonance(&observation.curve).ok_or(none)?);
    }
    let Some(first) = seen.first() else {
        return Err(Unfitted::NoObservation);
    };
    let fs_hz = first.fs_hz;
    let mut candidates = compare(observations, &seen, choice, watcher)?;
    let relative = observations.iter().all(|o| o.curve.covariance().is_none());
    let (loss, part) = judged(&candidates[0], observations);
    // Where no noise is stated, none can be exceeded.
    let misfit = !relative && loss > POOR_LOSS && part > POOR_PART;
    if misfit {
        // Should the second look fail, the first one stands.
        let second = match eased(observations, &seen, choice, COIL_ONLY * fs_hz, watcher) {
            Ok(Some(eased)) => compare(&eased, &seen, choice, watcher),
            Ok(None) => Err(Unfitted::NoObservation),
            Err(unfitted) => Err(unfitted),
        };
        match second {
            Ok(second) => candidates = second,
            Err(Unfitted::Cancelled) => return Err(Unfitted::Cancelled),
            Err(_) => {}
        }
    }
    let n_comparable = n_comparable(&mut candidates, observations);
    let findings = findings(&candidates[0], part, misfit, n_comparable);
    Ok(Fit {
        candidates,
        seen,
        misfit,
        n_comparable,
        findings,
    })
}

/// What the outcome has to be read with.
fn findings(best: &Candidate, part: f64, misfit: bool, n_comparable: usize) -> Vec<Finding> {
    let mut findings = vec![];
    if part > HOPELESS_PART {
        findings.push(
            Finding::new(
                Code::PoorResidual,
                Severity::Redo,
                format!("the curve differs from every circuit by {:.0} % of the impedance", 100.0 * part),
                "look at the curve for steps, spikes or a second peak; check that only the driver is connected, and \
                 record again",
            )
            .with_evidence(part, "1", Some(HOPELESS_PART)),
        );
    } else if misfit {
        let (what, advice) = if n_comparable > 1 {
            (
                "no coil model follows the curve within its noise, so the spread between the models was added to the \
                 uncertainties",
                "the parameters can be used with the wider intervals; a calibrated jig (same-node take) rules out \
                 that the inputs cause it",
            )
        } else {
            (
                "the one coil model that was tried does not follow the curve within its noise; its doubt is not in the \
                 uncertainties",
                "leave out --coil, so that the models can be compared",
            )
        };
        let finding = Finding::new(Code::CoilUnsure, Severity::Caution, what, advice);
        findings.push(finding.with_evidence(part, "1", Some(POOR_PART)));
    }
    if !best.undetermined().is_empty() {
        findings.push(Finding::new(
            Code::NotIdentifiable,
            Severity::Caution,
            format!(
                "the takes do not determine {}",
                best.undetermined().join(", ")
            ),
            "use a simpler coil model, or let the stimulus reach lower and higher",
        ));
    }
    findings
}

/// Fits every structure, drops what is not determined, sorts by AICc and sets the weights.
fn compare(
    observations: &[Observation],
    seen: &[Resonance],
    choice: &Choice,
    watcher: &mut dyn Watcher,
) -> Result<Vec<Candidate>, Unfitted> {
    let options = Options {
        patience: PATIENCE,
        ftol: SETTLED,
        xtol: SETTLED,
        ..Options::default()
    };
    let mut glances = glances(observations, seen);
    let mut found: Vec<Candidate> = vec![];
    let mut first_failure = None;
    let creeps: &[Option<f64>] = if choice.creep {
        &[None, Some(seen[0].fs_hz)]
    } else {
        &[None]
    };
    let n_structures = creeps.len() * choice.coils.len();
    for (i, &creep_reference_hz) in creeps.iter().enumerate() {
        for (j, &coil) in choice.coils.iter().enumerate() {
            if watcher.at(
                "fit",
                (i * choice.coils.len() + j) as f64 / n_structures as f64,
            ) == Continue::No
            {
                return Err(Unfitted::Cancelled);
            }
            let structure = Structure {
                coil,
                creep_reference_hz,
                leak: false,
            };
            let mut attempt = Candidate::fit(observations, &glances, structure, &options);
            if attempt.is_err() && found.is_empty() {
                stepping_stones(&mut glances, observations, &structure, &options);
                attempt = Candidate::fit(observations, &glances, structure, &options);
            }
            match attempt {
                Ok(candidate) => {
                    refine(&mut glances, observations, &candidate);
                    found.push(candidate);
                }
                Err(failure) => {
                    first_failure.get_or_insert(failure);
                }
            }
        }
    }
    rank(&mut found);
    let Some(best) = found.first() else {
        return Err(match first_failure {
            Some(failure) => Unfitted::NotConverged { failure },
            None => Unfitted::NoObservation,
        });
    };
    if observations
        .iter()
        .any(|o| matches!(o.loading, Loading::TestBox { .. }))
    {
        let structure = Structure {
            leak: true,
            coil: best.coil(),
            creep_reference_hz: best.creep_reference_hz(),
        };
        if let Ok(mut leaky) = Candidate::fit(observations, &glances, structure, &options) {
            leaky.judge(best.robust_scale());
            if leaky.aicc + LEAK_EVIDENCE < best.aicc {
                // All the others would need the leak as well, and they were behind without it.
                leaky.weight = 1.0;
                found
                    .iter_mut()
                    .for_each(|candidate| candidate.weight = 0.0);
                found.insert(0, leaky);
            }
        }
    }
    Ok(found)
}

/// Better start values from the two simplest coil models, for a richer one that does not find its way alone.
fn stepping_stones(
    glances: &mut [Glance],
    observations: &[Observation],
    wanted: &Structure,
    options: &Options,
) {
    for coil in [CoilFamily::Plain, CoilFamily::Lr2] {
        let structure = Structure { coil, ..*wanted };
        if let Ok(candidate) = Candidate::fit(observations, glances, structure, options) {
            refine(glances, observations, &candidate);
        }
    }
}

/// Sorts by AICc on the best one's scale and sets Akaike weights. A candidate with an undetermined unknown adds nothing
/// over the simpler one that it contains, so it counts only if there is no other.
fn rank(found: &mut Vec<Candidate>) {
    if found
        .iter()
        .any(|candidate| candidate.undetermined().is_empty())
    {
        found.retain(|candidate| candidate.undetermined().is_empty());
    }
    let Some(scale) = found
        .iter()
        .map(Candidate::robust_scale)
        .min_by(f64::total_cmp)
    else {
        return;
    };
    found
        .iter_mut()
        .for_each(|candidate| candidate.judge(scale));
    found.sort_by(|a, b| a.aicc.total_cmp(&b.aicc));
    let best = found[0].aicc;
    let support = |candidate: &Candidate| {
        let behind = candidate.aicc - best;
        if behind <= SUPPORTED {
            (-0.5 * behind).exp()
        } else {
            0.0
        }
    };
    let total: f64 = found.iter().map(support).sum();
    for candidate in found.iter_mut() {
        candidate.weight = support(candidate) / total;
    }
}

/// Start values for each observation.
fn glances(observations: &[Observation], seen: &[Resonance]) -> Vec<Glance> {
    let mms_kg = mass_guess(observations, seen);
    observations
        .iter()
        .zip(seen)
        .map(|(observation, seen)| {
            let at = coil_point(&observation.curve, seen.fs_hz);
            Glance {
                re_ohm: seen.re_ohm,
                fs_hz: seen.fs_hz,
                qms: seen.qms,
                qes: seen.qes,
                mms_kg,
                coil_ohm: coil_ohm(&observation.curve, at, seen),
                coil_hz: observation.curve.frequency_hz()[at],
            }
        })
        .collect()
}

/// Where the coil shows best: a decade and a half above the resonance, or the end of the curve.
fn coil_point(curve: &ImpedanceCurve, fs_hz: f64) -> usize {
    curve
        .frequency_hz()
        .partition_point(|&f| f < 30.0 * fs_hz)
        .min(curve.n_points() - 1)
}

/// Mms = ΔM/[(fs/f′)² − 1] or k/[(2πfc)² − (2πfs)²]: Small 1972 (from memory, confirmed by computation).
fn mass_guess(observations: &[Observation], seen: &[Resonance]) -> f64 {
    let fs_hz = seen[0].fs_hz;
    let guess = observations
        .iter()
        .zip(seen)
        .find_map(|(observation, loaded)| {
            let guess = match observation.loading {
                Loading::Free => return None,
                Loading::AddedMass { mass_kg, .. } => {
                    mass_kg / ((fs_hz / loaded.fs_hz).powi(2) - 1.0)
                }
                Loading::TestBox {
                    air_stiffness_n_per_m,
                    ..
                } => {
                    let omega2 = |f_hz: f64| (std::f64::consts::TAU * f_hz).powi(2);
                    air_stiffness_n_per_m / (omega2(loaded.fs_hz) - omega2(fs_hz))
                }
            };
            (guess > 0.0 && guess.is_finite()).then_some(guess)
        });
    guess.unwrap_or(GAUGE_MMS_KG)
}

/// Better start values for the next candidate, from one that converged.
fn refine(glances: &mut [Glance], observations: &[Observation], candidate: &Candidate) {
    for (i, glance) in glances.iter_mut().enumerate() {
        let values = candidate.circuit_values(i);
        let curve = &observations[i].curve;
        let at = coil_point(curve, glance.fs_hz);
        let f_hz = curve.frequency_hz()[at];
        // What the whole model leaves to the coil: the measured Z less everything but the coil.
        let coil = candidate.coil().coil();
        let n_coil = coil.parameters().len();
        let rest = candidate.circuit(i).impedance(f_hz, &values)
            - coil.impedance(f_hz, &values[1..=n_coil]);
        let coil_ohm = curve.z_ohm()[at] - rest;
        glance.re_ohm = values[0];
        if coil_ohm.re > 0.0 && coil_ohm.im > 0.0 {
            glance.coil_ohm = coil_ohm;
            glance.coil_hz = f_hz;
        }
    }
}

/// Reduced loss, and smoothed misfit as a part of |Z|.
fn judged(candidate: &Candidate, observations: &[Observation]) -> (f64, f64) {
    let mut squares = vec![];
    for (i, observation) in observations.iter().enumerate() {
        let misfit = smoothed(observation.curve.frequency_hz(), &candidate.errors_ohm(i));
        squares.extend(
            misfit
                .iter()
                .zip(observation.curve.z_ohm())
                .map(|(e, z)| e.norm_sqr() / z.norm_sqr()),
        );
    }
    (
        candidate.reduced_loss(),
        (squares.iter().sum::<f64>() / squares.len() as f64).sqrt(),
    )
}

/// Mean over a stretch around each point, which noise does not survive but misfit does.
fn smoothed(f_hz: &[f64], errors: &[num_complex::Complex64]) -> Vec<num_complex::Complex64> {
    (0..f_hz.len())
        .map(|i| {
            let low = f_hz.partition_point(|&f| f < f_hz[i] / HALF_STRETCH);
            let high = f_hz.partition_point(|&f| f <= f_hz[i] * HALF_STRETCH);
            errors[low..high].iter().sum::<num_complex::Complex64>() / (high - low) as f64
        })
        .collect()
}

/// The observations with the misfit above `above_hz` added to their covariance, so that there it shapes the coil but
/// pulls at nothing else. The misfit is that of circuits fitted below `above_hz` only.
fn eased(
    observations: &[Observation],
    seen: &[Resonance],
    choice: &Choice,
    above_hz: f64,
    watcher: &mut dyn Watcher,
) -> Result<Option<Vec<Observation>>, Unfitted> {
    let below: Option<Vec<Observation>> = observations
        .iter()
        .map(|o| {
            Some(Observation {
                curve: o.curve.between(0.0, above_hz)?,
                ..o.clone()
            })
        })
        .collect();
    let Some(below) = below.filter(|list| list.iter().all(|o| o.curve.n_points() > 30)) else {
        return Ok(None);
    };
    let fitted = compare(&below, seen, choice, watcher)?;
    let best = &fitted[0];
    let eased = observations.iter().enumerate().map(|(i, observation)| {
        let values = best.circuit_values(i);
        let f_hz = observation.curve.frequency_hz();
        let model = |f: f64| best.circuit(i).impedance(f, &values);
        let errors: Vec<_> = f_hz
            .iter()
            .zip(observation.curve.z_ohm())
            .map(|(&f, z)| model(f) - z)
            .collect();
        let misfit = smoothed(f_hz, &errors);
        let covariance = observation.covariances();
        let widened = covariance
            .iter()
            .zip(&misfit)
            .zip(f_hz)
            .map(|((c, e), &f)| {
                if f > above_hz {
                    c.plus(&Covariance2::circular(e.norm_sqr()))
                } else {
                    *c
                }
            });
        let curve = observation.curve.with_covariance(widened.collect());
        Observation {
            curve,
            ..observation.clone()
        }
    });
    Ok(Some(eased.collect()))
}

/// How many candidates from the front misfit about as little as the best; at least two where there are two.
fn n_comparable(candidates: &mut [Candidate], observations: &[Observation]) -> usize {
    let part = |candidate: &Candidate| judged(candidate, observations).1;
    let best = part(&candidates[0]);
    let n = candidates
        .iter()
        .take_while(|candidate| part(candidate) <= COMPARABLE * best)
        .count();
    n.max(2).min(candidates.len())
}
