//! From a ratio to an impedance at the sense points, and back.

use num_complex::Complex64;

/// How driver and resistor are wired.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Wiring {
    /// Source → resistor → driver → ground. Channel 2 at the driver's plus.
    AcrossDriver,
    /// Source → driver → resistor → ground. Channel 2 at the resistor's top.
    AcrossResistor,
}

impl Wiring {
    /// `across-driver` or `across-resistor`.
    pub fn as_str(self) -> &'static str {
        match self {
            Self::AcrossDriver => "across-driver",
            Self::AcrossResistor => "across-resistor",
        }
    }

    /// The wiring of this name.
    pub fn parse(text: &str) -> Option<Self> {
        [Self::AcrossDriver, Self::AcrossResistor]
            .into_iter()
            .find(|wiring| wiring.as_str() == text)
    }
}

/// Values of the jig, as they are believed or (for the uncertainty) as they might be.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Jig {
    /// Wiring.
    pub wiring: Wiring,
    /// Sense resistor, ohm.
    pub sense_ohm: f64,
    /// Loop resistance of the leads from the sense points to the terminals, ohm.
    pub lead_ohm: f64,
    /// Input resistance of channel 2, ohm; infinite if it does not load. Channel 1 sits at the source and loads nothing
    /// that is measured.
    pub load_ohm: f64,
    /// Gain of channel 2 over channel 1; 1 for alike inputs.
    pub gain: f64,
}

impl Jig {
    /// The impedance at the sense points that gives this ratio, and dZ/dH: (J1), (J2), with the load of channel 2 taken
    /// off, (J3).
    pub fn sense_point_impedance(&self, h: Complex64) -> (Complex64, Complex64) {
        let one = Complex64::new(1.0, 0.0);
        let h = h / self.gain;
        let (z, slope) = match self.wiring {
            Wiring::AcrossDriver => {
                let loaded = self.sense_ohm * h / (one - h);
                let slope = self.sense_ohm / ((one - h) * (one - h));
                // 1/Z = 1/Z_loaded − 1/R_load
                let off = one / (one - loaded / self.load_ohm);
                (loaded * off, slope * off * off)
            }
            Wiring::AcrossResistor => {
                let sense_ohm = 1.0 / (1.0 / self.sense_ohm + 1.0 / self.load_ohm);
                (sense_ohm * (one / h - one), -sense_ohm / (h * h))
            }
        };
        (z, slope / self.gain)
    }

    /// The ratio that this impedance at the sense points gives with alike channels: what a known resistor should read.
    pub fn ratio(&self, z_ohm: Complex64) -> Complex64 {
        match self.wiring {
            Wiring::AcrossDriver => {
                let loaded = z_ohm / (1.0 + z_ohm / self.load_ohm);
                loaded / (loaded + self.sense_ohm)
            }
            Wiring::AcrossResistor => {
                let sense_ohm = 1.0 / (1.0 / self.sense_ohm + 1.0 / self.load_ohm);
                sense_ohm / (sense_ohm + z_ohm)
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn jigs() -> Vec<Jig> {
        let base = Jig {
            wiring: Wiring::AcrossDriver,
            sense_ohm: 47.0,
            lead_ohm: 0.0,
            load_ohm: f64::INFINITY,
            gain: 1.0,
        };
        vec![
            base,
            Jig {
                wiring: Wiring::AcrossResistor,
                sense_ohm: 1.5,
                ..base
            },
            Jig {
                load_ohm: 10e3,
                ..base
            },
            Jig {
                wiring: Wiring::AcrossResistor,
                load_ohm: 10e3,
                sense_ohm: 2.0,
                ..base
            },
        ]
    }

    /// Kirchhoff by hand: 47 ohm and 22 ohm divide to 22/69.
    #[test]
    fn a_divider_by_hand() {
        let jig = jigs()[0];
        let h = jig.ratio(Complex64::new(22.0, 0.0));
        const ROUNDING: f64 = 1e-14;
        assert!((h - 22.0 / 69.0).norm() < ROUNDING);
    }

    #[test]
    fn impedance_undoes_ratio_and_its_slope_is_the_derivative() {
        for jig in jigs() {
            for z in [
                Complex64::new(3.6, 0.2),
                Complex64::new(40.0, -12.0),
                Complex64::new(8.0, 30.0),
            ] {
                let h = jig.ratio(z);
                let (back, slope) = jig.sense_point_impedance(h);
                const ROUNDING: f64 = 1e-12;
                assert!(
                    (back - z).norm() < ROUNDING * z.norm(),
                    "{jig:?} {z} {back}"
                );
                let step = Complex64::new(1e-6, 1e-6) * h.norm();
                let numeric = (jig.sense_point_impedance(h + step).0
                    - jig.sense_point_impedance(h - step).0)
                    / (2.0 * step);
                const METHOD: f64 = 1e-6;
                assert!((numeric - slope).norm() < METHOD * slope.norm(), "{jig:?}");
            }
        }
    }

    /// Physics table, recalculated: with 47 ohm across-driver a channel mismatch ε moves a 44 ohm peak by 1.9 ε.
    #[test]
    fn mismatch_sensitivity() {
        let jig = jigs()[0];
        let z = Complex64::new(44.0, 0.0);
        let h = jig.ratio(z);
        let moved = jig.sense_point_impedance(h * 1.001).0;
        assert!(((moved - z).norm() / 44.0 / 0.001 - 1.94).abs() < 0.01);
    }
}
