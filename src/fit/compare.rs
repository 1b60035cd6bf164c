//! Fits every structure that may be tried, and sorts them by evidence.

use super::candidate::Candidate;
use super::choice::{Choice, Unfitted};
use super::glance::Resonance;
use super::joint::Structure;
use super::least_squares::Options;
use super::observation::{Loading, Observation};
use super::starts::{glances, refine};
use crate::circuit::{CoilFamily, Glance};
use crate::progress::{Continue, Watcher};

/// Candidates further than this from the best in AICc have "essentially no support" (Burnham, Anderson 2002, 2.6).
const SUPPORTED: f64 = 10.0;
/// A leak is believed only if it improves AICc by as much.
const LEAK_EVIDENCE: f64 = 10.0;
/// A candidate that needs more than this many evaluations an unknown crawls along a valley: the data do not determine
/// it. A fit that works needs three.
const PATIENCE: usize = 20;
/// A candidate has settled when its loss, or its parameters, move by less than this fraction: far below any noise.
const SETTLED: f64 = 1e-9;
/// What a fit is still off by in the end, in standard uncertainties: below what anybody prints.
const LEAST_STEP: f64 = 1e-8;

/// Fits every structure, drops what is not determined, sorts by AICc and sets the weights.
pub(super) fn compare(
    observations: &[Observation],
    seen: &[Resonance],
    choice: &Choice,
    watcher: &mut dyn Watcher,
) -> Result<Vec<Candidate>, Unfitted> {
    let options = Options {
        patience: PATIENCE,
        ftol: SETTLED,
        xtol: SETTLED,
        least_step: LEAST_STEP,
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

/// Sorts by AICc on the best one's scale and sets Akaike weights. A candidate with an undetermined unknown is dropped where
/// a simpler one does as well.
fn rank(found: &mut Vec<Candidate>) {
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
    let determined = found
        .iter()
        .filter(|candidate| candidate.undetermined().is_empty());
    if let Some(best) = determined
        .map(|candidate| candidate.aicc)
        .min_by(f64::total_cmp)
    {
        found.retain(|candidate| {
            candidate.undetermined().is_empty() || candidate.aicc + SUPPORTED < best
        });
    }
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
