//! AC couplings of the two inputs that differ, seen on a driver's curve alone.
//!
//! Corners of f1 and f2 multiply the ratio by (f − jf1)/(f − jf2), near 1 − j(f1 − f2)/f: an imaginary part that grows as 1/f
//! towards low frequencies, (J9). A driver's own is odd in x = f/fs: x/(1 − x²) of the motional branch, its cube of the losses, x of the coil.

use super::shape::Shape;
use super::statistics::median;
use crate::finding::{Code, Finding, Severity};
use crate::impedance::ImpedanceCurve;

/// Looked at below this share of the resonance: above, losses take more terms.
const BELOW: f64 = 0.5;
/// Fewest points for four terms.
const FEWEST: usize = 8;
/// Terms of the fit, that of the corners first.
const TERMS: usize = 4;
/// Part of |Z| at the lowest frequency that is called. Creep, and coils that are no plain inductances, leave up to 0.026 in the three
/// other terms (computed for Qms 1.5 to 15, Qes 0.25 to 2, creep of up to 0.1 per decade, stimuli from a twentieth to a third of the
/// resonance). Below it Re and Qms move by some percent at the most.
const PART: f64 = 0.04;
/// From this part on no result is worth having: corners of 3 and 4 Hz turn 20 % at 5 Hz, and move Re by as much.
const RUINOUS: f64 = 0.12;
/// Points that are this many times more uncertain than the median one are what a fade leaves.
const KNOWN: f64 = 10.0;
/// Standard uncertainties that it must exceed: one false alarm in a million.
const COVERAGE: f64 = 5.0;

/// Looks for it on a curve whose inputs nothing has calibrated.
pub fn corners_on_curve(name: &str, curve: &ImpedanceCurve) -> Option<Finding> {
    let (part, doubt) = corner_term(curve)?;
    // What a fade leaves below is no reason to call.
    let (lowest_hz, first_hz) = (curve.frequency_hz()[0], first_known_hz(curve));
    let (part, doubt) = (part * lowest_hz / first_hz, doubt * lowest_hz / first_hz);
    let limit = if PART > COVERAGE * doubt {
        PART
    } else {
        COVERAGE * doubt
    };
    (part.abs() > limit).then(|| {
        Finding::new(
            Code::CornersDiffer,
            if part.abs() > RUINOUS { Severity::Redo } else { Severity::Caution },
            format!(
                "below the resonance the curve turns in a way that no driver does, as if the two inputs cut off low frequencies \
                 differently: by {:.0} % of the impedance at {:.0} Hz",
                100.0 * part.abs(),
                first_hz
            ),
            "record a take with both inputs on one node (--same-node): it takes the difference out",
        )
        .with_evidence(part.abs(), "1", Some(limit))
        .about(name)
    })
}

/// The lowest frequency, Hz, that is known about as well as the others.
fn first_known_hz(curve: &ImpedanceCurve) -> f64 {
    let f_hz = curve.frequency_hz();
    let Some(covariance) = curve.covariance() else {
        return f_hz[0];
    };
    let points = covariance.iter().zip(curve.z_ohm());
    let relative: Vec<f64> = points.map(|(c, z)| c.trace() / z.norm_sqr()).collect();
    let typical = median(&mut relative.clone()).unwrap_or(f64::INFINITY);
    let known = relative.iter().position(|v| *v < KNOWN * KNOWN * typical);
    f_hz[known.unwrap_or(0)]
}

/// Im(Z)/|Z| at the lowest frequency that grows as 1/f, and its standard uncertainty.
pub(super) fn corner_term(curve: &ImpedanceCurve) -> Option<(f64, f64)> {
    let f_hz = curve.frequency_hz();
    let peak = Shape::of(curve).peak()?;
    let n = f_hz.partition_point(|f| *f < BELOW * f_hz[peak.at]);
    if n < FEWEST {
        return None;
    }
    let mut z: Vec<f64> = curve.z_ohm()[..n].iter().map(|z| z.norm()).collect();
    let (_, level, _) = z.select_nth_unstable_by(n / 2, f64::total_cmp);
    let level = *level;
    let mut normal = [[0.0; TERMS]; TERMS];
    let mut right = [0.0; TERMS];
    let mut rows = vec![];
    for i in 0..n {
        let x = f_hz[i] / f_hz[peak.at];
        let motional = x / (1.0 - x * x);
        let row = [f_hz[0] / f_hz[i], motional, motional.powi(3), x];
        let variance = curve.covariance().map_or(1.0, |list| list[i].im_im);
        let weight = level * level / variance;
        if !weight.is_finite() {
            return None;
        }
        let y = curve.z_ohm()[i].im / level;
        for (j, by) in row.iter().enumerate() {
            for (cell, other) in normal[j].iter_mut().zip(&row) {
                *cell += by * other * weight;
            }
            right[j] += by * y * weight;
        }
        rows.push((row, y, weight));
    }
    let solution = solved(normal, right)?;
    let variance = solved(normal, [1.0, 0.0, 0.0, 0.0])?[0];
    // What the terms leave, of noise and of shape, is doubt as well.
    let chi2: f64 = rows
        .iter()
        .map(|(row, y, weight)| {
            weight * {
                let fitted: f64 = row.iter().zip(&solution).map(|(a, b)| a * b).sum();
                (y - fitted).powi(2)
            }
        })
        .sum();
    let scale = chi2 / (n - TERMS) as f64;
    let scale = if scale > 1.0 { scale } else { 1.0 };
    Some((solution[0], (scale * variance).sqrt()))
}

/// Solves the normal equations by elimination; `None` where they are singular.
fn solved(mut a: [[f64; TERMS]; TERMS], mut b: [f64; TERMS]) -> Option<[f64; TERMS]> {
    for i in 0..TERMS {
        // Positive definite, so that the diagonal needs no pivoting.
        if !(a[i][i] > 0.0 && a[i][i].is_finite()) {
            return None;
        }
        for j in 0..TERMS {
            if j == i {
                continue;
            }
            let factor = a[j][i] / a[i][i];
            let row = a[i];
            for (cell, above) in a[j].iter_mut().zip(&row) {
                *cell -= factor * above;
            }
            b[j] -= factor * b[i];
        }
    }
    for i in 0..TERMS {
        b[i] /= a[i][i];
    }
    Some(b)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::{Covariance2, FrequencyGrid};
    use num_complex::Complex64;

    /// A woofer of 50 Hz without creep from 5 Hz on, beside inputs whose corners differ by so many hertz.
    fn curve(corner_hz: f64) -> ImpedanceCurve {
        let f_hz: Vec<f64> = (0..400)
            .map(|i| 5.0 * 2.0_f64.powf(f64::from(i) / 48.0))
            .collect();
        let z = |f: &f64| {
            let x = f / 50.0;
            let z = 6.0
                + 30.0 / Complex64::new(1.0, 4.0 * (x - 1.0 / x))
                + Complex64::new(0.0, 6e-3 * f);
            z * Complex64::new(1.0, -corner_hz / f)
        };
        let z_ohm = f_hz.iter().map(z).collect();
        let covariance = vec![Covariance2::circular(1e-6); f_hz.len()];
        ImpedanceCurve::new(FrequencyGrid::new(f_hz).unwrap(), z_ohm, Some(covariance)).unwrap()
    }

    #[test]
    fn corners_are_told_from_a_driver() {
        assert_eq!(corners_on_curve("clean", &curve(0.0)), None);
        let mild = corners_on_curve("mild", &curve(0.4)).unwrap();
        assert_eq!(mild.severity, Severity::Caution);
        let evidence = mild.evidence.unwrap();
        // Method: what the other terms leave.
        assert!((evidence.value - 0.08).abs() < 0.02, "{evidence:?}");
        let gross = corners_on_curve("gross", &curve(1.0)).unwrap();
        assert_eq!(gross.severity, Severity::Redo);
    }
}
