//! What happens to a take at plugs and clips: after the fact, on its samples.

use std::ops::Range;

use super::BenchTake;

impl BenchTake {
    /// The two inputs were plugged the wrong way round.
    pub fn swap_channels(&mut self) {
        std::mem::swap(&mut self.source, &mut self.driver);
    }

    /// Channel 2 is upside down.
    pub fn invert_driver(&mut self) {
        for sample in &mut self.driver {
            *sample = -*sample;
        }
    }

    /// A contact that comes and goes: within the stretches (in samples) both channels are those of `without`, the same
    /// stimulus recorded with the contact off. Stretches beyond the end are cut.
    pub fn lose_contact(&mut self, without: &Self, stretches: &[Range<usize>]) {
        for stretch in stretches {
            for i in stretch.clone() {
                if let (Some(source), Some(driver)) = (without.source.get(i), without.driver.get(i))
                    && i < self.source.len()
                {
                    (self.source[i], self.driver[i]) = (*source, *driver);
                }
            }
        }
    }
}
