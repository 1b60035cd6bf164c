//! How much the doubt about the coil's model matters.

use super::core::{LN_FS, LN_QES, LN_QMS, LN_RE};
use super::small_signal::spread;
use crate::finding::{Code, Finding, Severity};
use crate::fit::Fit;

/// Where the coil models that are about as good differ by less than this in fs, Re and both Qs, nobody need do anything about it: their spread is
/// in the uncertainties, and a set-up moves fs by as much and the Qs by more (common practice, no source).
const HARMLESS: f64 = 0.01;

/// The fit's findings, of which [`Code::CoilUnsure`] is a note where it moves no parameter by more than is negligible.
pub fn fit_findings(fit: &Fit) -> Vec<Finding> {
    let differences = spread(fit);
    let moves = |i: usize| {
        let squares = differences.iter().map(|core| core[i] * core[i]);
        squares.sum::<f64>().sqrt()
    };
    // With one model only there is nothing to tell its doubt by.
    let harmless = !differences.is_empty()
        && [LN_FS, LN_RE, LN_QMS, LN_QES]
            .into_iter()
            .all(|i| moves(i) < HARMLESS);
    let weighed = |finding: &Finding| {
        let mut finding = finding.clone();
        if harmless && finding.code == Code::CoilUnsure {
            finding.severity = Severity::Note;
        }
        finding
    };
    fit.findings.iter().map(weighed).collect()
}
