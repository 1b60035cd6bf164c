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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn plugs_do_what_they_say() {
        let take = |source: &[f32], driver: &[f32]| BenchTake {
            sample_rate_hz: 48_000.0,
            source: source.to_vec(),
            driver: driver.to_vec(),
        };
        let mut made = take(&[1.0, 2.0, 3.0], &[0.1, 0.2, 0.3]);
        made.swap_channels();
        assert_eq!(made, take(&[0.1, 0.2, 0.3], &[1.0, 2.0, 3.0]));
        made.invert_driver();
        assert_eq!(made, take(&[0.1, 0.2, 0.3], &[-1.0, -2.0, -3.0]));
        made.lose_contact(&take(&[9.0; 3], &[0.0; 3]), &[1..2, 2..9]);
        assert_eq!(made, take(&[0.1, 9.0, 9.0], &[-1.0, 0.0, 0.0]));
    }
}
