//! Summing up the draws of an output.

use crate::quantity::SymmetricMatrix;

/// Coverage probability of the intervals.
const COVERAGE: f64 = 0.95;

/// One output's distribution, summed up.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Statistics {
    /// Mean of the draws (JCGM 101, 7.6), the estimate.
    pub mean: f64,
    /// Standard deviation of the draws (JCGM 101, 7.6), the standard uncertainty.
    pub standard_uncertainty: f64,
    /// Ends of the probabilistically symmetric 95 % interval (JCGM 101, 7.7): as many draws below as above.
    pub interval_95: [f64; 2],
}

/// One output.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Output {
    /// Of the draws in which the output was finite; `None` if those are fewer than two in three (too few to speak for
    /// the rest; a bound of ours), or their squares overflow. Whoever uses this
    /// without looking at `not_finite_draws` leaves out the draws in which the model broke down: see
    /// [`Output::complete`].
    pub statistics: Option<Statistics>,
    /// Draws in which the output was not a finite number.
    pub not_finite_draws: usize,
}

impl Output {
    /// The statistics, if every draw was finite.
    pub fn complete(&self) -> Option<&Statistics> {
        self.statistics
            .as_ref()
            .filter(|_| self.not_finite_draws == 0)
    }

    pub(super) fn of(column: &[f64]) -> Self {
        let mut finite: Vec<f64> = column
            .iter()
            .copied()
            .filter(|value| value.is_finite())
            .collect();
        let enough = 3 * finite.len() >= 2 * column.len() && finite.len() > 1;
        Self {
            // Squares of finite numbers may still overflow.
            statistics: enough
                .then(|| summed_up(&mut finite))
                .filter(|found| found.mean.is_finite() && found.standard_uncertainty.is_finite()),
            not_finite_draws: column.len() - finite.len(),
        }
    }
}

/// `values`: at least two, finite. Their order is changed.
fn summed_up(values: &mut [f64]) -> Statistics {
    let n = values.len();
    let mean = values.iter().sum::<f64>() / n as f64;
    let squares: f64 = values.iter().map(|value| (value - mean).powi(2)).sum();
    let (low, high) = interval_ranks(n);
    let (_, low_end, above) = values.select_nth_unstable_by(low, f64::total_cmp);
    let low_end = *low_end;
    let high_end = match high.checked_sub(low + 1) {
        Some(rank) => *above.select_nth_unstable_by(rank, f64::total_cmp).1,
        None => low_end,
    };
    Statistics {
        mean,
        standard_uncertainty: (squares / (n - 1) as f64).sqrt(),
        interval_95: [low_end, high_end],
    }
}

/// Positions, from 0, of the interval's ends among `n` sorted values (JCGM 101, 7.7.2): y_(r) and y_(r+q) counted from
/// 1, where q = pn and r = (n − q)/2, each rounded half up if it is no whole number.
fn interval_ranks(n: usize) -> (usize, usize) {
    let q = (COVERAGE * n as f64 + 0.5).floor() as usize;
    let r = (n - q).div_ceil(2).max(1);
    (r - 1, (r + q).min(n) - 1)
}

/// Whether the averages over the blocks are known to `digits` digits of the uncertainty (JCGM 101, 7.9.4 with the
/// numerical tolerance of 7.9.2). An output that some block could not sum up never settles.
pub(super) fn settled(blocks: &[Option<Statistics>], digits: u8) -> bool {
    let Some(blocks) = blocks.iter().copied().collect::<Option<Vec<Statistics>>>() else {
        return false;
    };
    let n = blocks.len() as f64;
    // All blocks have the same size: the overall uncertainty, but for the spread of the block means, which is tiny.
    let u = (blocks
        .iter()
        .map(|block| block.standard_uncertainty.powi(2))
        .sum::<f64>()
        / n)
        .sqrt();
    if u == 0.0 {
        return true;
    }
    let tolerance = numerical_tolerance(u, digits);
    let figures: [fn(&Statistics) -> f64; 4] = [
        |b| b.mean,
        |b| b.standard_uncertainty,
        |b| b.interval_95[0],
        |b| b.interval_95[1],
    ];
    figures.iter().all(|figure| {
        let average = blocks.iter().map(figure).sum::<f64>() / n;
        let squares: f64 = blocks
            .iter()
            .map(|block| (figure(block) - average).powi(2))
            .sum();
        2.0 * (squares / (n * (n - 1.0))).sqrt() <= tolerance
    })
}

/// δ = ½·10^l where u = c·10^l and c is a whole number of `digits` digits (JCGM 101, 7.9.2).
fn numerical_tolerance(u: f64, digits: u8) -> f64 {
    let l = u.log10().floor() as i32 - (i32::from(digits) - 1);
    0.5 * 10.0_f64.powi(l)
}

/// Correlations of the outputs, each pair over the draws in which both are finite.
pub(super) fn correlation(columns: &[Vec<f64>], outputs: &[Output]) -> SymmetricMatrix {
    let mut matrix = SymmetricMatrix::zero(columns.len());
    for i in 0..columns.len() {
        matrix.set(i, i, 1.0);
        for j in 0..i {
            let complete = outputs[i].complete().zip(outputs[j].complete());
            let r = match complete {
                Some((a, b)) => correlation_about(&columns[i], &columns[j], a.mean, b.mean),
                None => correlation_of_common(&columns[i], &columns[j]),
            };
            matrix.set(i, j, r);
        }
    }
    matrix
}

fn correlation_of_common(a: &[f64], b: &[f64]) -> f64 {
    let (a, b): (Vec<f64>, Vec<f64>) = a
        .iter()
        .zip(b)
        .filter(|(x, y)| x.is_finite() && y.is_finite())
        .map(|(x, y)| (*x, *y))
        .unzip();
    let n = a.len() as f64;
    correlation_about(&a, &b, a.iter().sum::<f64>() / n, b.iter().sum::<f64>() / n)
}

fn correlation_about(a: &[f64], b: &[f64], mean_a: f64, mean_b: f64) -> f64 {
    let (mut aa, mut ab, mut bb) = (0.0, 0.0, 0.0);
    for (x, y) in a.iter().zip(b) {
        let (x, y) = (x - mean_a, y - mean_b);
        aa += x * x;
        ab += x * y;
        bb += y * y;
    }
    let scale = aa.sqrt() * bb.sqrt();
    if scale > 0.0 {
        (ab / scale).clamp(-1.0, 1.0)
    } else {
        0.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Rounding of powers of ten.
    const ROUNDING: f64 = 1e-14;

    #[test]
    fn interval_ends_are_those_of_jcgm_101() {
        // q = 9500, r = 250: y_(250) and y_(9750). q = int(95.95 + 0.5) = 96, r = int(6/2) = 3: y_(3) and y_(99).
        assert_eq!(interval_ranks(10_000), (249, 9_749));
        assert_eq!(interval_ranks(101), (2, 98));
        // The smallest numbers stay within bounds.
        assert_eq!(interval_ranks(2), (0, 1));
    }

    #[test]
    fn ends_are_read_from_unsorted_values() {
        let n = 10_000_usize;
        let column: Vec<f64> = (0..n).map(|i| ((i * 7_919) % n + 1) as f64).collect();
        let output = Output::of(&column);
        assert_eq!(output.complete().unwrap().interval_95, [250.0, 9750.0]);
        assert_eq!(output.complete().unwrap().mean, 5000.5);
    }

    #[test]
    fn numerical_tolerance_as_in_jcgm_101() {
        // 0.00035 g: two digits are 35·10⁻⁵, δ = 0.5·10⁻⁵; one digit is 4·10⁻⁴, δ = 0.5·10⁻⁴ (JCGM 101, 7.9.2).
        for (u, digits, tolerance) in [
            (0.00035, 2, 0.5e-5),
            (0.00035, 1, 0.5e-4),
            (35.0, 2, 0.5),
            (2.0, 1, 0.5),
        ] {
            let found = numerical_tolerance(u, digits);
            assert!(
                (found - tolerance).abs() <= ROUNDING * tolerance,
                "{u}, {digits}: {found}"
            );
        }
    }

    #[test]
    fn broken_draws_are_counted() {
        let mut column = vec![1.0, 2.0, 3.0, 4.0, f64::NAN];
        let output = Output::of(&column);
        assert_eq!(output.not_finite_draws, 1);
        assert_eq!(output.complete(), None);
        assert_eq!(output.statistics.unwrap().mean, 2.5);
        column.extend([f64::INFINITY; 3]);
        let output = Output::of(&column);
        assert_eq!((output.statistics, output.not_finite_draws), (None, 4));
        assert_eq!(
            Output::of(&[1e300, -1e300, 0.0]),
            Output {
                statistics: None,
                not_finite_draws: 0
            }
        );
    }
}
