//! A smooth ratio against frequency: what a calibration take says, without its noise.
//!
//! Two inputs of one converter differ by gain, coupling corners and a fraction of a sample: smooth functions of
//! frequency. A local parabola in ln f over a third of an octave keeps them and loses most of the noise, which would
//! otherwise sit in every take alike.

use std::ops::Range;

use num_complex::Complex64;

use crate::quantity::Covariance2;

/// Half the stretch that one parabola covers, in ln f: a sixth of an octave.
const HALF_WIDTH: f64 = std::f64::consts::LN_2 / 6.0;
/// Fewest points in a parabola.
const FEWEST: usize = 9;

/// A complex function of frequency with the covariance of its parts.
#[derive(Clone, Debug, PartialEq)]
pub struct SmoothRatio {
    ln_hz: Vec<f64>,
    value: Vec<Complex64>,
    covariance: Vec<Covariance2>,
}

impl SmoothRatio {
    /// Wraps points without smoothing yet. `None` without points, or if the lists differ in length.
    pub fn new(
        frequency_hz: &[f64],
        value: Vec<Complex64>,
        covariance: Vec<Covariance2>,
    ) -> Option<Self> {
        let n = frequency_hz.len();
        (n > 0 && value.len() == n && covariance.len() == n).then(|| Self {
            ln_hz: frequency_hz.iter().map(|f| f.ln()).collect(),
            value,
            covariance,
        })
    }

    /// The value at `frequency_hz` and its covariance. Beyond the ends the nearest end's value holds.
    pub fn at(&self, frequency_hz: f64) -> (Complex64, Covariance2) {
        let window = self.window(frequency_hz);
        self.parabola(&window)
            .unwrap_or_else(|| self.nearest(window.x))
    }

    /// How far sums over smoothed values follow each raw point: for q = Σ_i c_i·value(f_i), with one list of c for each q, the derivative
    /// of q by each raw point, (J8).
    ///
    /// A smoothed value is its raw points times a parabola. Sums of parabolas are parabolas, so that each stretch is entered where it
    /// begins and taken off where it ends, and nothing is summed twice.
    pub fn by_raw_point(
        &self,
        frequency_hz: &[f64],
        sums: &[Vec<Complex64>],
    ) -> Vec<Vec<Complex64>> {
        let n = self.ln_hz.len();
        let middle = 0.5 * (self.ln_hz[0] + self.ln_hz[n - 1]);
        let mut changes = vec![vec![[Complex64::default(); 3]; n + 1]; sums.len()];
        for (i, &f_hz) in frequency_hz.iter().enumerate() {
            let (stretch, parabola) = self.weights(f_hz, middle);
            for (changes, factors) in changes.iter_mut().zip(sums) {
                for (p, coefficient) in parabola.iter().enumerate() {
                    let amount = factors[i] * *coefficient;
                    changes[stretch.start][p] += amount;
                    changes[stretch.end][p] -= amount;
                }
            }
        }
        let followed = |changes: Vec<[Complex64; 3]>| {
            let mut sum = [Complex64::default(); 3];
            let points = changes.iter().zip(&self.ln_hz).zip(&self.covariance);
            let by = points.map(|((change, ln_hz), covariance)| {
                for (sum, change) in sum.iter_mut().zip(change) {
                    *sum += change;
                }
                let t = ln_hz - middle;
                let by = (sum[0] + sum[1] * t + sum[2] * (t * t)) / covariance.trace();
                // A point without any noise, such as the zeros of a silent channel, stands for itself, and has nothing to pass on.
                if by.is_finite() { by } else { Complex64::ZERO }
            });
            by.collect()
        };
        changes.into_iter().map(followed).collect()
    }

    /// Variance of either part of each raw point.
    pub fn raw_variances(&self) -> impl Iterator<Item = f64> + '_ {
        self.covariance.iter().map(|c| 0.5 * c.trace())
    }

    fn window(&self, frequency_hz: f64) -> Window {
        let (first, last) = (self.ln_hz[0], self.ln_hz[self.ln_hz.len() - 1]);
        let x = frequency_hz.ln().clamp(first, last);
        let mut low = self.ln_hz.partition_point(|&v| v < x - HALF_WIDTH);
        let mut high = self.ln_hz.partition_point(|&v| v <= x + HALF_WIDTH);
        while high - low < FEWEST && (low > 0 || high < self.ln_hz.len()) {
            low = low.saturating_sub(1);
            high = (high + 1).min(self.ln_hz.len());
        }
        Window { low, high, x }
    }

    fn nearest_point(&self, x: f64) -> usize {
        let above = self
            .ln_hz
            .partition_point(|&v| v < x)
            .min(self.ln_hz.len() - 1);
        let below = above.saturating_sub(1);
        let nearer_below = x - self.ln_hz[below] < self.ln_hz[above] - x;
        if nearer_below { below } else { above }
    }

    fn nearest(&self, x: f64) -> (Complex64, Covariance2) {
        let i = self.nearest_point(x);
        (self.value[i], self.covariance[i])
    }

    /// The raw points that make a smoothed value, and the parabola in ln f − `middle` that each counts by, beside its own weight.
    fn weights(&self, frequency_hz: f64, middle: f64) -> (Range<usize>, [f64; 3]) {
        let window = self.window(frequency_hz);
        let Some((_, row)) = self.inverse_row(&window) else {
            let i = self.nearest_point(window.x);
            return (i..i + 1, [self.covariance[i].trace(), 0.0, 0.0]);
        };
        let t = (window.x - middle) / HALF_WIDTH;
        let [a, b, c] = row;
        let parabola = [
            a - b * t + c * t * t,
            (b - 2.0 * c * t) / HALF_WIDTH,
            c / (HALF_WIDTH * HALF_WIDTH),
        ];
        (window.low..window.high, parabola)
    }

    /// Sum of the weights, and the first row of the inverse of the normal equations of a + b·u + c·u², u measured from the window's middle.
    fn inverse_row(&self, window: &Window) -> Option<(f64, [f64; 3])> {
        let mut moments = [0.0; 5];
        for i in window.low..window.high {
            let u = (self.ln_hz[i] - window.x) / HALF_WIDTH;
            let mut power = 1.0 / self.covariance[i].trace();
            if !power.is_finite() {
                return None;
            }
            for moment in &mut moments {
                *moment += power;
                power *= u;
            }
        }
        let inverse = nalgebra::Matrix3::from_fn(|i, j| moments[i + j]).try_inverse()?;
        Some((moments[0], [0, 1, 2].map(|j| inverse[(0, j)])))
    }

    /// Weighted least squares of a parabola; its value in the window's middle is a.
    fn parabola(&self, window: &Window) -> Option<(Complex64, Covariance2)> {
        let (total, row) = self.inverse_row(window)?;
        let value = (window.low..window.high)
            .map(|i| {
                let u = (self.ln_hz[i] - window.x) / HALF_WIDTH;
                let weight = (row[0] + u * (row[1] + u * row[2])) / self.covariance[i].trace();
                self.value[i] * weight
            })
            .sum();
        // The smoothed value's own variance is smaller, but its error is shared by all points around, and a fit would
        // average it away again as if it were not. The sum of a smoother's covariances over the points around is the
        // variance of the raw points: that is what each point answers for. Half of it in each part.
        let variance = 0.5 * (window.high - window.low) as f64 / total;
        (variance > 0.0 && variance.is_finite()).then(|| (value, Covariance2::circular(variance)))
    }
}

/// The raw points that one smoothed value comes from, and where it lies, ln Hz.
struct Window {
    low: usize,
    high: usize,
    x: f64,
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Coupling corners at 3 and 4 Hz, looked at from 5 Hz up: the parabola follows within 1e-4.
    #[test]
    fn keeps_coupling_corners() {
        let f: Vec<f64> = (50..5000).map(|i| 0.1 * f64::from(i)).collect();
        let truth = |f: f64| {
            let jf = Complex64::new(0.0, f);
            (jf + 3.0) / (jf + 4.0)
        };
        let value = f.iter().map(|&f| truth(f)).collect();
        let smooth =
            SmoothRatio::new(&f, value, vec![Covariance2::circular(1e-8); f.len()]).unwrap();
        const METHOD: f64 = 1e-4;
        for probe in [5.0, 5.4, 7.0, 30.0, 200.0] {
            let (at, covariance) = smooth.at(probe);
            assert!((at - truth(probe)).norm() < METHOD, "{probe}: {at}");
            const ROUNDING: f64 = 1e-9;
            assert!(
                (covariance.re_re / 1e-8 - 1.0).abs() < ROUNDING,
                "that of the raw points"
            );
        }
    }

    /// An input that is silent in every bit has no noise, and what follows it is no reason for an unknown.
    #[test]
    fn silence_has_nothing_to_pass_on() {
        let f: Vec<f64> = (0..100).map(|i| 20.0 + f64::from(i)).collect();
        let silent = vec![Covariance2::circular(0.0); 100];
        let smooth = SmoothRatio::new(&f, vec![Complex64::ZERO; 100], silent).unwrap();
        let sums = vec![vec![Complex64::ONE; 100]];
        assert_eq!(smooth.by_raw_point(&f, &sums)[0], [Complex64::ZERO; 100]);
    }

    /// By linearity: the sum of smoothed values is the sum of raw points times their derivatives, whatever the values, at places
    /// with few points and beyond the ends too.
    #[test]
    fn what_follows_a_raw_point() {
        let f: Vec<f64> = (0..400).map(|i| 5.0 * 1.02_f64.powi(i)).collect();
        let value: Vec<Complex64> = (0..400)
            .map(|i| Complex64::new((f64::from(i) * 0.7).sin(), (f64::from(i) * 0.3).cos()))
            .collect();
        let covariance = (0..400).map(|i| Covariance2::circular(1e-6 * (1.0 + f64::from(i % 7))));
        let smooth = SmoothRatio::new(&f, value.clone(), covariance.collect()).unwrap();
        let probe: Vec<f64> = (0..90).map(|i| 3.0 * 1.11_f64.powi(i)).collect();
        let factor = |i: usize, k: f64| Complex64::new((k * i as f64).cos(), 0.1 * i as f64);
        let sums: Vec<Vec<Complex64>> = [0.2, 1.3]
            .iter()
            .map(|&k| (0..probe.len()).map(|i| factor(i, k)).collect())
            .collect();
        for (sum, by) in sums.iter().zip(smooth.by_raw_point(&probe, &sums)) {
            let direct: Complex64 = probe
                .iter()
                .zip(sum)
                .map(|(&f, c)| smooth.at(f).0 * c)
                .sum();
            let followed: Complex64 = by.iter().zip(&value).map(|(by, v)| by * v).sum();
            const ROUNDING: f64 = 1e-8;
            assert!(
                (direct - followed).norm() < ROUNDING * direct.norm(),
                "{direct} {followed}"
            );
        }
    }
}
