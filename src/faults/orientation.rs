//! Which channel is which, and which way up: what passive circuits between two inputs allow.
//!
//! Channel 2 sees part of channel 1's voltage: of two passive impedances in series, |Z/(Z + R)| is at most 1 and its real part
//! is positive, whatever the frequency, as long as the real parts of Z and R are. So the RMS ratio and the sign of the
//! correlation tell, on any stimulus, without a transform.

use super::Expected;
use crate::recording::Take;

/// How many times louder than channel 1 channel 2 is at least if the two are swapped, once a same-node take has shown what the
/// inputs themselves do: knobs that nobody touched in between do not drift by that (common practice, no source).
const LOUDER: f64 = 1.2;
/// The same where nothing has shown it: knobs that look alike differ by less (common practice, no source).
const LOUDER_UNMATCHED: f64 = 1.5;
/// The same where channel 2 should be silent: it hears noise, hum and 0.3 ohm of leads beside a resistor of 1 ohm.
const LOUDER_THAN_SILENCE: f64 = 3.0;
/// Beyond this channel 1 is dead, and nothing is swapped: no divider goes that far.
const DEAD: f64 = 1e3;
/// Correlation below which one channel is upside down. Dividers of coil and resistor stay above +0.5 on all invented drivers;
/// noise without a signal stays near 0.
const UPSIDE_DOWN: f64 = -0.3;

/// How the channels of one take stand to each other.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Orientation {
    /// RMS value of channel 2 over that of channel 1.
    pub ratio: f64,
    /// Correlation of the two, −1 to 1.
    pub correlation: f64,
}

impl Orientation {
    /// Of a take; `None` if a channel holds nothing.
    pub fn of(take: &Take) -> Option<Self> {
        let mean = |samples: &[f32]| {
            samples.iter().map(|&v| f64::from(v)).sum::<f64>() / samples.len() as f64
        };
        let (source_mean, driver_mean) = (mean(take.source()), mean(take.driver()));
        let (mut ss, mut dd, mut sd) = (0.0, 0.0, 0.0);
        for (&s, &d) in take.source().iter().zip(take.driver()) {
            let (s, d) = (f64::from(s) - source_mean, f64::from(d) - driver_mean);
            ss += s * s;
            dd += d * d;
            sd += s * d;
        }
        let size = (ss * dd).sqrt();
        (size > 0.0).then(|| Self {
            ratio: (dd / ss).sqrt(),
            correlation: sd / size,
        })
    }

    /// Whether the channels are swapped; `None` where both orders look alike. `inputs` is the ratio on one node, if a take shows it.
    pub fn swapped(&self, expected: Expected, inputs: Option<f64>) -> Option<bool> {
        if expected.alike {
            return None;
        }
        let limit = match inputs {
            _ if expected.silent_driver => LOUDER_THAN_SILENCE,
            Some(_) => LOUDER,
            None => LOUDER_UNMATCHED,
        };
        let louder = self.ratio / inputs.unwrap_or(1.0);
        let alive = expected.silent_driver || louder < DEAD;
        Some(louder > limit && alive)
    }

    /// Whether one channel is upside down; `None` where one of them should be silent.
    pub fn inverted(&self, expected: Expected) -> Option<bool> {
        (!expected.silent_driver).then_some(self.correlation < UPSIDE_DOWN)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(driver: impl Fn(f32) -> f32) -> Orientation {
        let source: Vec<f32> = (0..4800).map(|i| 0.2 * (0.01 * i as f32).sin()).collect();
        let driver = source.iter().map(|&v| driver(v)).collect();
        Orientation::of(&Take::new(48_000, source, driver).unwrap()).unwrap()
    }

    #[test]
    fn a_divider_is_neither_louder_nor_upside_down() {
        let usual = Expected::default();
        let right = of(|v| 0.1 * v);
        assert_eq!(right.swapped(usual, None), Some(false));
        assert_eq!(right.inverted(usual), Some(false));
        assert_eq!(of(|v| -0.1 * v).inverted(usual), Some(true));
        assert_eq!(of(|v| 3.0 * v).swapped(usual, None), Some(true));
        // Knobs that differ by a factor of 1.4 are no swap, until a same-node take has shown them to be alike.
        assert_eq!(of(|v| 1.4 * v).swapped(usual, None), Some(false));
        assert_eq!(of(|v| 1.4 * v).swapped(usual, Some(1.0)), Some(true));
        let alike = Expected {
            alike: true,
            silent_driver: false,
        };
        assert_eq!(of(|v| 1.4 * v).swapped(alike, None), None);
        let silent = Expected {
            alike: false,
            silent_driver: true,
        };
        assert_eq!(of(|v| 1.4 * v).swapped(silent, None), Some(false));
        assert_eq!(of(|v| -1.4 * v).inverted(silent), None);
    }
}
