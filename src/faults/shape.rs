//! The shape of an impedance curve, as far as detectors look at it before anything is fitted.

use crate::impedance::ImpedanceCurve;

/// Relative standard uncertainty of a point that shows no shape any more: half of what a peak or a dip must stand out by.
const UNSURE: f64 = 0.05;

/// A curve as ln |Z|, with single wild points (hum, a rattle) taken out. Where hardly anything was played, below a tweeter's sweep for
/// example, noise would make peaks and dips of its own: such points go on as the nearest known one before them, or behind them.
pub(super) struct Shape {
    ln_z: Vec<f64>,
}

/// A peak (or, of the negated curve, a dip).
#[derive(Clone, Copy)]
pub(super) struct Extremum {
    pub at: usize,
    /// How far it stands above the higher one of the lowest points on either side, in ln |Z|.
    pub rise: f64,
}

impl Shape {
    pub fn of(curve: &ImpedanceCurve) -> Self {
        let raw = known(curve);
        let median = |i: usize| {
            let mut near = raw[i.saturating_sub(2)..(i + 3).min(raw.len())].to_vec();
            near.sort_by(f64::total_cmp);
            near[near.len() / 2]
        };
        Self {
            ln_z: (0..raw.len()).map(median).collect(),
        }
    }

    pub fn at(&self, i: usize) -> f64 {
        self.ln_z[i]
    }

    pub fn peak(&self) -> Option<Extremum> {
        most_prominent(&self.ln_z)
    }

    pub fn dip(&self) -> Option<Extremum> {
        most_prominent(&self.ln_z.iter().map(|v| -v).collect::<Vec<_>>())
    }

    /// Place of the largest value from `from` on.
    pub fn largest_from(&self, from: usize) -> Option<usize> {
        (from..self.ln_z.len()).max_by(|a, b| self.ln_z[*a].total_cmp(&self.ln_z[*b]))
    }
}

fn known(curve: &ImpedanceCurve) -> Vec<f64> {
    let mut ln_z: Vec<f64> = curve.z_ohm().iter().map(|z| z.norm().ln()).collect();
    let Some(covariance) = curve.covariance() else {
        return ln_z;
    };
    let is_known: Vec<bool> = (covariance.iter().zip(curve.z_ohm()))
        .map(|(c, z)| 0.5 * c.trace() < UNSURE * UNSURE * z.norm_sqr())
        .collect();
    let Some(first) = is_known.iter().position(|is| *is) else {
        return ln_z;
    };
    let mut last = ln_z[first];
    for (value, is_known) in ln_z.iter_mut().zip(is_known) {
        if is_known {
            last = *value;
        } else {
            *value = last;
        }
    }
    ln_z
}

fn most_prominent(values: &[f64]) -> Option<Extremum> {
    let lowest = |values: &mut dyn Iterator<Item = f64>| {
        let mut low = f64::INFINITY;
        let running = values.map(|v| {
            low = if v < low { v } else { low };
            low
        });
        running.collect::<Vec<f64>>()
    };
    let left = lowest(&mut values.iter().copied());
    let mut right = lowest(&mut values.iter().rev().copied());
    right.reverse();
    let inner = 1..values.len().saturating_sub(1);
    inner
        .filter(|&i| values[i] >= values[i - 1] && values[i] >= values[i + 1])
        .map(|at| {
            let foot = if left[at] > right[at] {
                left[at]
            } else {
                right[at]
            };
            Extremum {
                at,
                rise: values[at] - foot,
            }
        })
        .max_by(|a, b| a.rise.total_cmp(&b.rise))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Complex64;
    use crate::quantity::{Covariance2, FrequencyGrid};

    #[test]
    fn noise_where_nothing_was_played_has_no_shape() {
        let ohm = [
            9.0, 9.0, 9.0, 3.0, 3.0, 3.0, 9.0, 9.0, 9.0, 14.0, 14.0, 14.0,
        ];
        let f_hz: Vec<f64> = (0..12).map(|i| 180.0 + 10.0 * f64::from(i)).collect();
        let z: Vec<Complex64> = ohm.map(Complex64::from).to_vec();
        let unsure = |n: usize, u_ohm: f64| {
            let variance = |i| if i < n { u_ohm * u_ohm } else { 1e-6 };
            let covariance = (0..12).map(|i| Covariance2::circular(variance(i)));
            let grid = FrequencyGrid::new(f_hz.clone()).unwrap();
            let curve = ImpedanceCurve::new(grid, z.clone(), Some(covariance.collect()));
            Shape::of(&curve.unwrap()).dip().map_or(0.0, |dip| dip.rise)
        };
        assert!((unsure(6, 0.1) - 3.0_f64.ln()).abs() < 1e-12);
        assert!(unsure(6, 1.0) < 1e-12);
        // A curve of which nothing is known is taken as it is.
        assert!(unsure(12, 1.0) > 1.0);
    }
}
