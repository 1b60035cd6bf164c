//! Pieces of two periods, their lines on one time base, and what becomes of them: (O5) to (O8).

use std::ops::Range;

use num_complex::Complex64;

use super::sort::Sorted;
use super::steady::Steady;
use super::transform::{Transform, raised_cosine};
use super::{FEWEST_PERIODS, Stretch};

/// Periods in a piece: with a raised cosine its bins hold two lines apart from each other, and pieces a period apart add up to
/// an even weight.
const PIECE: usize = 2;
/// Correlation of the noise of neighbouring pieces: Σw(n)·w(n + N/2)/Σw² of the raised cosine.
const SHARED: f64 = 1.0 / 6.0;
/// Lines on either side whose scatter is averaged into one line's noise.
const NEAR: usize = 10;

/// Power over the variance of its mean that makes a line one that sounds: noise alone reaches it once in 20 000 times …
const ABOVE_NOISE: f64 = 10.0;
/// … and so many of so many lines side by side hardly ever.
const IN_A_ROW: (usize, usize) = (8, 10);

/// A piece of the recording.
pub(super) struct Block {
    /// Its middle, frames.
    pub middle: f64,
    /// Lines, as if the piece began with the recording, full scale = amplitude 1.
    pub lines: Vec<Complex64>,
}

/// An undisturbed stretch in pieces.
pub(super) struct Run {
    /// Where it was found.
    pub frames: Range<usize>,
    pub blocks: Vec<Block>,
    /// Mean of the pieces' lines.
    pub mean: Vec<Complex64>,
}

impl Run {
    /// Variance of the mean, line by line.
    pub fn variances(&self) -> Vec<f64> {
        variances(&[self], &self.mean)
    }
}

/// All stretches.
pub(super) struct Blocks {
    /// Frames of the period that the pieces were cut and turned by.
    pub period: f64,
    /// By how much the period proved longer since, relative.
    pub drift: f64,
    /// Odd multiples of the fundamental.
    pub multiples: Vec<usize>,
    pub runs: Vec<Run>,
}

/// One line as both nodes have it.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Line {
    /// Multiple of the fundamental.
    pub multiple: usize,
    pub source: Complex64,
    pub ratio: Complex64,
    /// Variance of the ratio's real part, which is that of its imaginary part.
    pub variance: f64,
}

impl Blocks {
    pub fn of(samples: &[f32], period: f64, steady: &Steady) -> Self {
        let length = (PIECE as f64 * period).round() as usize;
        let mut transform = Transform::new(length);
        let window = raised_cosine(length);
        let (first, last) = steady.lines;
        // Half a bin is the furthest that a line may lie beside its own.
        let top = length / (2 * PIECE);
        let multiples: Vec<usize> = (first..=last.min(top.saturating_sub(1)))
            .step_by(2)
            .collect();
        let mut runs = vec![];
        for frames in &steady.runs {
            if (frames.len() as f64) < FEWEST_PERIODS * period {
                continue;
            }
            // The driver settles in the first period; the comb looked ahead at the end.
            let (from, to) = (
                frames.start as f64 + period,
                frames.end as f64 - 0.5 * period - length as f64,
            );
            // On multiples of the period, so that what lines leak into each other is the same everywhere.
            let numbers = (from / period).ceil() as usize..=(to / period).floor() as usize;
            let blocks: Vec<Block> = numbers
                .map(|m| {
                    let start = (m as f64 * period).round() as usize;
                    let piece = &samples[start..start + length];
                    let weighted = piece.iter().zip(&window).map(|(&v, w)| f64::from(v) * w);
                    let bins = transform.of(weighted);
                    let lines = lines(bins, &multiples, start as f64 / period, length);
                    Block {
                        middle: start as f64 + 0.5 * length as f64,
                        lines,
                    }
                })
                .collect();
            if blocks.len() < 2 {
                continue;
            }
            let mean = mean(blocks.iter());
            runs.push(Run {
                frames: frames.clone(),
                blocks,
                mean,
            });
        }
        let mut blocks = Self {
            period,
            drift: 0.0,
            multiples,
            runs,
        };
        blocks.leave_out_silent_lines();
        blocks
    }

    /// Cuts off the lines below the lowest and above the highest that sounds in the loudest stretch.
    fn leave_out_silent_lines(&mut self) {
        let power = |run: &&Run| run.mean.iter().map(Complex64::norm_sqr).sum::<f64>();
        let loudest = self
            .runs
            .iter()
            .max_by(|a, b| power(a).total_cmp(&power(b)));
        let Some(loudest) = loudest else { return };
        let noise = variances(&[loudest], &loudest.mean);
        let sounds: Vec<bool> = loudest
            .mean
            .iter()
            .zip(&noise)
            .map(|(line, noise)| line.norm_sqr() > ABOVE_NOISE * noise)
            .collect();
        let mostly = |part: &[bool]| part.iter().filter(|sounds| **sounds).count() >= IN_A_ROW.0;
        let first = sounds.windows(IN_A_ROW.1).position(mostly);
        let last = sounds.windows(IN_A_ROW.1).rposition(mostly);
        let kept = match (first, last) {
            (Some(first), Some(last)) => {
                let (from, to) = (first, last + IN_A_ROW.1);
                let silent = |sounds: &&bool| !**sounds;
                let before = sounds[from..to].iter().take_while(silent).count();
                let after = sounds[from..to].iter().rev().take_while(silent).count();
                from + before..to - after
            }
            _ => 0..0,
        };
        self.multiples = self.multiples[kept.clone()].to_vec();
        for run in &mut self.runs {
            run.mean = run.mean[kept.clone()].to_vec();
            for block in &mut run.blocks {
                block.lines = block.lines[kept.clone()].to_vec();
            }
        }
        if kept.is_empty() {
            self.runs.clear();
        }
    }

    /// From the first stretch's start to the last one's end.
    pub fn whole(&self) -> Range<usize> {
        let start = self.runs.first().map_or(0, |run| run.frames.start);
        start..self.runs.last().map_or(start, |run| run.frames.end)
    }

    /// Radian a frame of each line.
    pub fn omegas(&self) -> Vec<f64> {
        let turn = std::f64::consts::TAU / self.period;
        self.multiples.iter().map(|&k| turn * k as f64).collect()
    }

    /// Lays all pieces on a clock that is `late(middle)` frames behind what was assumed.
    pub fn turn_back(&mut self, late: impl Fn(f64) -> f64) {
        let omegas = self.omegas();
        for run in &mut self.runs {
            for block in &mut run.blocks {
                let frames = late(block.middle);
                for (line, omega) in block.lines.iter_mut().zip(&omegas) {
                    *line *= Complex64::from_polar(1.0, omega * frames);
                }
            }
            run.mean = mean(run.blocks.iter());
        }
    }

    /// Mean lines of some runs' pieces.
    pub fn mean_of(&self, runs: &[usize]) -> Vec<Complex64> {
        mean(runs.iter().flat_map(|&run| &self.runs[run].blocks))
    }

    /// How a run's sound went up and down, and how long it is.
    pub fn stretch(&self, run: usize) -> Stretch {
        let run = &self.runs[run];
        let levels = run.blocks.iter().map(|block| {
            let (mut cross, mut power) = (0.0, 0.0);
            for (line, mean) in block.lines.iter().zip(&run.mean) {
                cross += (line * mean.conj()).re;
                power += mean.norm_sqr();
            }
            20.0 * (cross / power).log10()
        });
        let (low, high) = levels.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), db| {
            (
                if db < low { db } else { low },
                if db > high { db } else { high },
            )
        });
        let half = 0.5 * PIECE as f64 * self.period;
        let first = run.blocks.first().map_or(0.0, |block| block.middle - half);
        let last = run.blocks.last().map_or(0.0, |block| block.middle + half);
        Stretch {
            frames: first.round() as usize..last.round() as usize,
            n_periods: run.blocks.len() + PIECE - 1,
            wander_db: high - low,
        }
    }

    /// Both nodes' lines, (O7) and (O8).
    pub fn lines(&self, sorted: &Sorted) -> Vec<Line> {
        let source = Side::of(self, &sorted.source);
        let driver = Side::of(self, &sorted.driver);
        let list = self.multiples.iter().enumerate();
        list.map(|(i, &multiple)| {
            let ratio = driver.mean[i] / source.mean[i];
            let relative = |side: &Side| side.variance[i] / side.mean[i].norm_sqr();
            Line {
                multiple,
                source: source.mean[i],
                ratio,
                variance: 0.5 * ratio.norm_sqr() * (relative(&source) + relative(&driver)),
            }
        })
        .collect()
    }
}

/// A node's lines with the variance of their means.
struct Side {
    mean: Vec<Complex64>,
    variance: Vec<f64>,
}

impl Side {
    fn of(blocks: &Blocks, numbers: &[usize]) -> Self {
        let runs: Vec<&Run> = numbers.iter().map(|&i| &blocks.runs[i]).collect();
        let mean = blocks.mean_of(numbers);
        let variance = variances(&runs, &mean);
        Self { mean, variance }
    }
}

/// Variance of the mean of some runs' pieces, line by line, (O8).
fn variances(runs: &[&Run], mean: &[Complex64]) -> Vec<f64> {
    let n: f64 = runs.iter().map(|run| run.blocks.len() as f64).sum();
    let mut scatter = vec![0.0; mean.len()];
    for run in runs {
        for block in &run.blocks {
            for ((sum, line), mean) in scatter.iter_mut().zip(&block.lines).zip(&run.mean) {
                *sum += (line - mean).norm_sqr();
            }
        }
    }
    // Of pieces that share noise with their neighbours, within runs that each have a mean of their own.
    let pairs: f64 = runs.iter().map(|run| run.blocks.len() as f64 - 1.0).sum();
    let freedom = pairs - 2.0 * SHARED * runs.len() as f64;
    let widened = (1.0 + 2.0 * SHARED * pairs / n) / n;
    (0..mean.len())
        .map(|i| {
            let near = &scatter[i.saturating_sub(NEAR)..(i + NEAR + 1).min(scatter.len())];
            near.iter().sum::<f64>() / near.len() as f64 / freedom * widened
        })
        .collect()
}

fn lines(bins: &[Complex64], multiples: &[usize], at: f64, length: usize) -> Vec<Complex64> {
    // The window's sum is half its length, and a wave's two halves share its amplitude.
    let scale = 4.0 / length as f64;
    let turn = std::f64::consts::TAU * at;
    multiples
        .iter()
        .map(|&k| {
            let back =
                Complex64::from_polar(scale, -(turn * k as f64).rem_euclid(std::f64::consts::TAU));
            bins[PIECE * k] * back
        })
        .collect()
}

fn mean<'a>(blocks: impl Iterator<Item = &'a Block>) -> Vec<Complex64> {
    let mut sum: Vec<Complex64> = vec![];
    let mut n = 0.0;
    for block in blocks {
        if sum.is_empty() {
            sum = vec![Complex64::default(); block.lines.len()];
        }
        for (sum, line) in sum.iter_mut().zip(&block.lines) {
            *sum += line;
        }
        n += 1.0;
    }
    for line in &mut sum {
        *line /= n;
    }
    sum
}
