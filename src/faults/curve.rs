//! What an impedance curve shows before a circuit is fitted to it.

use crate::finding::{Code, Finding, Severity};
use crate::impedance::ImpedanceCurve;

/// No driver's impedance is above this in the middle of the curve; an open pair of leads is (common practice, no
/// source: headphone drivers reach 600 ohm).
const OPEN_OHM: f64 = 2000.0;

/// Findings about one driver curve.
pub fn curve_findings(name: &str, curve: &ImpedanceCurve) -> Vec<Finding> {
    let mut magnitudes: Vec<f64> = curve.z_ohm().iter().map(|z| z.norm()).collect();
    let middle = magnitudes.len() / 2;
    let (_, median, _) = magnitudes.select_nth_unstable_by(middle, f64::total_cmp);
    if *median < OPEN_OHM {
        return vec![];
    }
    vec![
        Finding::new(
            Code::DriverOpen,
            Severity::Redo,
            format!("the impedance is about {median:.0} ohm: no driver is connected"),
            "check both clips at the driver's terminals, then record again",
        )
        .with_evidence(*median, "Ohm", Some(OPEN_OHM))
        .about(name),
    ]
}
