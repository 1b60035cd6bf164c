//! A smooth ratio against frequency: what a calibration take says, without its noise.
//!
//! Two inputs of one converter differ by gain, coupling corners and a fraction of a sample: smooth functions of
//! frequency. A local parabola in ln f over a third of an octave keeps them and loses most of the noise, which would
//! otherwise sit in every take alike.

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
        let (first, last) = (self.ln_hz[0], self.ln_hz[self.ln_hz.len() - 1]);
        let x = frequency_hz.ln().clamp(first, last);
        let mut low = self.ln_hz.partition_point(|&v| v < x - HALF_WIDTH);
        let mut high = self.ln_hz.partition_point(|&v| v <= x + HALF_WIDTH);
        while high - low < FEWEST && (low > 0 || high < self.ln_hz.len()) {
            low = low.saturating_sub(1);
            high = (high + 1).min(self.ln_hz.len());
        }
        self.parabola(low, high, x)
            .unwrap_or_else(|| self.nearest(x))
    }

    fn nearest(&self, x: f64) -> (Complex64, Covariance2) {
        let above = self
            .ln_hz
            .partition_point(|&v| v < x)
            .min(self.ln_hz.len() - 1);
        let below = above.saturating_sub(1);
        let nearer_below = x - self.ln_hz[below] < self.ln_hz[above] - x;
        let i = if nearer_below { below } else { above };
        (self.value[i], self.covariance[i])
    }

    /// Weighted least squares of a + b·u + c·u² with u measured from `x`; the value at x is a.
    fn parabola(&self, low: usize, high: usize, x: f64) -> Option<(Complex64, Covariance2)> {
        let mut moments = [0.0; 5];
        let mut right = [Complex64::default(); 3];
        for i in low..high {
            let u = (self.ln_hz[i] - x) / HALF_WIDTH;
            let weight = 1.0 / self.covariance[i].trace();
            if !weight.is_finite() {
                return None;
            }
            let mut power = weight;
            for (p, moment) in moments.iter_mut().enumerate() {
                *moment += power;
                if p < 3 {
                    right[p] += self.value[i] * power;
                }
                power *= u;
            }
        }
        let a = nalgebra::Matrix3::from_fn(|i, j| moments[i + j]);
        let inverse = a.try_inverse()?;
        let value = (0..3).map(|j| right[j] * inverse[(0, j)]).sum();
        // The smoothed value's own variance is smaller, but its error is shared by all points around, and a fit would
        // average it away again as if it were not. The sum of a smoother's covariances over the points around is the
        // variance of the raw points: that is what each point answers for. Half of it in each part.
        let variance = 0.5 * (high - low) as f64 / moments[0];
        (variance > 0.0 && variance.is_finite()).then(|| (value, Covariance2::circular(variance)))
    }
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
}
