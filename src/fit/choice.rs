//! Which circuit? All coil families, with and without creep, are fitted and compared by evidence.
//!
//! AICc: Hurvich, Tsai, Biometrika 76(2), 1989, 297–307; model averaging: Burnham, Anderson, Model Selection and
//! Multimodel Inference, 2nd ed., 2002 (both from memory).

use super::candidate::Candidate;
use super::compare::compare;
use super::glance::{Resonance, resonance};
use super::least_squares::Failure;
use super::misfit::{comparable, eased, judged};
use super::observation::Observation;
use crate::circuit::CoilFamily;
use crate::finding::{Code, Finding, Severity};
use crate::progress::{Unwatched, Watcher};

/// The residual test: scatter beyond this multiple of the stated noise variance …
const POOR_LOSS: f64 = 1.5;
/// … that also is this large a part of |Z|, smoothed, root mean square. Below it no parameter moves by more than
/// about as much, which is the accuracy we ask of a noise-free take.
const POOR_PART: f64 = 1e-3;
/// Misfit beyond this part of |Z| around the resonance is no matter of coil models, nor of a suspension whose loss depends on frequency
/// in its own way …
const STRUCTURED_PART: f64 = 0.025;
/// … and beyond this what was measured is no driver on its own. Sound drivers with much of both were seen to reach 5.3 %.
const HOPELESS_PART: f64 = 0.07;
/// Up to this multiple of fs the resonance shapes the curve more than the coil does.
const AROUND: f64 = 3.0;
/// Above this multiple of fs only the coil's model shapes the curve, so misfit there must not pull at the rest.
const COIL_ONLY: f64 = 10.0;

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
    /// comparable families is added to the uncertainty, with the shares of (F10).
    pub misfit: bool,
    /// Candidates that are about as good as the best, and how much each counts where `misfit` is set, as shares of a variance.
    pub comparable: Vec<(usize, f64)>,
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
    fitted(observations, choice, true, watcher)
}

/// The same with uncertainties of noise alone around the resonance, whatever the circuits miss there: they tell whether a take is loud enough.
pub fn fit_by_noise(observations: &[Observation], choice: &Choice) -> Result<Fit, Unfitted> {
    fitted(observations, choice, false, &mut Unwatched)
}

fn fitted(
    observations: &[Observation],
    choice: &Choice,
    may_misfit: bool,
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
    let one_mounting: Vec<Observation> = observations
        .iter()
        .map(Observation::at_one_mounting)
        .collect();
    let mut candidates = compare(&one_mounting, &seen, choice, watcher)?;
    let relative = observations.iter().all(|o| o.curve.covariance().is_none());
    let (loss, mut part) = judged(&candidates[0], observations, f64::INFINITY);
    // Where no noise is stated, none can be exceeded.
    let misfit = !relative && loss > POOR_LOSS && part > POOR_PART;
    if misfit {
        // Should the second look fail, the first one stands.
        let second = match eased(
            observations,
            &seen,
            choice,
            (COIL_ONLY * fs_hz, may_misfit),
            watcher,
        ) {
            Ok(Some(eased)) => compare(&eased, &seen, choice, watcher),
            Ok(None) => Err(Unfitted::NoObservation),
            Err(unfitted) => Err(unfitted),
        };
        match second {
            Ok(second) => {
                candidates = second;
                part = judged(&candidates[0], observations, f64::INFINITY).1;
            }
            Err(Unfitted::Cancelled) => return Err(Unfitted::Cancelled),
            Err(_) => {}
        }
    }
    let comparable = comparable(&candidates, observations, COIL_ONLY * fs_hz);
    let (_, below) = judged(&candidates[0], observations, AROUND * fs_hz);
    let findings = findings(
        &candidates[0],
        (part, below),
        (misfit, relative),
        (!comparable.is_empty(), choice.coils.len()),
    );
    Ok(Fit {
        candidates,
        seen,
        misfit,
        comparable,
        findings,
    })
}

/// What the outcome has to be read with. `part` is the misfit of the whole curve, `below` that around the resonance; whether coil models
/// could be compared, of how many that were tried.
fn findings(
    best: &Candidate,
    (part, below): (f64, f64),
    (misfit, relative): (bool, bool),
    (compared, n_tried): (bool, usize),
) -> Vec<Finding> {
    let mut findings = vec![];
    // Where noise explains it, or nobody says how much there is, only what is beyond all noise tells.
    if (misfit && below > STRUCTURED_PART) || (relative && below > HOPELESS_PART) {
        let (severity, limit) = if below > HOPELESS_PART {
            (Severity::Redo, HOPELESS_PART)
        } else {
            (Severity::Caution, STRUCTURED_PART)
        };
        findings.push(
            Finding::new(
                Code::PoorResidual,
                severity,
                format!("the curve differs from every circuit by {:.1} % of the impedance", 100.0 * below),
                "look at the curve for steps, spikes or a second peak; check that only the driver is connected, and \
                 record again",
            )
            .with_evidence(below, "1", Some(limit)),
        );
    } else if misfit && part > POOR_PART {
        let (what, advice) = if compared {
            (
                "no coil model follows the curve within its noise, so the spread between the models was added to the \
                 uncertainties",
                "the parameters can be used with the wider intervals; a calibrated jig (same-node take) rules out \
                 that the inputs cause it",
            )
        } else if n_tried > 1 {
            (
                "the only coil model that fits at all does not follow the curve within its noise; its doubt is not in the \
                 uncertainties",
                "the parameters can be used, the coil's own values above some kilohertz hardly; a calibrated jig (same-node take) \
                 rules out that the inputs cause it",
            )
        } else {
            (
                "the one coil model that was tried does not follow the curve within its noise; its doubt is not in the \
                 uncertainties",
                "let all coil models be compared (without --coil)",
            )
        };
        let finding = Finding::new(Code::CoilUnsure, Severity::Caution, what, advice);
        findings.push(finding.with_evidence(part, "1", Some(POOR_PART)));
    }
    findings.extend(at_bound(best));
    if !best.undetermined().is_empty() {
        let mut names: Vec<&str> = best
            .undetermined()
            .iter()
            .map(|name| in_words(name))
            .collect();
        names.dedup();
        let names = names.join(", ");
        let severity = severity_of(best, best.undetermined());
        findings.push(Finding::new(
            Code::NotIdentifiable,
            severity,
            format!("the takes do not determine {names}"),
            "use a simpler coil model, or let the stimulus reach lower and higher",
        ));
    }
    findings
}

/// What an unknown of the fit is.
fn in_words(name: &str) -> &str {
    match name {
        "re_ohm" => "the DC resistance",
        "le_h" | "leb_h" | "le_parallel_h" | "l2_h" => "an inductance of the coil",
        "r2_ohm" | "rss_ohm" | "ke_1khz_ohm" => "a loss of the coil",
        "coil_1khz_ohm" | "coil_exponent" => "the coil's impedance",
        "bl_t_m" => "the force factor",
        "mms_kg" => "the moving mass",
        "cms_m_per_n" => "the suspension's compliance",
        "rms_kg_per_s" => "the suspension's friction",
        "creep" => "the suspension's creep",
        "box_air_load_kg" => "the air that moves with the cone in the box",
        "box_inverse_ql" => "the box's leak",
        // Of one take, such as its own DC resistance: its name says which.
        other => other,
    }
}

/// Which of several coil elements carries the loss may stay open, and whether the suspension's creep or its friction does, since
/// both together make Qms; what moves the cone may not.
fn severity_of(best: &Candidate, names: &[String]) -> Severity {
    let coil = best.coil().coil();
    let of_coil = |name: &String| coil.parameters().iter().any(|p| p.name == *name);
    let of_creep = |name: &String| best.creep_reference_hz().is_some() && name == "rms_kg_per_s";
    if names.iter().all(|name| of_coil(name) || of_creep(name)) {
        Severity::Note
    } else {
        Severity::Caution
    }
}

fn at_bound(best: &Candidate) -> Option<Finding> {
    let names = best.at_bound();
    (!names.is_empty()).then(|| {
        Finding::new(
            Code::AtBound,
            severity_of(best, &names),
            format!(
                "the fit ran to the end of the range of {}",
                names.iter().map(|name| in_words(name)).collect::<Vec<_>>().join(", ")
            ),
            "let the stimulus reach lower and higher; a calibrated jig (same-node take) rules out that the inputs cause it",
        )
    })
}
