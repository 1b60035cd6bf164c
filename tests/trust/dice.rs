//! Chance from a seed.

use rand_distr::{Distribution, Uniform};
use rand_pcg::Pcg64;
use rand_pcg::rand_core::SeedableRng;

pub struct Dice(Pcg64);

impl Dice {
    pub fn new(seed: u64) -> Self {
        Self(Pcg64::seed_from_u64(seed))
    }

    /// Even between two values.
    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        Uniform::new_inclusive(low, high)
            .unwrap()
            .sample(&mut self.0)
    }

    /// Even between the logarithms of two positive values.
    pub fn ratio(&mut self, low: f64, high: f64) -> f64 {
        self.between(low.ln(), high.ln()).exp()
    }

    /// A whole number from 0 to below `n`.
    pub fn below(&mut self, n: usize) -> usize {
        Uniform::new(0, n).unwrap().sample(&mut self.0)
    }

    /// Plus or minus one.
    pub fn sign(&mut self) -> f64 {
        if self.below(2) == 0 { 1.0 } else { -1.0 }
    }

    pub fn pick<'a, T>(&mut self, list: &'a [T]) -> &'a T {
        &list[self.below(list.len())]
    }
}
