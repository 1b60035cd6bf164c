//! Coils that no family of `circuit` is.

use std::f64::consts::TAU;

use num_complex::Complex64;
use rand_distr::{Distribution, Uniform};
use rand_pcg::Pcg64;

/// Where a coil's size is stated, Hz.
const REFERENCE_HZ: f64 = 1_000.0;

/// A coil outside the families; every one has an inductance that falls and a loss that rises with frequency.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub enum OtherCoil {
    /// Two power laws one after the other, (C23): the exponent moves with frequency.
    TwoPowerLaws {
        /// Magnitude at 1 kHz in ohm and exponent of each.
        parts: [(f64, f64); 2],
    },
    /// An inductor and a ladder of inductors with a resistor across each, (C24).
    Ladder {
        /// The inductor that stands alone, H.
        le_h: f64,
        /// Inductance in H and resistance in ohm of each section.
        sections: Vec<(f64, f64)>,
    },
    /// An inductor that eddy currents spread out, (C25), and a small one that they leave alone.
    Spread {
        /// Inductance at low frequencies, H.
        inner_h: f64,
        /// Where it begins to fall, Hz.
        corner_hz: f64,
        /// How suddenly, between 0 and 1.
        exponent: f64,
        /// The inductor that stands alone, H.
        le_h: f64,
    },
}

impl OtherCoil {
    /// Impedance, ohm.
    pub fn impedance(&self, frequency_hz: f64) -> Complex64 {
        let s = Complex64::new(0.0, TAU * frequency_hz);
        match self {
            Self::TwoPowerLaws { parts } => {
                let turned = Complex64::new(0.0, frequency_hz / REFERENCE_HZ);
                parts.iter().map(|(ohm, n)| turned.powf(*n) * *ohm).sum()
            }
            Self::Ladder { le_h, sections } => {
                let section = |&(h, ohm): &(f64, f64)| s * h * ohm / (s * h + ohm);
                s * *le_h + sections.iter().map(section).sum::<Complex64>()
            }
            Self::Spread {
                inner_h,
                corner_hz,
                exponent,
                le_h,
            } => {
                let turned = Complex64::new(0.0, frequency_hz / corner_hz);
                s * *inner_h / (turned.powf(*exponent) + 1.0) + s * *le_h
            }
        }
    }

    /// A random coil of about `size_ohm` at 1 kHz.
    pub(super) fn random(size_ohm: f64, generator: &mut Pcg64) -> Self {
        let mut draw = |low: f64, high: f64| {
            Uniform::new(low, high).map_or(low, |range| range.sample(generator))
        };
        let size_h = size_ohm / (TAU * REFERENCE_HZ);
        match draw(0.0, 3.0) as usize {
            0 => {
                let share = draw(0.3, 0.7);
                Self::TwoPowerLaws {
                    parts: [
                        (share * size_ohm, draw(0.5, 0.65)),
                        ((1.0 - share) * size_ohm, draw(0.7, 0.9)),
                    ],
                }
            }
            1 => {
                let n_sections = draw(3.0, 6.0) as usize;
                let (mut corner_hz, mut sections) = (draw(150.0, 500.0), vec![]);
                for _ in 0..n_sections {
                    let h = size_h * draw(0.3, 1.2) * (300.0 / corner_hz).sqrt();
                    sections.push((h, TAU * corner_hz * h));
                    corner_hz *= draw(2.5, 5.0);
                }
                Self::Ladder {
                    le_h: size_h * draw(0.1, 0.3),
                    sections,
                }
            }
            _ => Self::Spread {
                inner_h: size_h * draw(1.2, 2.0),
                corner_hz: draw(400.0, 2_500.0),
                exponent: draw(0.45, 0.8),
                le_h: size_h * draw(0.1, 0.3),
            },
        }
    }
}
