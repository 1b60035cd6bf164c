//! A first look at a curve: where it resonates, and how broadly. Start values come from it, results never do.
//!
//! Half-power method: Small, JAES 20(5), 1972, 383–395 (from memory, confirmed by computation): with r0 = |Z|max/Re and
//! |Z(f1)| = |Z(f2)| = √r0·Re, Qms = fs·√r0/(f2 − f1) and Qes = Qms/(r0 − 1). Exact only without a coil.

use num_complex::Complex64;

use crate::impedance::ImpedanceCurve;

/// A peak that rises less than this factor above its surroundings is no resonance of a driver: a Qms/Qes of 0.1 would
/// mean a driver so damped or so weak that nobody sells it (common practice, no source).
const LEAST_RISE: f64 = 1.1;

/// Re is looked for up to this multiple of the peak's frequency.
const NEAR: f64 = 10.0;

/// What a curve shows without any model.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Resonance {
    /// DC resistance, ohm.
    pub re_ohm: f64,
    /// Resonance, Hz.
    pub fs_hz: f64,
    /// Mechanical Q.
    pub qms: f64,
    /// Electrical Q.
    pub qes: f64,
    /// |Z|max / Re.
    pub r0: f64,
}

/// Looks for the most prominent peak of |Z|. `None` if there is none worth the name.
pub fn resonance(curve: &ImpedanceCurve) -> Option<Resonance> {
    let f = curve.frequency_hz();
    let magnitude = median_of_five(curve.z_ohm().iter().map(|z| z.norm()));
    let real = median_of_five(curve.z_ohm().iter().map(|z| z.re));
    let peak = most_prominent(&magnitude)?;
    // Far above the resonance only the coil is left, and what the inputs differ by can turn the real part negative there.
    let near = f.partition_point(|&f_hz| f_hz < NEAR * f[peak]);
    let re_ohm = real[..near].iter().copied().min_by(f64::total_cmp)?;
    let r0 = magnitude[peak] / re_ohm;
    if !(re_ohm > 0.0 && r0 > LEAST_RISE) {
        return None;
    }
    let level = r0.sqrt() * re_ohm;
    let above = (peak..f.len())
        .find(|&i| magnitude[i] < level)
        .map(|i| crossing(f, &magnitude, i - 1, level));
    let below = (0..peak)
        .rev()
        .find(|&i| magnitude[i] < level)
        .map(|i| crossing(f, &magnitude, i, level));
    let (f1, f2) = match (below, above) {
        (Some(f1), Some(f2)) => (f1, f2),
        (None, Some(f2)) => (f[peak] * f[peak] / f2, f2),
        (Some(f1), None) => (f1, f[peak] * f[peak] / f1),
        (None, None) => return None,
    };
    let fs_hz = (f1 * f2).sqrt();
    let qms = fs_hz * r0.sqrt() / (f2 - f1);
    (qms > 0.0 && qms.is_finite()).then_some(Resonance {
        re_ohm,
        fs_hz,
        qms,
        qes: qms / (r0 - 1.0),
        r0,
    })
}

/// What is left of Z at `i` after Re and the motional branch, ohm.
pub(super) fn coil_ohm(curve: &ImpedanceCurve, i: usize, seen: &Resonance) -> Complex64 {
    let x = curve.frequency_hz()[i] / seen.fs_hz;
    let res_ohm = seen.re_ohm * (seen.r0 - 1.0);
    let motional = res_ohm / Complex64::new(1.0, seen.qms * (x - 1.0 / x));
    curve.z_ohm()[i] - seen.re_ohm - motional
}

fn crossing(f: &[f64], magnitude: &[f64], i: usize, level: f64) -> f64 {
    let (m0, m1) = (magnitude[i], magnitude[i + 1]);
    if m0 == m1 {
        f[i]
    } else {
        f[i] + (f[i + 1] - f[i]) * (level - m0) / (m1 - m0)
    }
}

/// Index of the local maximum that stands highest above the higher of the lowest points on either side.
fn most_prominent(magnitude: &[f64]) -> Option<usize> {
    let n = magnitude.len();
    let lowest = |values: &mut dyn Iterator<Item = f64>| {
        let mut low = f64::INFINITY;
        values
            .map(|v| {
                if v < low {
                    low = v;
                }
                low
            })
            .collect::<Vec<f64>>()
    };
    let from_left = lowest(&mut magnitude.iter().copied());
    let mut from_right = lowest(&mut magnitude.iter().rev().copied());
    from_right.reverse();
    (1..n.saturating_sub(1))
        .filter(|&i| magnitude[i] >= magnitude[i - 1] && magnitude[i] >= magnitude[i + 1])
        .map(|i| {
            (
                i,
                magnitude[i]
                    / if from_left[i] > from_right[i] {
                        from_left[i]
                    } else {
                        from_right[i]
                    },
            )
        })
        .filter(|(_, rise)| *rise > LEAST_RISE)
        .max_by(|a, b| a.1.total_cmp(&b.1))
        .map(|(i, _)| i)
}

/// Running median of five, which a single wild point (hum, a rattle) cannot move.
fn median_of_five(values: impl Iterator<Item = f64>) -> Vec<f64> {
    let values: Vec<f64> = values.collect();
    (0..values.len())
        .map(|i| {
            let mut near = values[i.saturating_sub(2)..(i + 3).min(values.len())].to_vec();
            near.sort_by(f64::total_cmp);
            near[near.len() / 2]
        })
        .collect()
}
