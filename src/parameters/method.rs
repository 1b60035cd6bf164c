//! What the takes can tell, and whether the method worked.

use crate::finding::{Code, Finding, Severity};
use crate::fit::{Fit, Loading, Observation};

/// A load that moves the resonance by less than this factor weighs nothing: at 1.05 a 0.1 % error of the frequency
/// ratio is 2 % of the mass (coefficient 2r²/(r² − 1), Small 1972, from memory, confirmed by computation).
const LEAST_SHIFT: f64 = 1.05;

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
pub fn method_findings(
    observations: &[Observation],
    fit: &Fit,
    cone: bool,
) -> (Known, Vec<Finding>) {
    let mut findings = vec![];
    let (mut weighed, mut boxed) = (false, false);
    let free_hz = fit.seen[0].fs_hz;
    for (observation, seen) in observations.iter().zip(&fit.seen) {
        let (ratio, what) = match observation.loading {
            Loading::Free => continue,
            Loading::AddedMass { .. } => (free_hz / seen.fs_hz, "added mass"),
            Loading::TestBox { .. } => (seen.fs_hz / free_hz, "test box"),
        };
        if ratio < LEAST_SHIFT {
            findings.push(shift_small(&observation.name, what, ratio));
            continue;
        }
        match observation.loading {
            Loading::AddedMass { .. } => weighed = true,
            _ => boxed = true,
        }
    }
    if weighed || boxed {
        // Another load did work, so nothing depends on the poor one.
        findings
            .iter_mut()
            .for_each(|finding| finding.severity = Severity::Caution);
    }
    if !weighed && !boxed && findings.is_empty() {
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
            "measure the cone from the middle of the surround to the middle of the surround and give it as --cone",
        ));
    }
    let known = Known {
        mass: weighed || (boxed && cone),
        volume: boxed || (weighed && cone),
        cone,
    };
    (known, findings)
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
