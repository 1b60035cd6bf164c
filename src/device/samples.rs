//! Samples as the sound system stores them, and as full scale ±1; channels in and out of interleaved blocks.

use cpal::{I24, SizedSample};

use crate::recording::ChannelPick;

/// Full scale of the integer formats.
const FULL_16: f32 = 32_768.0;
const FULL_24: f32 = 8_388_608.0;
const FULL_32: f32 = 2_147_483_648.0;

/// A sample format that is used.
pub(super) trait Wire: SizedSample + Send + 'static {
    /// Relative to full scale ±1.
    fn to_full(self) -> f32;
    /// The nearest value; beyond full scale the largest.
    fn from_full(sample: f32) -> Self;
}

impl Wire for f32 {
    fn to_full(self) -> f32 {
        self
    }
    fn from_full(sample: f32) -> Self {
        sample
    }
}

impl Wire for i32 {
    fn to_full(self) -> f32 {
        self as f32 / FULL_32
    }
    fn from_full(sample: f32) -> Self {
        // `as` saturates and turns NaN into silence.
        (sample * FULL_32) as i32
    }
}

impl Wire for I24 {
    fn to_full(self) -> f32 {
        self.inner() as f32 / FULL_24
    }
    fn from_full(sample: f32) -> Self {
        const MOST: i32 = (1 << 23) - 1;
        let value = (sample * FULL_24).round() as i32;
        I24::new(value.clamp(-MOST - 1, MOST)).unwrap_or(I24::new_unchecked(0))
    }
}

impl Wire for i16 {
    fn to_full(self) -> f32 {
        f32::from(self) / FULL_16
    }
    fn from_full(sample: f32) -> Self {
        (sample * FULL_16).round() as i16
    }
}

/// The picked channels of an interleaved block: source, driver, source, driver, …
pub(super) fn picked<T: Wire>(
    block: &[T],
    n_channels: usize,
    pick: ChannelPick,
) -> impl Iterator<Item = f32> {
    block.chunks_exact(n_channels).flat_map(move |frame| {
        [pick.source(), pick.driver()]
            .map(|channel| frame.get(channel).map_or(0.0, |sample| sample.to_full()))
    })
}

/// Fills an interleaved block: the first channel with what comes next, the others with silence.
pub(super) fn fill_left<T: Wire>(
    block: &mut [T],
    n_channels: usize,
    mut next: impl FnMut() -> f32,
) {
    for frame in block.chunks_mut(n_channels) {
        for (channel, sample) in frame.iter_mut().enumerate() {
            *sample = T::from_full(if channel == 0 { next() } else { 0.0 });
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn integers_go_there_and_back_unchanged() {
        for value in [-32_768_i16, -32_767, -1, 0, 1, 12_345, 32_767] {
            assert_eq!(i16::from_full(value.to_full()), value);
        }
        for value in [-8_388_608, -8_388_607, -1, 0, 1, 8_388_607] {
            let sample = I24::new(value).unwrap();
            assert_eq!(I24::from_full(sample.to_full()).inner(), value);
        }
        // A float holds 24 of the 32 bits.
        for value in [i32::MIN, -256, 0, 128, 8_388_607 << 8] {
            assert_eq!(i32::from_full(value.to_full()), value);
        }
    }

    #[test]
    fn beyond_full_scale_is_full_scale_and_nonsense_is_silence() {
        assert_eq!(i16::from_full(1.5), i16::MAX);
        assert_eq!(i16::from_full(-1.5), i16::MIN);
        assert_eq!(i32::from_full(1.0), i32::MAX);
        assert_eq!(I24::from_full(1.0).inner(), 8_388_607);
        assert_eq!(I24::from_full(-2.0).inner(), -8_388_608);
        assert_eq!(i16::from_full(f32::NAN), 0);
        assert_eq!(I24::from_full(f32::NAN).inner(), 0);
    }

    #[test]
    fn halves_of_a_step_are_rounded_not_cut() {
        assert_eq!(i16::from_full(0.9 / FULL_16), 1);
        assert_eq!(i16::from_full(-0.9 / FULL_16), -1);
    }

    #[test]
    fn the_picked_channels_come_source_first() {
        let block: Vec<f32> = (0..9).map(|i| i as f32).collect();
        let pick = ChannelPick::from_numbers(3, 1).unwrap();
        let got: Vec<f32> = picked(&block, 3, pick).collect();
        assert_eq!(got, [2.0, 0.0, 5.0, 3.0, 8.0, 6.0]);
    }

    #[test]
    fn only_the_left_channel_sounds() {
        let mut block = [9.0_f32; 6];
        let mut n = 0.0;
        fill_left(&mut block, 3, || {
            n += 1.0;
            n
        });
        assert_eq!(block, [1.0, 0.0, 0.0, 2.0, 0.0, 0.0]);
    }
}
