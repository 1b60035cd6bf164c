//! Whether a result can be a driver at all.

use super::{Key, SmallSignal};
use crate::finding::{Code, Finding, Severity};

/// Ranges outside which something else was measured, or measured wrongly. Typical drivers stay well inside (common
/// practice, no source); these are limits of belief, not of type.
const BELIEVED: [(Key, f64, f64); 3] = [
    (Key::Qms, 0.5, 25.0),
    (Key::Qes, 0.1, 10.0),
    (Key::Re, 0.3, 1000.0),
];

/// Findings for values that no driver has.
pub fn plausibility_findings(result: &SmallSignal) -> Vec<Finding> {
    BELIEVED
        .iter()
        .filter_map(|&(key, low, high)| {
            let value = result.get(key)?.value;
            let limit = if value < low { low } else { high };
            (!(low..=high).contains(&value)).then(|| {
                Finding::new(
                    Code::Implausible,
                    Severity::Caution,
                    format!("{} of {value:.3} is outside what drivers have", key.as_str()),
                    "check the wiring, the sense resistor's value and that only the driver is connected",
                )
                .with_evidence(value, key.unit(), Some(limit))
            })
        })
        .collect()
}
