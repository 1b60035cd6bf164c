//! Noise from the recording itself: what a local rational model of the channel ratio leaves over.
//!
//! McKelvey, Guérin: Non-parametric frequency response estimation using a local rational model. IFAC SYSID 2012
//! (idea from memory, formulas (S8) and (S9) derived in `docs/signal.md`). A polynomial would do away from the
//! resonance; on it, only a rational model keeps the resonance itself out of the noise.

use num_complex::Complex64;

use super::spectra::Spectra;

/// Bins in the narrowest window: five complex unknowns leave thirty-five to judge the noise by, so that the noise's
/// standard deviation is known to 1/√(2·35) = 12 %.
pub(super) const WINDOW_BINS: usize = 40;
const N_UNKNOWN: usize = 5;
/// Keeps the normal equations solvable where two columns coincide (a flat ratio); far below any recording's noise.
const RIDGE: f64 = 1e-13;

/// Mean |E|² of one bin of one block, where E = X2 − H·X1, from windows side by side.
pub(super) struct Noise {
    /// Middle bin of each window, its noise and the degrees of freedom.
    windows: Vec<(f64, f64, f64)>,
}

/// How far from a band windows count, in windows. Three or four of them know the noise's variance to a tenth, so that points do
/// not count for more because they happen to lie well with their neighbours.
const REACH: f64 = 2.0;

impl Noise {
    /// Looks at the noise between two frequencies, Hz, and as far beyond as windows reach.
    pub(super) fn of(spectra: &Spectra, low_hz: f64, high_hz: f64) -> Self {
        let beyond = (REACH * WINDOW_BINS as f64) as usize;
        let first = ((low_hz / spectra.bin_hz) as usize)
            .saturating_sub(beyond)
            .max(1);
        let last = ((high_hz / spectra.bin_hz) as usize + beyond).min(spectra.n_bins());
        let mut windows = vec![];
        let mut from = first;
        while let Some(to) = window_end(spectra, from, last) {
            if let Some((power, freedom)) = residual_power(spectra, from, to) {
                windows.push((0.5 * (from + to - 1) as f64, power, freedom));
            }
            from = to;
        }
        Self { windows }
    }

    /// The noise at bins `first..last`: a mean over the windows there and around, that counts the nearer the more.
    pub(super) fn around(&self, first: usize, last: usize) -> Option<f64> {
        let middle = 0.5 * (first + last - 1) as f64;
        let reach = REACH * WINDOW_BINS as f64 + 0.5 * (last - first) as f64;
        let near = self.windows.partition_point(|w| w.0 <= middle - reach);
        let (mut sum, mut weights) = (0.0, 0.0);
        for (at, power, freedom) in &self.windows[near..] {
            let far = (at - middle).abs() / reach;
            if far >= 1.0 {
                break;
            }
            let weight = freedom * (1.0 - far * far);
            sum += weight * power;
            weights += weight;
        }
        (weights > 0.0).then(|| sum / weights)
    }
}

/// Where a window of enough kept bins ends that starts at `from`; `None` if there are too few before `last`.
fn window_end(spectra: &Spectra, from: usize, last: usize) -> Option<usize> {
    spectra.kept(from, last).nth(WINDOW_BINS - 1).map(|k| k + 1)
}

/// Mean |E|² of one bin of one block in a window, and the degrees of freedom behind it.
fn residual_power(spectra: &Spectra, first: usize, last: usize) -> Option<(f64, f64)> {
    let n = spectra.kept(first, last).count();
    if n < 2 * N_UNKNOWN {
        return None;
    }
    let sums = Sums::over(spectra, first, last);
    let freedom = (n * spectra.n_blocks - N_UNKNOWN) as f64;
    let left = sums
        .rational_residual()
        .unwrap_or_else(|| sums.q[0] - sums.c[0].norm_sqr() / sums.m[0]);
    // Cancellation can leave a trifle below zero; what remains below rounding is rounding.
    let rounding = 4.0 * f64::EPSILON * sums.q[0];
    Some((
        if left > rounding { left } else { rounding } / freedom,
        freedom,
    ))
}

/// Moments of the window's bins, r running from −1 to 1 across it.
struct Sums {
    /// Mean r^p.
    u: [f64; 5],
    /// Σr^p·|X1|².
    m: [f64; 5],
    /// Σr^p·|X2|².
    q: [f64; 5],
    /// Σr^p·X2·X1*.
    c: [Complex64; 5],
}

impl Sums {
    fn over(spectra: &Spectra, first: usize, last: usize) -> Self {
        let centre = 0.5 * (first + last - 1) as f64;
        let half = 0.5 * (last - first) as f64;
        let mut sums = Self {
            u: [0.0; 5],
            m: [0.0; 5],
            q: [0.0; 5],
            c: [Complex64::default(); 5],
        };
        let n = spectra.kept(first, last).count() as f64;
        for k in spectra.kept(first, last) {
            let r = (k as f64 - centre) / half;
            let mut power = 1.0;
            for p in 0..5 {
                sums.u[p] += power / n;
                sums.m[p] += power * spectra.s11[k];
                sums.q[p] += power * spectra.s22[k];
                sums.c[p] += spectra.s12[k] * power;
                power *= r;
            }
        }
        sums
    }

    /// Σ|D·X2 − N·X1|² over mean |D|², for the least-squares solution of (S8).
    ///
    /// Without the division a flat ratio would come out 4/9 too low: there D is free to taper the noise itself.
    fn rational_residual(&self) -> Option<f64> {
        let real = |v: f64| Complex64::new(v, 0.0);
        // Unknowns: d1, d2 (denominator), n0, n1, n2 (numerator).
        let order = [1, 2, 0, 1, 2];
        let mut gram = [[Complex64::default(); N_UNKNOWN]; N_UNKNOWN];
        let mut right = [Complex64::default(); N_UNKNOWN];
        for i in 0..N_UNKNOWN {
            for j in 0..N_UNKNOWN {
                let p = order[i] + order[j];
                gram[i][j] = match (i < 2, j < 2) {
                    (true, true) => real(self.q[p]),
                    (true, false) => -self.c[p].conj(),
                    (false, true) => -self.c[p],
                    (false, false) => real(self.m[p]),
                };
            }
            right[i] = if i < 2 {
                real(-self.q[order[i]])
            } else {
                self.c[order[i]]
            };
        }
        for (i, row) in gram.iter_mut().enumerate() {
            row[i] *= 1.0 + RIDGE;
        }
        let (solution, explained) = solve(&mut gram, &right)?;
        let d = [real(1.0), solution[0], solution[1]];
        let mut mean_d2 = 0.0;
        for (i, a) in d.iter().enumerate() {
            for (j, b) in d.iter().enumerate() {
                mean_d2 += (a.conj() * b).re * self.u[i + j];
            }
        }
        Some((self.q[0] - explained) / mean_d2)
    }
}

/// The solution x of A·x = b and b†·x, for a Hermitian positive definite A: Cholesky, A = L·L†.
fn solve(
    a: &mut [[Complex64; N_UNKNOWN]; N_UNKNOWN],
    b: &[Complex64; N_UNKNOWN],
) -> Option<([Complex64; N_UNKNOWN], f64)> {
    let mut y = *b;
    let mut explained = 0.0;
    for j in 0..N_UNKNOWN {
        for i in j..N_UNKNOWN {
            let mut value = a[i][j];
            for (left, right) in a[i].iter().zip(&a[j]).take(j) {
                value -= left * right.conj();
            }
            if i == j {
                if !(value.re > 0.0 && value.re.is_finite()) {
                    return None;
                }
                a[j][j] = Complex64::new(value.re.sqrt(), 0.0);
            } else {
                a[i][j] = value / a[j][j].re;
            }
        }
        for k in 0..j {
            let known = a[j][k] * y[k];
            y[j] -= known;
        }
        y[j] /= a[j][j].re;
        explained += y[j].norm_sqr();
    }
    for j in (0..N_UNKNOWN).rev() {
        for i in j + 1..N_UNKNOWN {
            let known = a[i][j].conj() * y[i];
            y[j] -= known;
        }
        y[j] /= a[j][j].re;
    }
    Some((y, explained))
}
