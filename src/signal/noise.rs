//! Noise from the recording itself: what a local rational model of the channel ratio leaves over.
//!
//! McKelvey, Guérin: Non-parametric frequency response estimation using a local rational model. IFAC SYSID 2012
//! (idea from memory, formulas (S8) and (S9) derived in `docs/signal.md`). A polynomial would do away from the
//! resonance; on it, only a rational model keeps the resonance itself out of the noise.

use num_complex::Complex64;

use super::spectra::Spectra;

/// Bins in the narrowest window: five complex unknowns leave nineteen to judge the noise by, so that the noise's
/// standard deviation is known to 1/√(2·19) = 16 %.
pub(super) const WINDOW_BINS: usize = 24;
const N_UNKNOWN: usize = 5;
/// Keeps the normal equations solvable where two columns coincide (a flat ratio); far below any recording's noise.
const RIDGE: f64 = 1e-13;

/// Mean |E|² of one bin of one block around bins `first..last`, where E = X2 − H·X1; `None` if too few bins exist.
pub(super) fn residual_power(spectra: &Spectra, first: usize, last: usize) -> Option<f64> {
    let (first, last) = widened(spectra, first, last)?;
    let n = last - first;
    let centre = 0.5 * (first + last - 1) as f64;
    let half = 0.5 * n as f64;
    let (mut m, mut q, mut c) = ([0.0; 5], [0.0; 5], [Complex64::default(); 5]);
    for k in first..last {
        let r = (k as f64 - centre) / half;
        let mut power = 1.0;
        for p in 0..5 {
            m[p] += power * spectra.s11[k];
            q[p] += power * spectra.s22[k];
            c[p] += spectra.s12[k] * power;
            power *= r;
        }
    }
    let freedom = (n * spectra.n_blocks - N_UNKNOWN) as f64;
    let left = rational_residual(&m, &q, &c).unwrap_or_else(|| q[0] - c[0].norm_sqr() / m[0]);
    // Cancellation can leave a trifle below zero; what remains below rounding is rounding.
    let rounding = 4.0 * f64::EPSILON * q[0];
    Some(if left > rounding { left } else { rounding } / freedom)
}

/// At least [`WINDOW_BINS`] bins around the given ones.
fn widened(spectra: &Spectra, first: usize, last: usize) -> Option<(usize, usize)> {
    let missing = WINDOW_BINS.saturating_sub(last - first);
    let low = first.saturating_sub(missing.div_ceil(2)).max(1);
    let high = (low + WINDOW_BINS).max(last).min(spectra.n_bins());
    (high - low >= 2 * N_UNKNOWN).then_some((low, high))
}

/// Σ|E|² of the least-squares solution of (S8), from the moments of |X1|², |X2|² and X2·X1*.
fn rational_residual(m: &[f64; 5], q: &[f64; 5], c: &[Complex64; 5]) -> Option<f64> {
    let real = |v: f64| Complex64::new(v, 0.0);
    // Unknowns: d1, d2 (denominator), n0, n1, n2 (numerator).
    let order = [1, 2, 0, 1, 2];
    let mut gram = [[Complex64::default(); N_UNKNOWN]; N_UNKNOWN];
    let mut right = [Complex64::default(); N_UNKNOWN];
    for i in 0..N_UNKNOWN {
        for j in 0..N_UNKNOWN {
            let p = order[i] + order[j];
            gram[i][j] = match (i < 2, j < 2) {
                (true, true) => real(q[p]),
                (true, false) => -c[p].conj(),
                (false, true) => -c[p],
                (false, false) => real(m[p]),
            };
        }
        right[i] = if i < 2 {
            real(-q[order[i]])
        } else {
            c[order[i]]
        };
    }
    for (i, row) in gram.iter_mut().enumerate() {
        row[i] *= 1.0 + RIDGE;
    }
    let explained = hermitian_form(&mut gram, &mut right)?;
    Some(q[0] - explained)
}

/// b†·A⁻¹·b for a Hermitian positive definite A, by Cholesky: with A = L·L† it is |L⁻¹b|².
fn hermitian_form(
    a: &mut [[Complex64; N_UNKNOWN]; N_UNKNOWN],
    b: &mut [Complex64; N_UNKNOWN],
) -> Option<f64> {
    let mut sum = 0.0;
    for j in 0..N_UNKNOWN {
        for i in j..N_UNKNOWN {
            let mut value = a[i][j];
            for k in 0..j {
                value -= a[i][k] * a[j][k].conj();
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
        let mut value = b[j];
        for k in 0..j {
            value -= a[j][k] * b[k];
        }
        b[j] = value / a[j][j].re;
        sum += b[j].norm_sqr();
    }
    Some(sum)
}
