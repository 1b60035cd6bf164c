//! Whether noise hides the ratio of the channels.

use super::statistics::median;
use crate::finding::{Code, Finding, Severity};
use crate::signal::ChannelRatio;

/// Relative standard uncertainty of the median point of the ratio above which the take can be used with care: a point of the
/// impedance then scatters by some 3 %, and the parameters by about a third of that.
const NOISY: f64 = 0.03;
/// Above this a new take is quicker than doubt; points beyond 0.3 are left out altogether.
const DROWNED: f64 = 0.12;

/// The finding about a take's ratio, if it is noisy.
pub fn noise_finding(name: &str, ratio: &ChannelRatio) -> Option<Finding> {
    let mut relative: Vec<f64> = ratio
        .h
        .iter()
        .zip(&ratio.covariance)
        .map(|(h, covariance)| (0.5 * covariance.trace()).sqrt() / h.norm())
        .filter(|relative| relative.is_finite())
        .collect();
    let typical = median(&mut relative)?;
    let (severity, limit) = if typical > DROWNED {
        (Severity::Redo, DROWNED)
    } else {
        (Severity::Caution, NOISY)
    };
    (typical > limit).then(|| {
        Finding::new(
            Code::Noisy,
            severity,
            format!(
                "the noise is large against the signal: single points of the impedance are known to {:.0} % only",
                100.0 * typical
            ),
            "play a little louder or longer, turn the inputs up, and move the leads away from power supplies and fans",
        )
        .with_evidence(typical, "1", Some(limit))
        .about(name)
    })
}
