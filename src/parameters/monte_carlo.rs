//! Propagation of distributions by a Monte Carlo method, after JCGM 101:2008 (Supplement 1 to the GUM).
//!
//! Inputs are drawn from their distributions, a model turns each draw into outputs, and the outputs are summed up:
//! mean, standard uncertainty, probabilistically symmetric 95 % interval, correlations. Nothing is linearised.
//!
//! Conventions: every input and output in its own SI unit; outputs correlate through the draws they share. The same
//! seed gives the same draws in every version of this crate. Memory: 8 bytes per draw and output.
//!
//! Clause numbers of JCGM 101 are from memory, the procedures confirmed by its worked examples (`tests/gum_examples.rs`).

mod inputs;
mod statistics;

pub use inputs::Inputs;
pub use statistics::{Output, Statistics};

use rand_pcg::Pcg64;
use rand_pcg::rand_core::SeedableRng;

use crate::quantity::SymmetricMatrix;

/// Draws that are made when nobody asks for more.
pub const DEFAULT_DRAWS: usize = 10_000;

/// The fewest draws of which a 95 % interval can be read with some meaning: two or three lie outside on either side.
const FEWEST_DRAWS: usize = 100;
/// A bound on time and memory; JCGM 101, 7.2.2 finds 10⁶ usual.
const MOST_DRAWS: usize = 10_000_000;

/// Draws per block of the adaptive procedure: max(⌈100/(1 − p)⌉, 10⁴) with p = 0.95 (JCGM 101, 7.9.4 b).
const BLOCK: usize = 10_000;

/// How many draws to make.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub enum Draws {
    /// That many, 100 to 10 000 000.
    Fixed(usize),
    /// Blocks of 10 000 until every output's mean, uncertainty and interval ends are stable (JCGM 101, 7.9).
    Adaptive {
        /// How many digits of the standard uncertainty shall be trustworthy: 1 or 2 as a rule, 1 to 4 at all.
        significant_digits: u8,
        /// Where to give up, up to 10 000 000.
        at_most: usize,
    },
}

impl Default for Draws {
    fn default() -> Self {
        Self::Fixed(DEFAULT_DRAWS)
    }
}

/// What came out.
#[derive(Clone, Debug, PartialEq)]
pub struct Propagation {
    /// One for each output.
    pub outputs: Vec<Output>,
    /// Correlation matrix of the outputs. Each pair over the draws in which both were finite; an output that does not
    /// vary correlates with nothing.
    pub correlation: SymmetricMatrix,
    /// Draws that were made.
    pub draws: usize,
    /// Of the adaptive procedure: whether all outputs settled. `None` for a fixed number of draws.
    pub settled: Option<bool>,
}

/// Why nothing could be drawn.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum MonteCarloError {
    /// A mean, a centre or a spread that is not a number, or a negative spread.
    #[error(
        "input {input} has the {what} {value}; it must be finite, and a spread must not be negative"
    )]
    NotUsable {
        /// Position of the input, from 0.
        input: usize,
        /// Which of its figures.
        what: &'static str,
        /// That figure.
        value: f64,
    },
    /// A stated value whose doubt nobody stated.
    #[error("nothing is known about the spread of input {input}; put a default in its place first")]
    SpreadUnstated {
        /// Position of the input, from 0.
        input: usize,
    },
    /// Means and covariance that do not belong together.
    #[error("{means} means do not fit a covariance of {rows} rows; give one row for each")]
    LengthsDiffer {
        /// Number of means.
        means: usize,
        /// Rows of the covariance.
        rows: usize,
    },
    /// A covariance that no set of quantities can have.
    #[error(
        "the covariance is not positive semidefinite (seen at input {input}): the correlations contradict each \
         other; give more digits"
    )]
    NotPositiveSemidefinite {
        /// Position of the input where it shows, from 0.
        input: usize,
    },
    /// A number of draws out of range.
    #[error("{draws} draws were asked for; between {least} and {most} can be made")]
    DrawsOutOfRange {
        /// Asked for.
        draws: usize,
        /// Fewest.
        least: usize,
        /// Most.
        most: usize,
    },
    /// A number of digits out of range.
    #[error("{digits} significant digits of the uncertainty were asked for; 1 to 4 can be had")]
    DigitsOutOfRange {
        /// Asked for.
        digits: u8,
    },
}

/// Draws from `inputs` and sums up what `model` makes of the draws.
///
/// `model(inputs, outputs)` reads one draw and writes `n_outputs` values. An output that it leaves alone, or that is
/// not finite, counts as not finite for that draw and shows in [`Output::not_finite_draws`].
///
/// # Errors
/// If the number of draws or digits is out of range.
pub fn propagate(
    inputs: &Inputs,
    n_outputs: usize,
    draws: Draws,
    seed: u64,
    mut model: impl FnMut(&[f64], &mut [f64]),
) -> Result<Propagation, MonteCarloError> {
    let most = match draws {
        Draws::Fixed(draws) => in_range(draws, FEWEST_DRAWS)?,
        // Stability shows between blocks, so at least two.
        Draws::Adaptive { at_most, .. } => in_range(at_most, 2 * BLOCK)?,
    };
    let mut run = Run {
        inputs,
        generator: Pcg64::seed_from_u64(seed),
        draw: vec![0.0; inputs.n_inputs()],
        normals: Vec::new(),
        result: vec![f64::NAN; n_outputs],
        columns: vec![Vec::new(); n_outputs],
        made: 0,
    };
    let settled = match draws {
        Draws::Fixed(_) => {
            run.make(most, &mut model);
            None
        }
        Draws::Adaptive {
            significant_digits, ..
        } => {
            if !(1..=4).contains(&significant_digits) {
                return Err(MonteCarloError::DigitsOutOfRange {
                    digits: significant_digits,
                });
            }
            Some(run.make_until_settled(most, significant_digits, &mut model))
        }
    };
    let outputs: Vec<Output> = run
        .columns
        .iter()
        .map(|column| Output::of(column))
        .collect();
    let correlation = statistics::correlation(&run.columns, &outputs);
    Ok(Propagation {
        outputs,
        correlation,
        draws: run.made,
        settled,
    })
}

fn in_range(draws: usize, least: usize) -> Result<usize, MonteCarloError> {
    if (least..=MOST_DRAWS).contains(&draws) {
        Ok(draws)
    } else {
        Err(MonteCarloError::DrawsOutOfRange {
            draws,
            least,
            most: MOST_DRAWS,
        })
    }
}

struct Run<'a> {
    inputs: &'a Inputs,
    generator: Pcg64,
    draw: Vec<f64>,
    normals: Vec<f64>,
    result: Vec<f64>,
    /// One per output, one value per draw.
    columns: Vec<Vec<f64>>,
    made: usize,
}

impl Run<'_> {
    fn make(&mut self, draws: usize, model: &mut impl FnMut(&[f64], &mut [f64])) {
        for column in &mut self.columns {
            column.reserve(draws);
        }
        for _ in 0..draws {
            self.inputs
                .draw(&mut self.generator, &mut self.normals, &mut self.draw);
            self.result.fill(f64::NAN);
            model(&self.draw, &mut self.result);
            for (column, value) in self.columns.iter_mut().zip(&self.result) {
                column.push(*value);
            }
        }
        self.made += draws;
    }

    /// JCGM 101, 7.9.4: the spread between blocks tells how well the averages over the blocks are known.
    fn make_until_settled(
        &mut self,
        most: usize,
        significant_digits: u8,
        model: &mut impl FnMut(&[f64], &mut [f64]),
    ) -> bool {
        let mut blocks: Vec<Vec<Option<Statistics>>> = vec![Vec::new(); self.columns.len()];
        while self.made + BLOCK <= most {
            let from = self.made;
            self.make(BLOCK, model);
            for (block, column) in blocks.iter_mut().zip(&self.columns) {
                block.push(Output::of(&column[from..]).statistics);
            }
            if self.made >= 2 * BLOCK
                && blocks
                    .iter()
                    .all(|block| statistics::settled(block, significant_digits))
            {
                return true;
            }
        }
        false
    }
}

#[cfg(test)]
mod tests;
