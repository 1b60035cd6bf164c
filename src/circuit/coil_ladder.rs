//! Coils that no lumped element is, as a chain of resistors with an inductor across each.

use std::f64::consts::{PI, TAU};

use num_complex::Complex64;

use super::{CoilFamily, PowerLawCoil, SemiInductorCoil};

/// The band in which a ladder stands for what it replaces, Hz.
pub const LADDER_BAND_HZ: (f64, f64) = (10.0, 20_000.0);

/// Steps between neighbouring corner frequencies, as a logarithm: the rule's error is some e^(−π²/step), 5e-5 (C36).
pub(super) const LONGEST_STEP: f64 = 1.0;
/// How far the chain goes beyond the band at either end, as a logarithm, before the rest becomes one section: with it the
/// ends cost as little as the step (`worst_error` says how little).
pub(super) const MARGIN: f64 = 2.0;
/// Points per octave at which the worst error is looked for: several between neighbouring corners.
const CHECKS_PER_OCTAVE: f64 = 48.0;

/// A resistor with an inductor across it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RlSection {
    /// Resistor, ohm.
    pub r_ohm: f64,
    /// Inductor, H.
    pub l_h: f64,
}

/// What stands beside the chain of a semi-inductor coil.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BesideLadder {
    /// L_E, H.
    pub le_parallel_h: f64,
    /// R_SS, ohm.
    pub rss_ohm: f64,
}

/// A coil as a network of resistors and inductors, all of them positive: (C34) to (C37).
///
/// An inductor `series_h` in series with a chain of sections, which may have an inductor and a resistor beside it.
#[derive(Clone, Debug, PartialEq)]
pub struct CoilLadder {
    /// Inductor in series, H; `None` if there is none.
    pub series_h: Option<f64>,
    /// The chain, by rising corner frequency.
    pub sections: Vec<RlSection>,
    /// What lies across the whole chain; `None` for a power law.
    pub beside: Option<BesideLadder>,
    /// Largest relative error of the coil's impedance in [`LADDER_BAND_HZ`].
    pub worst_error: f64,
}

impl CoilLadder {
    /// The ladder of a coil with `values` in the order of [`CoilFamily::coil`]; `None` for a family that is made of lumped
    /// elements anyway, and for values that make no ladder of finite elements.
    pub fn new(family: CoilFamily, values: &[f64]) -> Option<Self> {
        let (series_h, sections, beside) = match (family, values) {
            (CoilFamily::PowerLaw, &[coil_1khz_ohm, coil_exponent]) => {
                let k = PowerLawCoil::k(coil_1khz_ohm, coil_exponent);
                (None, chain(k, coil_exponent), None)
            }
            (CoilFamily::SemiInductor, &[leb_h, le_parallel_h, ke_1khz_ohm, rss_ohm]) => {
                let beside = BesideLadder {
                    le_parallel_h,
                    rss_ohm,
                };
                let chain = chain(SemiInductorCoil::ke(ke_1khz_ohm), 0.5);
                (Some(leb_h), chain, Some(beside))
            }
            _ => return None,
        };
        let mut ladder = Self {
            series_h,
            sections,
            beside,
            worst_error: 0.0,
        };
        let coil = family.coil();
        ladder.worst_error =
            worst_error(|f| ladder.impedance_ohm(f), |f| coil.impedance(f, values))?;
        let positive = |value: f64| value > 0.0 && value.is_finite();
        let all = ladder
            .sections
            .iter()
            .all(|section| positive(section.r_ohm) && positive(section.l_h));
        all.then_some(ladder)
    }

    /// Impedance of the ladder at a frequency, ohm.
    pub fn impedance_ohm(&self, frequency_hz: f64) -> Complex64 {
        let s = Complex64::new(0.0, TAU * frequency_hz);
        let chain: Complex64 = self
            .sections
            .iter()
            .map(|section| (1.0 / section.r_ohm + 1.0 / (s * section.l_h)).inv())
            .sum();
        let inner = match self.beside {
            None => chain,
            Some(beside) => {
                (chain.inv() + 1.0 / (s * beside.le_parallel_h) + 1.0 / beside.rss_ohm).inv()
            }
        };
        inner + s * self.series_h.unwrap_or(0.0)
    }
}

/// Corners in rad/s, a constant ratio apart, from one end to the other; and the logarithm of the ratio.
pub(super) fn corners(low: f64, high: f64) -> (Vec<f64>, f64) {
    let span = (high / low).ln();
    let n_steps = (span / LONGEST_STEP).ceil();
    let step = span / n_steps;
    let corners = (0..=n_steps as usize)
        .map(|k| low * (step * k as f64).exp())
        .collect();
    (corners, step)
}

/// K·s^n as a chain: (C34) by the rule (C35), its ends by (C37).
fn chain(k: f64, n: f64) -> Vec<RlSection> {
    let low = TAU * LADDER_BAND_HZ.0 * (-MARGIN).exp();
    let high = TAU * LADDER_BAND_HZ.1 * MARGIN.exp();
    let (corners, step) = corners(low, high);
    let weight = k * (n * PI).sin() / PI * step;
    // Sums over all corners beyond an end, each a geometric series: of corner^p, without the end itself.
    let below = |p: f64| low.powf(p) / (step * p).exp_m1();
    let above = |p: f64| high.powf(-p) / (step * p).exp_m1();

    let first = section(weight * below(n), below(n + 1.0) / below(n));
    let last_corner = above(1.0 - n) / above(2.0 - n);
    let last = section(weight * above(1.0 - n) * last_corner, last_corner);
    std::iter::once(first)
        .chain(corners.iter().map(|&x| section(weight * x.powf(n), x)))
        .chain([last])
        .collect()
}

fn section(r_ohm: f64, corner: f64) -> RlSection {
    RlSection {
        r_ohm,
        l_h: r_ohm / corner,
    }
}

/// The largest relative difference in the band; `None` if it is not finite.
pub(super) fn worst_error(
    approximate: impl Fn(f64) -> Complex64,
    exact: impl Fn(f64) -> Complex64,
) -> Option<f64> {
    let (low_hz, high_hz) = LADDER_BAND_HZ;
    let octaves = (high_hz / low_hz).log2();
    let n = (octaves * CHECKS_PER_OCTAVE).ceil() as usize;
    let mut worst = 0.0;
    for i in 0..=n {
        let f_hz = low_hz * (octaves * i as f64 / n as f64).exp2();
        let exact = exact(f_hz);
        let error = (approximate(f_hz) - exact).norm() / exact.norm();
        if !error.is_finite() {
            return None;
        }
        if error > worst {
            worst = error;
        }
    }
    Some(worst)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::circuit::Circuit;

    /// Method: what (C36) and (C37) leave at the chosen step and margin; 2.3e-4 was the worst of a scan over n.
    const LADDER: f64 = 3e-4;

    #[test]
    fn power_laws_of_every_exponent() {
        for i in 1..=99 {
            let values = [3.7, f64::from(i) / 100.0];
            let ladder = CoilLadder::new(CoilFamily::PowerLaw, &values).unwrap();
            assert!(
                ladder.worst_error < LADDER,
                "{values:?}: {}",
                ladder.worst_error
            );
            assert!(ladder.sections.len() < 18, "{}", ladder.sections.len());
            // What is stated holds between the points that were looked at, too.
            for f_hz in [10.0, 33.3, 997.0, 19_999.0] {
                let exact = PowerLawCoil.impedance(f_hz, &values);
                let error = (ladder.impedance_ohm(f_hz) / exact - 1.0).norm();
                assert!(
                    error < 1.05 * ladder.worst_error,
                    "{values:?}, {f_hz} Hz: {error}"
                );
            }
        }
    }

    #[test]
    fn semi_inductors() {
        for leb_h in [1e-6, 1e-3] {
            for le_parallel_h in [1e-5, 1e-3, 1.0] {
                for ke_1khz_ohm in [0.1, 5.0, 100.0] {
                    for rss_ohm in [1.0, 1e4] {
                        let values = [leb_h, le_parallel_h, ke_1khz_ohm, rss_ohm];
                        let ladder = CoilLadder::new(CoilFamily::SemiInductor, &values).unwrap();
                        assert!(
                            ladder.worst_error < LADDER,
                            "{values:?}: {}",
                            ladder.worst_error
                        );
                    }
                }
            }
        }
    }

    /// The check can fail: a chain without one of its sections is far off.
    #[test]
    fn every_section_is_needed() {
        let values = [3.7, 0.6];
        let whole = CoilLadder::new(CoilFamily::PowerLaw, &values).unwrap();
        for i in 3..whole.sections.len() - 3 {
            let mut ladder = whole.clone();
            ladder.sections.remove(i);
            let error = worst_error(
                |f| ladder.impedance_ohm(f),
                |f| PowerLawCoil.impedance(f, &values),
            );
            assert!(error.unwrap() > 0.01, "section {i}: {error:?}");
        }
    }

    #[test]
    fn passive_and_a_short_at_dc() {
        let ladder = CoilLadder::new(CoilFamily::PowerLaw, &[3.7, 0.6]).unwrap();
        assert!(ladder.sections.iter().all(|s| s.r_ohm > 0.0 && s.l_h > 0.0));
        assert!(ladder.impedance_ohm(1e-6).norm() < 1e-3);
    }

    #[test]
    fn lumped_coils_and_impossible_values_have_none() {
        assert_eq!(CoilLadder::new(CoilFamily::Plain, &[1e-3]), None);
        assert_eq!(CoilLadder::new(CoilFamily::Lr2, &[1e-3, 1e-3, 1.0]), None);
        for values in [[f64::NAN, 0.5], [3.0, 1.0], [0.0, 0.5], [1e308, 0.5]] {
            assert_eq!(
                CoilLadder::new(CoilFamily::PowerLaw, &values),
                None,
                "{values:?}"
            );
        }
    }
}
