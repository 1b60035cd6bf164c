//! The shape of an impedance curve, as far as detectors look at it before anything is fitted.

use crate::impedance::ImpedanceCurve;

/// A curve as ln |Z|, with single wild points (hum, a rattle) taken out.
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
        let raw: Vec<f64> = curve.z_ohm().iter().map(|z| z.norm().ln()).collect();
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
