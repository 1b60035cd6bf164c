//! A narrow loop beside the driver's own, found in what the fit leaves over.
//!
//! What rides on the cone or rings with the frame leaves a resonance of its own in the curve, and a resonance of quality Q has one
//! shape, whatever its size and phase: (F7). It is fitted beside a straight line, which is what a coil model that does not quite
//! fit leaves over so short a stretch.

use num_complex::Complex64;

use super::candidate::Candidate;
use super::observation::Observation;

/// Quality factors that are tried: below, what is left over is a matter of the models; above, the loop is hardly wider than a
/// band.
const QUALITIES: [f64; 4] = [8.0, 16.0, 32.0, 64.0];
/// Half of the stretch that a loop is judged in, in widths of the loop.
const HALF_STRETCH: f64 = 2.5;
/// Points that the stretch needs: the shape and a straight line take six numbers of the two a point.
const FEWEST: usize = 11;
/// Points at the loop's top that may be missing without its falling below the limit: hum moves so many, a loop more.
const SPIKE: usize = 3;
/// By how much a loop must lower the misfit, in variances of the noise or of what is left beside it: a thousand places with four
/// quality factors, two numbers each, reach 26 by chance once in some 100 curves (χ² with two degrees of freedom).
const SEEN: f64 = 40.0;
/// A loop smaller than this part of the impedance moves nothing that anybody could measure again (common practice, no source).
const LEAST_PART: f64 = 2e-3;
/// Around the driver's own resonance, as a ratio of frequencies, what is left over is a matter of its suspension …
const OWN: f64 = 1.4;
/// … and above this only the coil matters, and no parameter hangs on it, Hz.
const HIGHEST_HZ: f64 = 5_000.0;

/// A narrow loop.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ExtraLoop {
    /// Where it is, Hz.
    pub frequency_hz: f64,
    /// About how narrow: one of a few quality factors.
    pub q: f64,
    /// Its diameter over the impedance there.
    pub part: f64,
}

impl ExtraLoop {
    /// The curve's stretch that it spoils, Hz.
    pub fn stretch_hz(&self) -> (f64, f64) {
        let half = 1.0 + HALF_STRETCH / self.q;
        (self.frequency_hz / half, self.frequency_hz * half)
    }
}

/// The plainest narrow loop of one observation beside the resonance at `fs_hz`; `None` if there is none. Curves without stated
/// uncertainty are not judged.
pub fn extra_loop(
    candidate: &Candidate,
    i: usize,
    observation: &Observation,
    fs_hz: f64,
) -> Option<ExtraLoop> {
    let curve = &observation.curve;
    let covariance = curve.covariance()?;
    // Measured less model.
    let left: Vec<Complex64> = candidate.errors_ohm(i).iter().map(|e| -e).collect();
    let weights: Vec<f64> = covariance.iter().map(|c| 2.0 / c.trace()).collect();
    let mut best: Option<(f64, ExtraLoop)> = None;
    for (at, &f0_hz) in curve.frequency_hz().iter().enumerate() {
        if f0_hz > HIGHEST_HZ || (1.0 / OWN..OWN).contains(&(f0_hz / fs_hz)) {
            continue;
        }
        for q in QUALITIES {
            let Some((seen, amplitude)) = fitted(curve.frequency_hz(), &left, &weights, at, q)
            else {
                continue;
            };
            let part = amplitude.norm() / curve.z_ohm()[at].norm();
            if seen > SEEN && part > LEAST_PART && best.is_none_or(|(most, _)| seen > most) {
                let found = ExtraLoop {
                    frequency_hz: f0_hz,
                    q,
                    part,
                };
                best = Some((seen, found));
            }
        }
    }
    best.map(|(_, found)| found)
}

/// By how much the loop lowers the misfit, and its amplitude, ohm.
fn fitted(
    f_hz: &[f64],
    left: &[Complex64],
    weights: &[f64],
    at: usize,
    q: f64,
) -> Option<(f64, Complex64)> {
    let f0_hz = f_hz[at];
    let half = 1.0 + HALF_STRETCH / q;
    let first = f_hz.partition_point(|&f| f < f0_hz / half);
    let last = f_hz.partition_point(|&f| f <= f0_hz * half);
    // A loop at the end of the curve is none that is seen.
    if first == 0 || last == f_hz.len() || last - first < FEWEST {
        return None;
    }
    let shape = |f: f64| Complex64::new(1.0, q * (f / f0_hz - f0_hz / f)).inv();
    let mut stretch = Stretch {
        f_hz: &f_hz[first..last],
        left: &left[first..last],
        weights: weights[first..last].to_vec(),
    };
    let (seen, amplitude) = stretch.judged(f0_hz, &shape)?;
    if seen < SEEN {
        return None;
    }
    // Without the points at the top it has to be there still.
    let top = at - first;
    let spared = top.saturating_sub(SPIKE / 2)..(top + SPIKE / 2 + 1).min(last - first);
    for weight in &mut stretch.weights[spared] {
        *weight = 0.0;
    }
    let (without, again) = stretch.judged(f0_hz, &shape)?;
    let alike = (again / amplitude - 1.0).norm() < 0.5;
    (alike && without > 0.5 * SEEN).then_some((seen, amplitude))
}

struct Stretch<'a> {
    f_hz: &'a [f64],
    left: &'a [Complex64],
    weights: Vec<f64>,
}

impl Stretch<'_> {
    fn product(&self, a: &[Complex64], b: &[Complex64]) -> Complex64 {
        let terms = a.iter().zip(b).zip(&self.weights);
        terms.map(|((a, b), w)| a.conj() * b * w).sum()
    }

    /// What is left of a vector beside others that are orthogonal to one another.
    fn beside(&self, vector: &[Complex64], others: &[&Vec<Complex64>]) -> Vec<Complex64> {
        let mut rest = vector.to_vec();
        for other in others {
            let size = self.product(other, other).re;
            if size > 0.0 {
                let along = self.product(other, &rest) / size;
                rest.iter_mut()
                    .zip(other.iter())
                    .for_each(|(r, o)| *r -= along * o);
            }
        }
        rest
    }

    fn judged(&self, f0_hz: f64, shape: &dyn Fn(f64) -> Complex64) -> Option<(f64, Complex64)> {
        let vector = |of: &dyn Fn(f64) -> Complex64| -> Vec<Complex64> {
            self.f_hz.iter().map(|&f| of(f)).collect()
        };
        let level = vector(&|_| Complex64::ONE);
        let slope = self.beside(&vector(&|f| Complex64::from(f / f0_hz - 1.0)), &[&level]);
        let shape = self.beside(&vector(shape), &[&level, &slope]);
        let left = self.beside(self.left, &[&level, &slope]);
        let size = self.product(&shape, &shape).re;
        let counted = self.weights.iter().filter(|w| **w > 0.0).count();
        if size.is_nan() || size <= 0.0 || counted < FEWEST - SPIKE {
            return None;
        }
        let amplitude = self.product(&shape, &left) / size;
        let before = self.product(&left, &left).re;
        let lowered = amplitude.norm_sqr() * size;
        // Two numbers a point, six of them fitted; where more than noise is left beside the loop, that is what it has to beat.
        let freedom = 2.0 * counted as f64 - 6.0;
        let beside = (before - lowered) / freedom;
        let unit = if beside > 1.0 { beside } else { 1.0 };
        Some((lowered / unit, amplitude))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn seen(left: &[Complex64], q: f64) -> Option<(f64, Complex64)> {
        let f_hz: Vec<f64> = (0..left.len()).map(|i| 200.0 + i as f64).collect();
        let at = f_hz.iter().position(|f| *f == 300.0)?;
        fitted(&f_hz, left, &vec![1.0; left.len()], at, q)
    }

    /// Without noise the amplitude comes back to rounding.
    #[test]
    fn a_loop_is_found_and_a_spike_or_a_bend_is_none() {
        let f = |i: usize| 200.0 + i as f64;
        let turned = Complex64::new(-7.0, 4.0);
        let a_loop = |i: usize| {
            turned / Complex64::new(1.0, 16.0 * (f(i) / 300.0 - 300.0 / f(i)))
                + Complex64::new(0.1 * f(i), -0.03 * f(i))
        };
        let (size, amplitude) = seen(&(0..200).map(a_loop).collect::<Vec<_>>(), 16.0).unwrap();
        assert!(
            size > SEEN && (amplitude - turned).norm() < 1e-9,
            "{amplitude}"
        );
        let spike = |i: usize| Complex64::from(if f(i) == 300.0 { 60.0 } else { 0.0 });
        assert_eq!(seen(&(0..200).map(spike).collect::<Vec<_>>(), 16.0), None);
        let bend = |i: usize| Complex64::from(30.0 * (f(i) / 300.0).powi(2));
        assert_eq!(seen(&(0..200).map(bend).collect::<Vec<_>>(), 16.0), None);
    }
}
