//! The jig's model at one frequency: what it shows of any load, and what the calibration takes make of its unknowns.

use num_complex::Complex64;

use super::{Jig, Wiring};

/// What is at the terminals.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Standard {
    /// Both inputs on one node.
    SameNode,
    /// Nothing.
    Open,
    /// A short.
    Short,
    /// A resistor, ohm.
    Load(f64),
}

impl Standard {
    /// Which of the model's unknowns this standard tells.
    fn tells(self) -> usize {
        match self {
            Self::SameNode | Self::Load(_) => GAIN,
            Self::Open => ADMITTANCE,
            Self::Short => LEADS,
        }
    }
}

/// Places of the unknowns.
const GAIN: usize = 0;
const ADMITTANCE: usize = 1;
const LEADS: usize = 2;

/// Newton steps at the most. Each squares the error: from 10 % off, five reach rounding.
const STEPS: usize = 12;

/// (J6) with its unknowns at one frequency.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Model {
    wiring: Wiring,
    sense_ohm: f64,
    /// Conductance beside the sense resistor, siemens: what channel 2 draws there. Zero in the wiring across-driver.
    beside_sense: f64,
    /// Channel 2 over channel 1; admittance across the sense points, siemens; the leads, ohm.
    unknowns: [Complex64; 3],
}

/// How the unknowns follow what was measured.
pub(super) struct Solved {
    pub model: Model,
    /// ∂unknown/∂ratio: a row for each unknown, a column for each measured standard, in their order.
    pub slopes: [[Complex64; 3]; 3],
}

impl Model {
    /// The unknowns as they were typed or assumed.
    pub fn typed(jig: &Jig) -> Self {
        let load = 1.0 / jig.load_ohm;
        let (across, beside_sense) = match jig.wiring {
            Wiring::AcrossDriver => (load, 0.0),
            Wiring::AcrossResistor => (0.0, load),
        };
        Self {
            wiring: jig.wiring,
            sense_ohm: jig.sense_ohm,
            beside_sense,
            unknowns: [jig.gain.into(), across.into(), jig.lead_ohm.into()],
        }
    }

    pub fn gain(&self) -> Complex64 {
        self.unknowns[GAIN]
    }

    pub fn admittance_s(&self) -> Complex64 {
        self.unknowns[ADMITTANCE]
    }

    pub fn leads_ohm(&self) -> Complex64 {
        self.unknowns[LEADS]
    }

    /// The ratio that a standard shows, and its derivatives by the unknowns: (J6).
    pub fn ratio(&self, standard: Standard) -> (Complex64, [Complex64; 3]) {
        let (one, none) = (Complex64::ONE, Complex64::ZERO);
        let [gain, y, leads] = self.unknowns;
        let r = self.sense_ohm;
        let z = match standard {
            Standard::SameNode => return (gain, [one, none, none]),
            Standard::Open => {
                let (share, by_y) = match self.wiring {
                    Wiring::AcrossDriver => {
                        let share = one / (one + r * y);
                        (share, -r * share * share)
                    }
                    Wiring::AcrossResistor => {
                        let k = 1.0 / r + self.beside_sense;
                        (y / (y + k), k / ((y + k) * (y + k)))
                    }
                };
                return (gain * share, [share, gain * by_y, none]);
            }
            Standard::Short => leads,
            Standard::Load(ohm) => ohm + leads,
        };
        let (share, by_y, by_z) = match self.wiring {
            Wiring::AcrossDriver => {
                let below = z * (one + r * y) + r;
                (z / below, -r * z * z / (below * below), r / (below * below))
            }
            Wiring::AcrossResistor => {
                let k = 1.0 / r + self.beside_sense;
                let above = one + z * y;
                let below = above + z * k;
                (
                    above / below,
                    k * z * z / (below * below),
                    -k / (below * below),
                )
            }
        };
        (gain * share, [share, gain * by_y, gain * by_z])
    }

    /// The unknowns that show these ratios; those that no standard tells stay as typed. At most one standard for each
    /// unknown.
    pub fn solved(mut self, measured: &[(Standard, Complex64)]) -> Solved {
        let mut inverse = None;
        for _ in 0..STEPS {
            let Some(inverted) = self.inverse_jacobian(measured) else {
                break;
            };
            let missing: Vec<Complex64> = measured
                .iter()
                .map(|(standard, h)| h - self.ratio(*standard).0)
                .collect();
            let before = self.unknowns;
            for (row, (standard, _)) in inverted.iter().zip(measured) {
                let step: Complex64 = row.iter().zip(&missing).map(|(a, b)| a * b).sum();
                self.unknowns[standard.tells()] += step;
            }
            inverse = Some(inverted);
            if self.unknowns == before {
                break;
            }
        }
        let mut slopes = [[Complex64::ZERO; 3]; 3];
        let inverse = self.inverse_jacobian(measured).or(inverse);
        for (row, (standard, _)) in inverse.iter().flatten().zip(measured) {
            slopes[standard.tells()] = *row;
        }
        Solved {
            model: self,
            slopes,
        }
    }

    /// ∂unknown/∂ratio for the unknowns that the standards tell, in the standards' order.
    fn inverse_jacobian(&self, measured: &[(Standard, Complex64)]) -> Option<[[Complex64; 3]; 3]> {
        let free: Vec<usize> = measured.iter().map(|(s, _)| s.tells()).collect();
        let mut jacobian = nalgebra::Matrix3::<Complex64>::identity();
        for (row, (standard, _)) in measured.iter().enumerate() {
            let (_, gradient) = self.ratio(*standard);
            for (column, unknown) in free.iter().enumerate() {
                jacobian[(row, column)] = gradient[*unknown];
            }
        }
        let inverse = jacobian.try_inverse()?;
        let mut rows = [[Complex64::ZERO; 3]; 3];
        for (i, row) in rows.iter_mut().enumerate().take(free.len()) {
            for (j, cell) in row.iter_mut().enumerate().take(free.len()) {
                *cell = inverse[(i, j)];
            }
        }
        Some(rows)
    }
}

impl Solved {
    /// The ratio that a standard would show, and how it follows each measured one.
    pub fn predicted(&self, standard: Standard) -> (Complex64, [Complex64; 3]) {
        let (ratio, gradient) = self.model.ratio(standard);
        let mut slopes = [Complex64::ZERO; 3];
        for (by_unknown, row) in gradient.iter().zip(&self.slopes) {
            for (slope, cell) in slopes.iter_mut().zip(row) {
                *slope += by_unknown * cell;
            }
        }
        (ratio, slopes)
    }
}
