//! What everybody who shows a sheet needs: half-widths, and findings that say the same of several takes.

use super::{Finding, ParameterEntry};
use crate::quantity::COVERAGE_95;

impl ParameterEntry {
    /// Half the width of the 95 % interval within these takes, in the parameter's unit.
    pub fn half_width_takes(&self) -> Option<f64> {
        let half = |[low, high]: [f64; 2]| 0.5 * (high - low);
        let normal = |u: f64| COVERAGE_95 * u;
        self.interval_95
            .map(half)
            .or(self.standard_uncertainty.map(normal))
    }

    /// Half the width of the 95 % interval from one set-up to the next, in the parameter's unit.
    pub fn half_width_setup(&self) -> Option<f64> {
        self.setup_uncertainty.map(|u| COVERAGE_95 * u)
    }
}

/// Findings that say the same of several takes stand once, with those takes; the order stays.
pub fn grouped_findings(findings: &[Finding]) -> Vec<(Vec<&str>, &Finding)> {
    let mut groups: Vec<(Vec<&str>, &Finding)> = vec![];
    for finding in findings {
        let same = |other: &Finding| {
            other.take.is_some()
                && (&other.severity, &other.message, &other.advice)
                    == (&finding.severity, &finding.message, &finding.advice)
        };
        match (
            finding.take.as_deref(),
            groups.iter_mut().find(|group| same(group.1)),
        ) {
            (Some(take), Some((takes, _))) => takes.push(take),
            (take, _) => groups.push((take.into_iter().collect(), finding)),
        }
    }
    groups
}
