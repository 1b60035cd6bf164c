//! The two clocks: pieces laid on one time base by a smooth curve through their delays, (O5) and (O6).

use nalgebra::{DMatrix, DVector};
use num_complex::Complex64;

use super::blocks::{Block, Blocks};
use super::sort::Sorted;

/// Rounds in which delays are measured and taken back; the first leaves a hundredth of what it found, the second nothing.
const ROUNDS: usize = 3;
/// Pieces that a bent clock needs: four unknowns, and some over to judge by.
const BENT_FROM: usize = 7;
/// Least scatter of a delay, frames: what rounding of samples to 24 bits leaves.
const LEAST_SCATTER: f64 = 1e-6;

/// What the clocks do.
pub(super) struct Clock {
    /// The period, frames of the recording, over the whole of it.
    pub period: f64,
    /// Change of the clocks' ratio from the first piece to the last, parts per million.
    pub change_ppm: f64,
    /// Standard uncertainty of the time between both nodes, frames.
    pub doubt_frames: f64,
}

/// By how many frames lines are behind a reference; (O5).
pub(super) fn late(lines: &[Complex64], reference: &[Complex64], omegas: &[f64]) -> f64 {
    let (mut slope, mut bend) = (0.0, 0.0);
    for ((line, reference), omega) in lines.iter().zip(reference).zip(omegas) {
        let cross = line * reference.conj();
        slope -= omega * cross.im;
        bend += omega * omega * cross.re;
    }
    if bend > 0.0 { slope / bend } else { 0.0 }
}

impl Blocks {
    /// Takes the clocks' steady difference out, as the stretches show it each by itself.
    pub fn settle_clocks(&mut self) {
        let mut drift = 0.0;
        for _ in 0..ROUNDS {
            let omegas = self.omegas();
            let (mut slope, mut weight) = (0.0, 0.0);
            for run in &self.runs {
                let n = run.blocks.len() as f64;
                let middle = run.blocks.iter().map(|block| block.middle).sum::<f64>() / n;
                for block in &run.blocks {
                    let t = block.middle - middle;
                    slope += t * late(&block.lines, &run.mean, &omegas);
                    weight += t * t;
                }
            }
            let found = slope / weight;
            self.turn_back(|middle| found * middle);
            drift += found;
        }
        self.drift += drift;
    }
}

/// Lays all pieces of both nodes on one clock whose rate may change steadily.
pub(super) fn join(blocks: &mut Blocks, sorted: &Sorted) -> Clock {
    let sides = [&sorted.source, &sorted.driver];
    let whole = blocks.whole();
    let (origin, span) = (whole.start as f64, whole.len() as f64);
    let time = |block: &Block| (block.middle - origin) / span;
    let n_blocks: usize = sides
        .iter()
        .flat_map(|runs| runs.iter())
        .map(|&run| blocks.runs[run].blocks.len())
        .sum();
    let n_terms = if n_blocks < BENT_FROM { 1 } else { 2 };
    let mut curve = vec![0.0; n_terms];
    let mut solved = None;
    for _ in 0..ROUNDS {
        let omegas = blocks.omegas();
        let mut rows = vec![];
        let mut delays = vec![];
        for (side, runs) in sides.iter().enumerate() {
            let reference = blocks.mean_of(runs);
            for &run in runs.iter() {
                for block in &blocks.runs[run].blocks {
                    rows.push((side, time(block)));
                    delays.push(late(&block.lines, &reference, &omegas));
                }
            }
        }
        let Some(fit) = Fit::of(&rows, &delays, n_terms) else {
            break;
        };
        for (sum, found) in curve.iter_mut().zip(&fit.curve) {
            *sum += found;
        }
        blocks.turn_back(|middle| {
            let t = (middle - origin) / span;
            power_sum(&fit.curve, t)
        });
        solved = Some((fit, rows));
    }
    let (doubt_frames, apart) = solved.map_or((f64::INFINITY, 0.0), |(fit, rows)| {
        let between = |power: i32| {
            let mean = |side: usize| {
                let of: Vec<f64> = rows
                    .iter()
                    .filter(|row| row.0 == side)
                    .map(|row| row.1.powi(power))
                    .collect();
                of.iter().sum::<f64>() / of.len() as f64
            };
            mean(1) - mean(0)
        };
        let steps: Vec<f64> = (1..=n_terms as i32).map(between).collect();
        // A clock that bends may bend otherwise while the clip moves: by half of what the bend makes, as a half-width.
        let bend = curve
            .get(1)
            .map_or(0.0, |bend| bend * (steps[1] - steps[0]));
        (fit.doubt(&steps), 0.5 * bend / 3.0_f64.sqrt())
    });
    let slope: f64 = curve.iter().sum::<f64>() / span;
    Clock {
        period: blocks.period * (1.0 + blocks.drift + slope),
        change_ppm: curve.get(1).map_or(0.0, |bend| 2e6 * bend / span),
        doubt_frames: doubt_frames.hypot(apart),
    }
}

fn power_sum(curve: &[f64], t: f64) -> f64 {
    curve.iter().rev().fold(0.0, |sum, term| (sum + term) * t)
}

/// Delays as two constants, one a node, and a power series of time without a constant.
struct Fit {
    curve: Vec<f64>,
    /// Covariance of the curve's terms.
    covariance: DMatrix<f64>,
}

impl Fit {
    fn of(rows: &[(usize, f64)], delays: &[f64], n_terms: usize) -> Option<Self> {
        let design = DMatrix::from_fn(rows.len(), 2 + n_terms, |r, c| match c {
            0 | 1 => f64::from(u8::from(rows[r].0 == c)),
            power => rows[r].1.powi(power as i32 - 1),
        });
        let right = DVector::from_column_slice(delays);
        let inverse = (design.transpose() * &design).try_inverse()?;
        let solution = &inverse * design.transpose() * &right;
        let left = right - design * &solution;
        let freedom = rows.len().saturating_sub(2 + n_terms);
        let scatter = if freedom == 0 {
            left.norm_squared()
        } else {
            left.norm_squared() / freedom as f64
        };
        let least = LEAST_SCATTER * LEAST_SCATTER;
        let scatter = if scatter > least { scatter } else { least };
        // Neighbouring pieces share noise, (O8).
        let shared = 4.0 / 3.0;
        Some(Self {
            curve: solution.iter().skip(2).copied().collect(),
            covariance: inverse.view((2, 2), (n_terms, n_terms)) * (shared * scatter),
        })
    }

    /// Standard uncertainty of what the curve makes between two times whose powers differ by `steps`.
    fn doubt(&self, steps: &[f64]) -> f64 {
        let steps = DVector::from_column_slice(steps);
        (steps.transpose() * &self.covariance * steps)[(0, 0)].sqrt()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Rounding, relative to a frame.
    const ROUNDING: f64 = 1e-9;

    #[test]
    fn a_shift_is_read_off_the_phases() {
        let omegas = [0.001, 0.1, 1.0, 2.5];
        let reference: Vec<Complex64> = (0..4)
            .map(|i| Complex64::from_polar(1.0 / f64::from(i + 1), f64::from(i)))
            .collect();
        // Least squares on phase: the error is of third order in the phase, at most 2.5·shift here.
        for shift in [-1e-3, 0.0, 1e-3] {
            let lines: Vec<Complex64> = reference
                .iter()
                .zip(omegas)
                .map(|(line, omega)| line * Complex64::cis(-omega * shift))
                .collect();
            let method = (2.5_f64 * 1e-3).powi(3);
            assert!((late(&lines, &reference, &omegas) - shift).abs() < method);
        }
    }

    #[test]
    fn a_bent_clock_is_followed_over_the_pause() {
        // Two nodes with constants of their own, 3·t + 0.5·t².
        let times = [0.0, 0.05, 0.1, 0.15, 0.7, 0.8, 0.9, 1.0];
        let rows: Vec<(usize, f64)> = times.iter().map(|&t| (usize::from(t > 0.5), t)).collect();
        let delays: Vec<f64> = rows
            .iter()
            .map(|&(side, t)| 7.0 * side as f64 - 2.0 + 3.0 * t + 0.5 * t * t)
            .collect();
        let fit = Fit::of(&rows, &delays, 2).unwrap();
        assert!((fit.curve[0] - 3.0).abs() < ROUNDING && (fit.curve[1] - 0.5).abs() < ROUNDING);
        assert!((power_sum(&fit.curve, 2.0) - 8.0).abs() < ROUNDING);
        // The same scatter makes less doubt about a shorter time.
        assert!(fit.doubt(&[0.1, 0.01]) < fit.doubt(&[0.8, 0.64]));
        // Without constants of their own the nodes could not be told from drift.
        assert!(Fit::of(&rows[..2], &delays[..2], 2).is_none());
    }
}
