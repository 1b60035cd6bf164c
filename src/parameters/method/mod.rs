//! What the takes can tell, and whether the method worked.

mod alone;
mod box_size;
mod drivers;
mod mass;

use alone::Alone;

use crate::finding::{Code, Finding, Severity};
use crate::fit::{Fit, Loading, Observation};

/// A load that moves the resonance by less than this factor weighs nothing: at 1.05 a 0.1 % error of the frequency
/// ratio is 2 % of the mass (coefficient 2r²/(r² − 1), Small 1972, from memory, confirmed by computation).
const LEAST_SHIFT: f64 = 1.05;
/// A resonance that moved by less than this, relative, did not move: a set-up alone moves it by 1 % (common practice, no
/// source).
const NO_SHIFT: f64 = 0.01;

/// What the takes can tell beyond fs, Re, the Qs and the coil.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Known {
    /// Masses, compliance, resistance and force factor.
    pub mass: bool,
    /// Equivalent volume, efficiency and levels.
    pub volume: bool,
    /// The cone's area.
    pub cone: bool,
}

/// Judges the loaded takes. `cone` says whether the cone's size was given.
///
/// Each loaded take is also fitted alone, so that what it says by itself can be laid against the free-air take.
pub fn method_findings(
    observations: &[Observation],
    fit: &Fit,
    cone: bool,
) -> (Known, Vec<Finding>) {
    let mut findings = vec![];
    let (mut weighed, mut boxed) = (false, false);
    let alone = alone::each(observations, fit);
    for (i, observation) in observations.iter().enumerate() {
        if observation.loading == Loading::Free {
            continue;
        }
        let mut found = judged(observations, fit, &alone, i);
        let lost = found
            .iter()
            .any(|finding| finding.severity == Severity::Redo);
        findings.append(&mut found);
        match observation.loading {
            _ if lost => {}
            Loading::AddedMass { .. } => weighed = true,
            _ => boxed = true,
        }
    }
    findings.extend(mass::loads_disagree(observations, fit));
    if weighed || boxed {
        // Another load did work, so nothing depends on the poor one.
        findings
            .iter_mut()
            .filter(|finding| finding.code == Code::MassShiftSmall)
            .for_each(|finding| finding.severity = Severity::Caution);
    }
    let loaded = observations
        .iter()
        .any(|observation| observation.loading != Loading::Free);
    if !loaded {
        findings.push(Finding::new(
            Code::MethodAbsent,
            Severity::Note,
            "neither an added mass nor a test box was measured, so Vas, Mms, Cms, Rms, Bl and the efficiency are absent",
            "stick a known mass on the cone (so that fs drops by 20 to 30 %) or close the cone off with a known volume, \
             and add that take",
        ));
    }
    if !cone {
        let lost = if boxed {
            "Mms, Mmd, Cms, Rms, Bl and Sd"
        } else {
            "Vas, Mmd, Sd and the efficiency"
        };
        findings.push(Finding::new(
            Code::ConeAbsent,
            Severity::Note,
            format!("the size of the cone was not given, so {lost} are absent"),
            "measure the cone from the middle of the surround to the middle of the surround (--cone)",
        ));
    }
    let known = Known {
        mass: weighed || (boxed && cone),
        volume: boxed || (weighed && cone),
        cone,
    };
    (known, findings)
}

/// One loaded take: the first thing that explains it is enough, the others would follow from it.
fn judged(
    observations: &[Observation],
    fit: &Fit,
    alone: &[Option<Alone>],
    i: usize,
) -> Vec<Finding> {
    let observation = &observations[i];
    let name = observation.name.as_str();
    let [free, own] = [0, i].map(|k| alone.get(k).and_then(Option::as_ref));
    if let (Some(free), Some(own)) = (free, own)
        && !own.poor
        && let Some(finding) = drivers::differ(observations, i, free, own)
    {
        return vec![finding];
    }
    let free_hz = free.map_or(fit.seen[0].fs_hz, |alone| alone.readout.fs_hz.value);
    let own_hz = own.map_or(fit.seen[i].fs_hz, |alone| alone.readout.fs_hz.value);
    let (ratio, what) = match observation.loading {
        Loading::AddedMass { .. } => (free_hz / own_hz, "added mass"),
        _ => (own_hz / free_hz, "test box"),
    };
    if ratio < 1.0 + NO_SHIFT {
        return vec![not_there(name, what, ratio)];
    }
    if ratio < LEAST_SHIFT {
        return vec![shift_small(name, what, ratio)];
    }
    match observation.loading {
        Loading::AddedMass { mass_kg, .. } => {
            let mut findings: Vec<Finding> =
                mass::shift(name, 1.0 - 1.0 / ratio).into_iter().collect();
            if let (Some(free), Some(own)) = (free, own) {
                findings.extend(mass::formulas_disagree(observation, mass_kg, free, own));
            }
            findings
        }
        _ => {
            let mut findings: Vec<Finding> = box_size::size(name, ratio).into_iter().collect();
            findings.extend(box_size::leak(name, fit));
            findings
        }
    }
}

fn not_there(name: &str, what: &str, ratio: f64) -> Finding {
    Finding::new(
        Code::MassForgotten,
        Severity::Redo,
        format!(
            "the take with the {what} resonates where the free one does: the {what} was not there"
        ),
        match what {
            "added mass" => {
                "stick the mass on the cone, check that it holds, and make this take again"
            }
            _ => "close the driver off with the box, check the gasket, and make this take again",
        },
    )
    .about(name)
    .with_evidence(ratio - 1.0, "1", Some(NO_SHIFT))
}

fn shift_small(name: &str, what: &str, ratio: f64) -> Finding {
    Finding::new(
        Code::MassShiftSmall,
        Severity::Redo,
        format!("the {what} moved the resonance by a factor of {ratio:.3} only, which cannot tell the moving mass"),
        match what {
            "added mass" => "add more mass (so that fs drops by 20 to 30 %), stick it on firmly, and record again",
            _ => "use a smaller box (fc should be 1.4 to 2 times fs), close its leaks, and record again",
        },
    )
    .about(name)
    .with_evidence(ratio, "1", Some(LEAST_SHIFT))
}
