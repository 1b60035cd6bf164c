//! Suspension creep as a chain of springs, each but the first with a damper across it.

use std::f64::consts::{LN_10, TAU};

use num_complex::Complex64;

use super::coil_ladder::{LADDER_BAND_HZ, MARGIN, corners, worst_error};
use super::{Load, MotionalBranch};

/// How far above the reference frequency the chain goes, as a factor, where λ allows: there the mass holds back a million
/// times what the suspension does.
const REACH: f64 = 1000.0;
/// The least share of Cms that stays for the spring without a damper. Any that is above zero makes the chain passive; it
/// is reached only from λ = 0.3, and what it costs is in `worst_error`.
const LEAST_INSTANT_SHARE: f64 = 0.02;

/// A spring with a damper across it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CreepSection {
    /// Compliance of the spring, m/N.
    pub compliance_m_per_n: f64,
    /// Resistance of the damper, kg/s.
    pub resistance_kg_per_s: f64,
}

/// A creeping suspension as springs and dampers, all of them positive, one behind the other: (C38) to (C40).
#[derive(Clone, Debug, PartialEq)]
pub struct CreepLadder {
    /// Compliance of the spring that gives way at once, m/N.
    pub instant_m_per_n: f64,
    /// What follows slowly, the slowest first.
    pub sections: Vec<CreepSection>,
    /// Largest relative error of the driver's mechanical impedance in [`LADDER_BAND_HZ`].
    pub worst_error: f64,
}

impl CreepLadder {
    /// The ladder of a motional branch with `values` in the order of [`MotionalBranch`] in free air with creep; `None` for
    /// values that make no ladder of finite elements.
    pub fn new(reference_hz: f64, values: &[f64]) -> Option<Self> {
        let &[_, mms_kg, cms_m_per_n, rms_kg_per_s, creep] = values else {
            return None;
        };
        let (instant_share, shares) = shares(reference_hz, creep)?;
        let mut ladder = Self {
            instant_m_per_n: cms_m_per_n * instant_share,
            sections: shares
                .iter()
                .map(|&(share, corner)| {
                    let compliance_m_per_n = cms_m_per_n * share;
                    CreepSection {
                        compliance_m_per_n,
                        resistance_kg_per_s: 1.0 / (compliance_m_per_n * corner),
                    }
                })
                .collect(),
            worst_error: 0.0,
        };
        let branch = MotionalBranch::new(Some(reference_hz), Load::Free);
        let mechanical = |f_hz: f64| {
            let s = Complex64::new(0.0, TAU * f_hz);
            s * mms_kg + rms_kg_per_s + (s * ladder.compliance_m_per_n(f_hz)).inv()
        };
        ladder.worst_error =
            worst_error(mechanical, |f_hz| branch.mechanical_impedance(f_hz, values))?;
        let positive = |value: f64| value > 0.0 && value.is_finite();
        let all = positive(ladder.instant_m_per_n)
            && ladder.sections.iter().all(|section| {
                positive(section.compliance_m_per_n) && positive(section.resistance_kg_per_s)
            });
        all.then_some(ladder)
    }

    /// Compliance of the chain at a frequency, m/N.
    pub fn compliance_m_per_n(&self, frequency_hz: f64) -> Complex64 {
        let s = Complex64::new(0.0, TAU * frequency_hz);
        let slow: Complex64 = self
            .sections
            .iter()
            .map(|section| {
                (1.0 / section.compliance_m_per_n + s * section.resistance_kg_per_s).inv()
            })
            .sum();
        slow + self.instant_m_per_n
    }
}

/// The instant spring's share of Cms, and the others' with their corners in rad/s.
fn shares(reference_hz: f64, creep: f64) -> Option<(f64, Vec<(f64, f64)>)> {
    let reference = TAU * reference_hz;
    let lowest = if reference_hz < LADDER_BAND_HZ.0 {
        reference
    } else {
        TAU * LADDER_BAND_HZ.0
    };
    let low = lowest * (-MARGIN).exp();
    let (all, step) = corners(low, reference * REACH);
    let share = creep / LN_10 * step;
    // Everything below the chain's low end as one section with the same first two terms of its series, (C40).
    let below = |p: f64| low.powf(p) / (step * p).exp_m1();
    let corner = below(2.0) / below(1.0);
    let mut found = vec![(share * below(1.0) / corner, corner)];
    let instant = |sections: &[(f64, f64)]| {
        let at_reference: f64 = sections.iter().map(|(c, x)| c * x / (reference + x)).sum();
        1.0 - at_reference
    };
    for x in all {
        let left = instant(&found) - LEAST_INSTANT_SHARE;
        let taken = share * x / (reference + x);
        if taken > left {
            // What is left goes to a last section that is shorter, so that λ moves the ladder smoothly.
            if left > 0.0 {
                found.push((share * left / taken, x));
            }
            break;
        }
        found.push((share, x));
    }
    let instant_share = instant(&found);
    (instant_share > 0.0).then_some((instant_share, found))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ladder(reference_hz: f64, creep: f64) -> CreepLadder {
        // Mass and resistance that give this resonance and a Qms of 5.
        let mms_kg = 0.02;
        let omega = TAU * reference_hz;
        let values = [
            5.0,
            mms_kg,
            1.0 / (omega * omega * mms_kg),
            omega * mms_kg / 5.0,
            creep,
        ];
        CreepLadder::new(reference_hz, &values).unwrap()
    }

    /// Method: (C39) at the chosen step; up to λ = 0.3 nothing else counts.
    const USUAL: f64 = 5e-4;
    /// Promised up to λ = 0.5, far more than suspensions show.
    const STRONG: f64 = 0.01;
    /// The largest error of all, for λ near 1.
    const EXTREME: f64 = 0.08;

    #[test]
    fn creep_of_every_size() {
        for reference_hz in [3.0, 20.0, 90.0, 1200.0] {
            for (creeps, limit) in [
                ([1e-6, 0.02, 0.1, 0.2, 0.3], USUAL),
                ([0.33, 0.36, 0.4, 0.45, 0.5], STRONG),
                ([0.6, 0.7, 0.8, 0.9, 0.999], EXTREME),
            ] {
                for creep in creeps {
                    let error = ladder(reference_hz, creep).worst_error;
                    assert!(error < limit, "{reference_hz} Hz, {creep}: {error}");
                }
            }
        }
    }

    /// The check can fail: without the slow springs the suspension is far off.
    #[test]
    fn the_slow_springs_are_needed() {
        let whole = ladder(50.0, 0.1);
        let mut stiff = whole.clone();
        stiff.sections.truncate(3);
        let (a, b) = (
            whole.compliance_m_per_n(50.0),
            stiff.compliance_m_per_n(50.0),
        );
        assert!((a / b - 1.0).norm() > 0.1);
        assert!(
            whole
                .sections
                .iter()
                .all(|s| s.compliance_m_per_n > 0.0 && s.resistance_kg_per_s > 0.0)
        );
        assert!(whole.instant_m_per_n > 0.0);
    }
}
