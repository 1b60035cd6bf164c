//! The few numbers of one fitted circuit, with the scatter of the fit alone: for whoever judges a take before the whole
//! analysis is due.

use super::core::{LN_FS, LN_QES, LN_QMS, LN_RE, core_of};
use crate::fit::Candidate;
use crate::quantity::Estimate;

/// What one circuit says about a driver in free air. The uncertainties hold noise and misfit of this circuit, and nothing
/// of what was typed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Readout {
    /// Resonance, Hz.
    pub fs_hz: Estimate,
    /// DC resistance, ohm.
    pub re_ohm: Estimate,
    /// Mechanical Q.
    pub qms: Estimate,
    /// Electrical Q.
    pub qes: Estimate,
    /// Total Q.
    pub qts: Estimate,
}

/// Reads a candidate off: (P1) to (P3); Qts = Qms·Qes/(Qms + Qes).
pub fn readout(candidate: &Candidate) -> Readout {
    let core = core_of(candidate);
    let derived = candidate.derive(|circuit, values| {
        let core = core(circuit, values);
        let ln_qts = -((-core[LN_QMS]).exp() + (-core[LN_QES]).exp()).ln();
        vec![core[LN_FS], core[LN_RE], core[LN_QMS], core[LN_QES], ln_qts]
    });
    // A logarithm's standard uncertainty is the value's relative one.
    let estimate = |i: usize| {
        let value = derived.values[i].exp();
        Estimate {
            value,
            standard_uncertainty: Some(value * derived.covariance.get(i, i).sqrt()),
        }
    };
    Readout {
        fs_hz: estimate(0),
        re_ohm: estimate(1),
        qms: estimate(2),
        qes: estimate(3),
        qts: estimate(4),
    }
}
