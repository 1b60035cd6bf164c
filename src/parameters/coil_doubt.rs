//! How much the doubt about the coil's model matters.

use super::core::{LN_FS, LN_QES, LN_QMS, LN_RE};
use super::small_signal::between_families;
use crate::finding::{Code, Finding, Severity};
use crate::fit::Fit;

/// Where the coil models that are about as good differ by less than this, nobody need do anything about it: their spread is in the
/// uncertainties. From here on a box would be designed otherwise (common practice, no source).
const HARMLESS: [(usize, f64); 4] = [(LN_FS, 0.03), (LN_RE, 0.10), (LN_QMS, 0.20), (LN_QES, 0.15)];

/// Relative standard uncertainty that the choice of the model brings into Qes; zero where the circuit follows the curve.
pub(super) fn qes_in_doubt(fit: &Fit) -> f64 {
    moves(&between_families(fit), LN_QES)
}

/// Relative standard uncertainty that the coil's model brings into Re; zero where the circuit follows the curve.
pub fn re_in_doubt(fit: &Fit) -> f64 {
    moves(&between_families(fit), LN_RE)
}

fn moves(differences: &[Vec<f64>], i: usize) -> f64 {
    let squares = differences.iter().map(|core| core[i] * core[i]);
    squares.sum::<f64>().sqrt()
}

/// The fit's findings, of which [`Code::CoilUnsure`] is a note where it moves no parameter by more than is negligible.
pub fn fit_findings(fit: &Fit) -> Vec<Finding> {
    let differences = between_families(fit);
    // With one model only there is nothing to tell its doubt by.
    let harmless = !differences.is_empty()
        && HARMLESS
            .into_iter()
            .all(|(i, limit)| moves(&differences, i) < limit);
    let weighed = |finding: &Finding| {
        let mut finding = finding.clone();
        if harmless && finding.code == Code::CoilUnsure {
            finding.severity = Severity::Note;
        }
        finding
    };
    fit.findings.iter().map(weighed).collect()
}
