//! The inputs' joint distribution.

use rand_distr::{Distribution, StandardNormal, StandardUniform};
use rand_pcg::Pcg64;

use super::MonteCarloError;
use crate::quantity::{Spread, Stated, SymmetricMatrix};

/// In a correlation matrix of n rows, variance left below this times n is rounding and counts as none.
const NOTHING_LEFT: f64 = 10.0 * f64::EPSILON;
/// What is left there may differ from nothing by this much: matrices that were computed are off by rounding,
/// amplified by small pivots; correlations that contradict each other are off by the digits they were rounded to.
const CONTRADICTION: f64 = 1e-6;

/// What is drawn, in the order in which it was added. Groups are independent of each other.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Inputs {
    groups: Vec<Group>,
    n_inputs: usize,
}

#[derive(Clone, Debug, PartialEq)]
enum Group {
    Normal {
        mean: f64,
        standard_uncertainty: f64,
    },
    Rectangular {
        centre: f64,
        half_width: f64,
    },
    /// x = means + factor·z with z standard normal; `factor` row by row, one row per input, `rank` columns.
    JointNormal {
        means: Vec<f64>,
        factor: Vec<f64>,
        rank: usize,
    },
}

impl Inputs {
    /// No inputs yet.
    pub fn new() -> Self {
        Self::default()
    }

    /// How many inputs there are: the length of a draw.
    pub fn n_inputs(&self) -> usize {
        self.n_inputs
    }

    /// Adds a normal input (JCGM 101, 6.4.7). A standard uncertainty of zero makes a constant.
    ///
    /// # Errors
    /// If a figure is not finite or the uncertainty is negative.
    pub fn normal(&mut self, mean: f64, standard_uncertainty: f64) -> Result<(), MonteCarloError> {
        self.finite("mean", mean)?;
        self.spread("standard uncertainty", standard_uncertainty)?;
        self.add(
            Group::Normal {
                mean,
                standard_uncertainty,
            },
            1,
        );
        Ok(())
    }

    /// Adds an input that is as likely anywhere within centre ± half-width (JCGM 101, 6.4.2).
    ///
    /// # Errors
    /// If a figure is not finite or the half-width is negative.
    pub fn rectangular(&mut self, centre: f64, half_width: f64) -> Result<(), MonteCarloError> {
        self.finite("centre", centre)?;
        self.spread("half-width", half_width)?;
        self.add(Group::Rectangular { centre, half_width }, 1);
        Ok(())
    }

    /// Adds a stated value: rectangular for a half-width, normal for a standard uncertainty.
    ///
    /// # Errors
    /// If nothing was stated about the spread, or a figure is not usable.
    pub fn stated(&mut self, stated: &Stated) -> Result<(), MonteCarloError> {
        match stated.spread {
            Spread::HalfWidth(half_width) => self.rectangular(stated.value, half_width),
            Spread::Standard(standard) => self.normal(stated.value, standard),
            Spread::Unstated => Err(MonteCarloError::SpreadUnstated {
                input: self.n_inputs,
            }),
        }
    }

    /// Adds as many inputs as there are means, jointly normal with this covariance (JCGM 101, 6.4.8).
    ///
    /// The covariance may be singular: rows of zeros are constants, and correlations of ±1 are kept. A linear
    /// combination is drawn faithfully if its standard uncertainty is above about 1e-7 of what it would be without
    /// correlations: a covariance in f64 holds no more.
    ///
    /// # Errors
    /// If the sizes differ, a figure is not finite, a variance is negative, or the matrix is not positive semidefinite.
    pub fn joint_normal(
        &mut self,
        means: &[f64],
        covariance: &SymmetricMatrix,
    ) -> Result<(), MonteCarloError> {
        if means.len() != covariance.n() {
            return Err(MonteCarloError::LengthsDiffer {
                means: means.len(),
                rows: covariance.n(),
            });
        }
        for (i, &mean) in means.iter().enumerate() {
            let input = self.n_inputs + i;
            finite(input, "mean", mean)?;
            spread(input, "variance", covariance.get(i, i))?;
            for j in 0..i {
                finite(input, "covariance", covariance.get(i, j))?;
            }
        }
        let (factor, rank) =
            factor(covariance).map_err(|row| MonteCarloError::NotPositiveSemidefinite {
                input: self.n_inputs + row,
            })?;
        self.add(
            Group::JointNormal {
                means: means.to_vec(),
                factor,
                rank,
            },
            means.len(),
        );
        Ok(())
    }

    fn add(&mut self, group: Group, n: usize) {
        self.groups.push(group);
        self.n_inputs += n;
    }

    fn finite(&self, what: &'static str, value: f64) -> Result<(), MonteCarloError> {
        finite(self.n_inputs, what, value)
    }

    fn spread(&self, what: &'static str, value: f64) -> Result<(), MonteCarloError> {
        spread(self.n_inputs, what, value)
    }

    /// One draw into `out`, which has [`Inputs::n_inputs`] cells. `normals` is working space.
    pub(super) fn draw(&self, generator: &mut Pcg64, normals: &mut Vec<f64>, out: &mut [f64]) {
        let mut next = 0;
        for group in &self.groups {
            match group {
                Group::Normal {
                    mean,
                    standard_uncertainty,
                } => {
                    out[next] = mean + standard_uncertainty * normal(generator);
                    next += 1;
                }
                Group::Rectangular { centre, half_width } => {
                    let unit: f64 = StandardUniform.sample(generator);
                    out[next] = centre + half_width * (2.0 * unit - 1.0);
                    next += 1;
                }
                Group::JointNormal {
                    means,
                    factor,
                    rank,
                } => {
                    normals.clear();
                    normals.extend((0..*rank).map(|_| normal(generator)));
                    for (i, mean) in means.iter().enumerate() {
                        let row = &factor[i * rank..(i + 1) * rank];
                        let deviation: f64 =
                            row.iter().zip(normals.iter()).map(|(a, z)| a * z).sum();
                        out[next + i] = mean + deviation;
                    }
                    next += means.len();
                }
            }
        }
    }
}

fn normal(generator: &mut Pcg64) -> f64 {
    StandardNormal.sample(generator)
}

fn finite(input: usize, what: &'static str, value: f64) -> Result<(), MonteCarloError> {
    if value.is_finite() {
        Ok(())
    } else {
        Err(MonteCarloError::NotUsable { input, what, value })
    }
}

fn spread(input: usize, what: &'static str, value: f64) -> Result<(), MonteCarloError> {
    if value.is_finite() && value >= 0.0 {
        Ok(())
    } else {
        Err(MonteCarloError::NotUsable { input, what, value })
    }
}

/// F with F·Fᵀ = covariance, n × rank, by Cholesky's method with pivoting: the variable with the most variance left
/// goes first, and when none has any left the rest is determined by the others. Works on the correlation matrix, so
/// that units do not matter. The error is the row where the matrix shows not to be positive semidefinite.
fn factor(covariance: &SymmetricMatrix) -> Result<(Vec<f64>, usize), usize> {
    let n = covariance.n();
    let deviations: Vec<f64> = (0..n).map(|i| covariance.get(i, i).sqrt()).collect();
    if let Some(row) = contradiction_with_zero(covariance, &deviations) {
        return Err(row);
    }
    // What is left of the correlation matrix once the columns found so far are taken out.
    let mut left = vec![0.0; n * n];
    for i in 0..n {
        for j in 0..n {
            let scale = deviations[i] * deviations[j];
            left[i * n + j] = if scale > 0.0 {
                covariance.get(i, j) / deviations[i] / deviations[j]
            } else {
                0.0
            };
        }
    }
    let mut columns: Vec<Vec<f64>> = Vec::new();
    while let Some(pivot) = (0..n).max_by(|&a, &b| left[a * n + a].total_cmp(&left[b * n + b])) {
        let most = left[pivot * n + pivot];
        if most <= NOTHING_LEFT * n as f64 || columns.len() == n {
            break;
        }
        let column: Vec<f64> = (0..n).map(|i| left[i * n + pivot] / most.sqrt()).collect();
        for i in 0..n {
            for j in 0..n {
                left[i * n + j] -= column[i] * column[j];
            }
        }
        columns.push(column);
    }
    if let Some(cell) = left
        .iter()
        .position(|value| value.is_nan() || value.abs() > CONTRADICTION)
    {
        return Err(cell / n);
    }
    let rank = columns.len();
    let mut factor = vec![0.0; n * rank];
    for (k, column) in columns.iter().enumerate() {
        for i in 0..n {
            factor[i * rank + k] = deviations[i] * column[i];
        }
    }
    Ok((factor, rank))
}

/// A row whose variance is zero although it covaries.
fn contradiction_with_zero(covariance: &SymmetricMatrix, deviations: &[f64]) -> Option<usize> {
    (0..deviations.len()).find(|&i| {
        deviations[i] == 0.0 && (0..deviations.len()).any(|j| covariance.get(i, j) != 0.0)
    })
}
