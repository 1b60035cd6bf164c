//! Whether a test box did its work.

use crate::finding::{Code, Finding, Severity};
use crate::fit::Fit;

/// fc/fs serves best between 1.4 and 2. Below the first an error of the resonances weighs heavily (coefficient 2r²/(r² − 1) = 6.5
/// at 1.2); above the second the cone's own suspension hardly shows. Common practice, no source.
const LEAST_RATIO: f64 = 1.2;
const MOST_RATIO: f64 = 2.7;
/// A leak of this Q and less shows, and the model takes it out …
const LEAKS_QL: f64 = 40.0;
/// … but a box that leaks more than this is no closed box (common practice, no source).
const OPEN_QL: f64 = 7.0;
/// A leak counts if it is this many standard uncertainties from none.
const COVERAGE: f64 = 3.0;

/// A finding if fc/fs is outside what serves.
pub(super) fn size(name: &str, ratio: f64) -> Option<Finding> {
    let (what, advice, limit) = if ratio < LEAST_RATIO {
        (
            "too large for this driver",
            "use a smaller box, so that the resonance rises by 1.4 to 2 times",
            LEAST_RATIO,
        )
    } else if ratio > MOST_RATIO {
        (
            "too small for this driver",
            "use a larger box, so that the resonance rises by 1.4 to 2 times",
            MOST_RATIO,
        )
    } else {
        return None;
    };
    let message = format!("the test box is {what}: it raises the resonance {ratio:.2} times");
    Some(
        Finding::new(Code::BoxSize, Severity::Caution, message, advice)
            .about(name)
            .with_evidence(ratio, "1", Some(limit)),
    )
}

/// A finding if the fit needed a leak that matters.
pub(super) fn leak(name: &str, fit: &Fit) -> Option<Finding> {
    if !fit.best().leak() {
        return None;
    }
    let (inverse_ql, u) = fit.best().unknown(&format!("box_inverse_ql[{name}]"))?;
    if inverse_ql < COVERAGE * u || inverse_ql < 1.0 / LEAKS_QL {
        return None;
    }
    let ql = 1.0 / inverse_ql;
    let open = ql < OPEN_QL;
    let (severity, limit) = if open {
        (Severity::Redo, OPEN_QL)
    } else {
        (Severity::Caution, LEAKS_QL)
    };
    let after = if open {
        "that is no closed box"
    } else {
        "the leak was taken out of the result"
    };
    Some(
        Finding::new(
            Code::BoxLeaks,
            severity,
            format!("the test box leaks (its Q is {ql:.0} at the resonance): {after}"),
            "varnish the inside, seal the gasket and the wires; a cone that is pushed in gently must take a second to come back",
        )
        .about(name)
        .with_evidence(ql, "1", Some(limit)),
    )
}
