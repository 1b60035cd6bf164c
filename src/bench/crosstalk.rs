//! Crosstalk between the two inputs.

use num_complex::Complex64;

use super::BenchError;

/// What each input hears of the other one's voltage, before its own gain and coupling.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Crosstalk {
    /// Share of channel 2's voltage that channel 1 hears.
    pub into_source: f64,
    /// Share of channel 1's voltage that channel 2 hears.
    pub into_driver: f64,
    /// Frequency at which it is that much, if it rises in proportion to frequency as through a capacitance, Hz; `None`: the
    /// same everywhere.
    pub rising_at_hz: Option<f64>,
}

impl Crosstalk {
    /// What the inputs hear of two node voltages.
    pub(super) fn heard(&self, frequency_hz: f64, [v_1, v_2]: [Complex64; 2]) -> [Complex64; 2] {
        let rise = self.rising_at_hz.map_or(Complex64::ONE, |at_hz| {
            Complex64::new(0.0, frequency_hz / at_hz)
        });
        [
            v_1 + rise * v_2 * self.into_source,
            v_2 + rise * v_1 * self.into_driver,
        ]
    }

    pub(super) fn check(&self) -> Result<(), BenchError> {
        for (setting, value) in [
            ("crosstalk into_source", self.into_source),
            ("crosstalk into_driver", self.into_driver),
        ] {
            if !value.is_finite() {
                let allowed = "finite";
                return Err(BenchError::Setting {
                    setting,
                    value,
                    allowed,
                });
            }
        }
        match self.rising_at_hz {
            Some(value) if !(value > 0.0 && value.is_finite()) => Err(BenchError::Setting {
                setting: "crosstalk rising_at_hz",
                value,
                allowed: "positive and finite, or absent",
            }),
            _ => Ok(()),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_input_hears_its_share_of_the_other() {
        let volts = [Complex64::new(1.0, 0.0), Complex64::new(0.2, 0.1)];
        let flat = Crosstalk {
            into_source: 0.01,
            into_driver: 0.02,
            rising_at_hz: None,
        };
        let [one, two] = flat.heard(50.0, volts);
        const ROUNDING: f64 = 1e-15;
        assert!((one - Complex64::new(1.002, 0.001)).norm() < ROUNDING);
        assert!((two - Complex64::new(0.22, 0.1)).norm() < ROUNDING);
        let rising = Crosstalk {
            rising_at_hz: Some(1000.0),
            ..flat
        };
        // A twentieth of it at a twentieth of the frequency, a quarter turn ahead.
        let [_, two] = rising.heard(50.0, volts);
        assert!((two - Complex64::new(0.2, 0.101)).norm() < ROUNDING);
        assert!(flat.check().is_ok());
        let bad = Crosstalk {
            rising_at_hz: Some(0.0),
            ..flat
        };
        assert!(bad.check().is_err());
    }
}
