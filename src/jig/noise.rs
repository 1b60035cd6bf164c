//! What the noise of the calibration takes does to a curve: (J8).
//!
//! A calibration take is smoothed, and serves all curves of a session. Its noise is therefore the same over a third of an octave and in all
//! takes. A resonance narrower than that hardly moves by it, and what all curves tell together does not get surer by their number.

use std::sync::Arc;

use num_complex::Complex64;

use super::SmoothRatio;
use crate::quantity::{Covariance2, SymmetricMatrix};

/// Two points belong together if their frequencies agree this well.
const SAME_FREQUENCY: f64 = 1e-9;

/// The noise of the calibration takes in the points of one curve. All lists but that of the takes have a curve's length.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct CalibrationNoise {
    /// Ascending, Hz.
    pub(super) frequency_hz: Vec<f64>,
    /// What each point answers for, ohm squared.
    pub(super) covariance: Vec<Covariance2>,
    /// The takes, and how a point of the curve follows the smoothed ratio there, ohm.
    pub(super) takes: Vec<(Arc<SmoothRatio>, Vec<Complex64>)>,
}

/// One curve's part in several sums: for each sum q the factors of q = Re Σ_i c_i·Z_i, and the noise in those points. The noise may cover
/// points that the sums leave out, which count as zero there. Curves that are summed belong to one jig: they have the same calibration takes, in
/// the same order.
pub struct Summed<'a> {
    /// The noise in the curve.
    pub noise: &'a CalibrationNoise,
    /// Frequencies that the factors belong to, Hz.
    pub frequency_hz: &'a [f64],
    /// The factors, one list for each sum.
    pub factors: Vec<Vec<Complex64>>,
}

impl CalibrationNoise {
    /// Whether no calibration take had a part in the curve.
    pub fn is_empty(&self) -> bool {
        self.takes.is_empty()
    }

    /// What the point at a frequency answers for, ohm squared; nothing where the curve has no such point.
    pub fn covariance_at(&self, frequency_hz: f64) -> Covariance2 {
        self.index(frequency_hz)
            .and_then(|i| self.covariance.get(i).copied())
            .unwrap_or_default()
    }

    /// The same for `frequency_hz`, from whichever of several curves on one jig has the point, answering for `times` as much. A curve beside them
    /// that has none of that noise (a table) counts as if it had: that errs to the safe side.
    pub fn gathered(curves: &[&Self], frequency_hz: &[f64], times: f64) -> Self {
        let Some(first) = curves.iter().find(|curve| !curve.is_empty()) else {
            return Self::default();
        };
        let mut takes: Vec<_> = first
            .takes
            .iter()
            .map(|(take, _)| (Arc::clone(take), vec![]))
            .collect();
        let mut covariance = vec![];
        for &f_hz in frequency_hz {
            let found = curves
                .iter()
                .find_map(|curve| Some((curve, curve.index(f_hz)?)));
            let at = |own: &Covariance2| own.scaled(times);
            covariance.push(
                found
                    .map(|(curve, i)| at(&curve.covariance[i]))
                    .unwrap_or_default(),
            );
            for (k, (_, by)) in takes.iter_mut().enumerate() {
                let there = found.and_then(|(curve, i)| curve.takes.get(k)?.1.get(i).copied());
                by.push(there.unwrap_or_default());
            }
        }
        Self {
            frequency_hz: frequency_hz.to_vec(),
            covariance,
            takes,
        }
    }

    /// Noise of no take in particular, for tests of what is done with it.
    #[cfg(test)]
    pub(crate) fn circular(frequency_hz: &[f64], variance_ohm2: f64) -> Self {
        let take = SmoothRatio::new(
            frequency_hz,
            vec![Complex64::ONE; frequency_hz.len()],
            vec![Covariance2::circular(variance_ohm2); frequency_hz.len()],
        );
        let by = vec![Complex64::ONE; frequency_hz.len()];
        Self {
            frequency_hz: frequency_hz.to_vec(),
            covariance: vec![Covariance2::circular(variance_ohm2); frequency_hz.len()],
            takes: take
                .into_iter()
                .map(|take| (Arc::new(take), by.clone()))
                .collect(),
        }
    }

    fn index(&self, frequency_hz: f64) -> Option<usize> {
        let low = frequency_hz * (1.0 - SAME_FREQUENCY);
        let i = self.frequency_hz.partition_point(|&f| f < low);
        let there = *self.frequency_hz.get(i)?;
        (there - frequency_hz <= SAME_FREQUENCY * frequency_hz).then_some(i)
    }
}

/// Covariance that the noise of the calibration takes gives to sums over curves of one jig, (J8): q_m = Σ over the curves. Every curve has a
/// list of factors for each of the `n` sums.
pub fn covariance_of_sums(n: usize, curves: &[Summed<'_>]) -> SymmetricMatrix {
    let mut covariance = SymmetricMatrix::zero(n);
    let n_takes = curves.iter().map(|curve| curve.noise.takes.len()).max();
    for k in 0..n_takes.unwrap_or(0) {
        let mut all: Option<Vec<Vec<Complex64>>> = None;
        let mut variances = vec![];
        for curve in curves {
            let Some((take, by)) = curve.noise.takes.get(k) else {
                continue;
            };
            let follows: Vec<Complex64> = curve
                .frequency_hz
                .iter()
                .map(|&f_hz| curve.noise.index(f_hz).map(|i| by[i]).unwrap_or_default())
                .collect();
            let factors: Vec<Vec<Complex64>> = curve
                .factors
                .iter()
                .map(|list| list.iter().zip(&follows).map(|(c, by)| c * by).collect())
                .collect();
            let raw = take.by_raw_point(curve.frequency_hz, &factors);
            match &mut all {
                None => {
                    variances = take.raw_variances().collect();
                    all = Some(raw);
                }
                Some(all) => {
                    debug_assert!(variances.iter().copied().eq(take.raw_variances()));
                    for (sum, more) in all.iter_mut().flatten().zip(raw.iter().flatten()) {
                        *sum += more;
                    }
                }
            }
        }
        let all = all.unwrap_or_default();
        for (i, a) in all.iter().enumerate() {
            for (j, b) in all.iter().enumerate().take(i + 1) {
                let products = a.iter().zip(b).zip(&variances);
                let sum: f64 = products.map(|((a, b), v)| v * (a * b.conj()).re).sum();
                covariance.set(i, j, covariance.get(i, j) + sum);
            }
        }
    }
    covariance
}

#[cfg(test)]
mod tests {
    use rand_distr::{Distribution, StandardNormal};
    use rand_pcg::Pcg64;
    use rand_pcg::rand_core::SeedableRng;

    use super::*;

    /// Two curves with one noisy take: the sums over what it smooths scatter as (J8) says. The first sum changes sign within the stretch
    /// that is smoothed, as fs does over a resonance, and hardly moves; the second is a mean over both curves, which moves with both.
    #[test]
    fn sums_scatter_as_stated() {
        let f_hz: Vec<f64> = (0..600).map(|i| 20.0 + 0.5 * f64::from(i)).collect();
        let deviation = 1e-3;
        let mut generator = Pcg64::seed_from_u64(11);
        let mut part = || {
            deviation
                * <StandardNormal as Distribution<f64>>::sample(&StandardNormal, &mut generator)
        };
        let mut take = || {
            let values = (0..600).map(|_| Complex64::new(1.0 + part(), part()));
            let covariance = vec![Covariance2::circular(deviation * deviation); 600];
            Arc::new(SmoothRatio::new(&f_hz, values.collect(), covariance).unwrap())
        };
        let by = |turn: f64| -> Vec<Complex64> {
            f_hz.iter()
                .map(|f| Complex64::from_polar(30.0, turn * f / 100.0))
                .collect()
        };
        let curve = |take: &Arc<SmoothRatio>, turn: f64| CalibrationNoise {
            frequency_hz: f_hz.clone(),
            covariance: vec![Covariance2::default(); 600],
            takes: vec![(Arc::clone(take), by(turn))],
        };
        let narrow =
            |f: &f64| Complex64::new((f - 100.0) / (1.0 + ((f - 100.0) / 2.0).powi(2)), 0.0);
        let mean = |_: &f64| Complex64::new(1.0 / 1200.0, 0.0);
        let factors: Vec<Vec<Complex64>> = vec![
            f_hz.iter().map(narrow).collect(),
            f_hz.iter().map(mean).collect(),
        ];
        let first = take();
        let noises = [curve(&first, 0.0), curve(&first, 0.5)];
        let curves = noises.each_ref().map(|noise| Summed {
            noise,
            frequency_hz: &f_hz,
            factors: factors.clone(),
        });
        let stated = covariance_of_sums(2, &curves);
        const N: usize = 400;
        let mut found = [[0.0; 2]; 2];
        for _ in 0..N {
            let take = take();
            let mut sums = [0.0; 2];
            for turn in [0.0, 0.5] {
                let errors = f_hz
                    .iter()
                    .zip(by(turn))
                    .map(|(&f, by)| by * (take.at(f).0 - 1.0));
                for (i, error) in errors.enumerate() {
                    for (sum, list) in sums.iter_mut().zip(&factors) {
                        *sum += (list[i] * error).re;
                    }
                }
            }
            for i in 0..2 {
                for j in 0..2 {
                    found[i][j] += sums[i] * sums[j] / N as f64;
                }
            }
        }
        for (i, found) in found.iter().enumerate() {
            // A variance of 400 is uncertain by √(2/400) = 7 %: three of these.
            const STATISTICAL: f64 = 0.21;
            let ratio = found[i] / stated.get(i, i);
            assert!((ratio - 1.0).abs() < STATISTICAL, "sum {i}: {ratio}");
        }
        let correlation = |a: f64, b: f64, ab: f64| ab / (a * b).sqrt();
        let is = correlation(found[0][0], found[1][1], found[0][1]);
        let said = correlation(stated.get(0, 0), stated.get(1, 1), stated.get(0, 1));
        // 1/√400, three times.
        assert!((is - said).abs() < 0.15, "{is} {said}");
    }
}
