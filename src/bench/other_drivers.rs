//! Drivers to judge by: drawn by chance, and outside everything that the analysis can fit exactly.
//!
//! Thresholds are set on [`super::drivers`]; whatever is set there is judged here. Their coils belong to no family, their
//! suspensions lose energy in ways that depend on frequency, give way when they are driven harder, and sit a little
//! differently after each mounting.

use std::f64::consts::TAU;

use num_complex::Complex64;
use rand_distr::{Distribution, StandardNormal, Uniform};
use rand_pcg::Pcg64;
use rand_pcg::rand_core::SeedableRng;

use super::driver_circuit::CarriedLoad;
use super::{DriverCircuit, Mounting, OtherCoil, Truth};

/// How a suspension's loss depends on frequency, apart from what is proportional to speed.
#[derive(Clone, Copy, Debug, PartialEq)]
#[non_exhaustive]
pub enum SuspensionLoss {
    /// A fractional power, (C26): the loss tangent is the same everywhere.
    Fractional {
        /// Exponent.
        beta: f64,
    },
    /// One relaxation, (C27): a spring that gives way slowly behind another.
    Relaxation {
        /// Compliance that comes late over the one that comes at once.
        share: f64,
        /// Where it comes, Hz.
        corner_hz: f64,
    },
    /// Creep as the logarithm of frequency, (C10).
    Creep {
        /// λ.
        lambda: f64,
    },
}

/// How a suspension gives way to drive, (C28).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Softening {
    /// Share of the stiffness that is lost in the end.
    pub share: f64,
    /// Peak volts across the terminals at the resonance where half of that is lost.
    pub half_peak_v: f64,
}

/// A driver drawn by chance.
#[derive(Clone, Debug, PartialEq)]
pub struct OtherDriver {
    /// Its number and seed as a name.
    pub label: String,
    /// DC resistance, ohm.
    pub re_ohm: f64,
    /// Force factor, T·m.
    pub bl_t_m: f64,
    /// Moving mass with the air load of free air, kg.
    pub mms_kg: f64,
    /// Stiffness of the suspension at `reference_hz` without drive, N/m.
    pub stiffness_n_per_m: f64,
    /// Where it is that, Hz.
    pub reference_hz: f64,
    /// Mechanical resistance proportional to speed, kg/s.
    pub rms_kg_per_s: f64,
    /// Area of the cone, m².
    pub sd_m2: f64,
    /// The coil.
    pub coil: OtherCoil,
    /// The rest of the suspension's loss.
    pub loss: SuspensionLoss,
    /// What drive does to it.
    pub softening: Softening,
    /// Relative standard deviation of the resonance, and of the mechanical resistance, from one mounting to the next.
    pub remount_spread: (f64, f64),
    seed: u64,
}

/// Share of the lost stiffness that is friction where half of it is lost, (C28).
const SOFTENING_LOSS: f64 = 0.3;

/// `n` drivers from woofers to tweeters: fs 25 to 1500 Hz, Qms 1.5 to 15, Qts 0.2 to 1.2. Equal seeds give equal drivers, and the
/// first of many are those of few.
pub fn other_drivers(seed: u64, n: usize) -> Vec<OtherDriver> {
    (0..n as u64)
        .map(|number| OtherDriver::random(seed, number))
        .collect()
}

impl OtherDriver {
    fn random(seed: u64, number: u64) -> Self {
        let own_seed = seed.wrapping_mul(1_000_003).wrapping_add(number);
        let mut generator = Pcg64::seed_from_u64(own_seed);
        let draw = |low: f64, high: f64, generator: &mut Pcg64| {
            Uniform::new(low, high).map_or(low, |range| range.sample(generator))
        };
        let log_draw =
            |low: f64, high: f64, generator: &mut Pcg64| draw(low.ln(), high.ln(), generator).exp();
        let g = &mut generator;
        let fs_hz = log_draw(25.0, 1_500.0, g);
        // The total Q is drawn so that the mechanical one is above it.
        let qms = log_draw(1.5, 15.0, g);
        let highest = if 0.8 * qms < 1.2 { 0.8 * qms } else { 1.2 };
        let qts = log_draw(0.2, highest, g);
        let qes = qms * qts / (qms - qts);
        let re_ohm = log_draw(3.0, 12.0, g);
        // From 25 Hz to 1500 Hz moving masses fall from about 100 g to about 0.4 g (common practice, no source).
        let mms_kg = 0.1 * (25.0 / fs_hz).powf(1.35) * log_draw(0.6, 1.7, g);
        let sd_m2 = 0.05 * (25.0 / fs_hz).powf(1.0) * log_draw(0.7, 1.4, g);
        let omega = TAU * fs_hz;
        let bl_t_m = (omega * mms_kg * re_ohm / qes).sqrt();
        // What depends on frequency takes up to half of the loss.
        let tangent = draw(0.1, 0.5, g) / qms;
        let loss = match draw(0.0, 3.0, g) as usize {
            0 => SuspensionLoss::Fractional {
                beta: tangent.atan() / std::f64::consts::FRAC_PI_2,
            },
            1 => {
                let at = log_draw(0.05, 1.0, g);
                // The loss tangent of one relaxation is about share·x/(1 + x²), x = f/corner.
                let x = 1.0 / at;
                let share = tangent * (1.0 + x * x) / x;
                SuspensionLoss::Relaxation {
                    share: if share < 0.4 { share } else { 0.4 },
                    corner_hz: at * fs_hz,
                }
            }
            _ => {
                let lambda = tangent / (std::f64::consts::FRAC_PI_2 / std::f64::consts::LN_10);
                SuspensionLoss::Creep {
                    lambda: if lambda < 0.15 { lambda } else { 0.15 },
                }
            }
        };
        let mut driver = Self {
            label: format!("other {number} of {seed}"),
            re_ohm,
            bl_t_m,
            mms_kg,
            stiffness_n_per_m: omega * omega * mms_kg,
            reference_hz: fs_hz,
            rms_kg_per_s: 0.0,
            sd_m2,
            coil: OtherCoil::random(
                re_ohm * log_draw(0.25, 1.0, g) * (25.0 / fs_hz).powf(0.55),
                g,
            ),
            loss,
            softening: Softening {
                share: draw(0.0, 0.15, g),
                half_peak_v: log_draw(0.2, 2.0, g),
            },
            remount_spread: (0.01, draw(0.01, 0.04, g)),
            seed: own_seed,
        };
        // What is left of the loss is proportional to speed.
        let suspension = driver.suspension(fs_hz, 1.0, 0.0);
        let wanted = omega * mms_kg / qms;
        driver.rms_kg_per_s = if suspension.re < 0.9 * wanted {
            wanted - suspension.re
        } else {
            0.1 * wanted
        };
        driver
    }

    /// The driver in a condition, driven with `peak_v` across its terminals at the resonance, at the `remount`-th mounting. Mounting 0
    /// is as the constants say; every other number is another chance.
    pub fn circuit(&self, mounting: &Mounting, peak_v: f64, remount: u64) -> DriverCircuit {
        let (stiffness_factor, loss_factor) = self.remounted(remount);
        let stiffness = self.stiffness_n_per_m * stiffness_factor;
        let load = CarriedLoad::of(mounting, self.sd_m2, (self.mms_kg, stiffness));
        let (own, coil) = (self.clone(), self.coil.clone());
        DriverCircuit::new(
            (self.re_ohm, self.bl_t_m),
            (self.mms_kg, stiffness),
            Box::new(move |f_hz| coil.impedance(f_hz)),
            Box::new(move |f_hz| {
                Complex64::new(own.rms_kg_per_s * loss_factor, TAU * f_hz * own.mms_kg)
                    + own.suspension(f_hz, stiffness_factor, peak_v)
                    + load.mechanical_impedance(f_hz)
            }),
        )
    }

    /// What an analysis should find at this drive and mounting; at no drive and mounting 0 the small-signal truth.
    pub fn truth(&self, peak_v: f64, remount: u64) -> Truth {
        let circuit = self.circuit(&Mounting::FreeAir, peak_v, remount);
        Truth::of(
            self.reference_hz,
            |f_hz| circuit.mechanical_impedance(f_hz),
            |f_hz| self.coil.impedance(f_hz).im / (TAU * f_hz),
            [self.re_ohm, self.mms_kg, self.bl_t_m, self.sd_m2],
        )
    }

    /// Factors on stiffness and mechanical resistance of one mounting.
    fn remounted(&self, remount: u64) -> (f64, f64) {
        if remount == 0 {
            return (1.0, 1.0);
        }
        let mut generator = Pcg64::seed_from_u64(self.seed ^ remount.wrapping_mul(0x9e37_79b9));
        let mut normal = || -> f64 { StandardNormal.sample(&mut generator) };
        let (fs, loss) = self.remount_spread;
        // Twice the resonance's, since that goes by the root of the stiffness.
        (
            (2.0 * fs * normal()).exp(),
            ((fs * fs + loss * loss).sqrt() * normal()).exp(),
        )
    }

    /// k(jω)/(jω): what the suspension adds to the mechanical impedance.
    fn suspension(&self, frequency_hz: f64, factor: f64, peak_v: f64) -> Complex64 {
        let ratio = frequency_hz / self.reference_hz;
        let turned = Complex64::new(0.0, ratio);
        let shape = match self.loss {
            SuspensionLoss::Fractional { beta } => turned.powf(beta),
            SuspensionLoss::Relaxation { share, corner_hz } => {
                let late = share / (Complex64::new(0.0, frequency_hz / corner_hz) + 1.0);
                // Scaled so that the stiffness is what it is said to be at the reference, but for the loss.
                let there = share / (1.0 + (self.reference_hz / corner_hz).powi(2));
                (1.0 + there) / (1.0 + late)
            }
            SuspensionLoss::Creep { lambda } => {
                let decades = turned.ln() / std::f64::consts::LN_10;
                (1.0 - decades * lambda).inv()
            }
        };
        let driven = peak_v / self.softening.half_peak_v;
        let given_way = driven / (1.0 + driven);
        let left = 1.0 - self.softening.share * given_way;
        let rubbed = SOFTENING_LOSS * self.softening.share * given_way / (1.0 + driven);
        let stiffness = shape * (self.stiffness_n_per_m * factor) * Complex64::new(left, rubbed);
        stiffness / Complex64::new(0.0, TAU * frequency_hz)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::circuit::Circuit;

    #[test]
    fn they_cover_what_drivers_are() {
        let drivers = other_drivers(1, 300);
        let truths: Vec<Truth> = drivers.iter().map(|d| d.truth(0.0, 0)).collect();
        let range = |of: fn(&Truth) -> f64| {
            let values = || truths.iter().map(of);
            let low = values().min_by(f64::total_cmp).unwrap();
            (low, values().max_by(f64::total_cmp).unwrap())
        };
        // The relaxation and the fractional power move the resonance by up to a few percent off the drawn one.
        for (name, (low, high), wanted) in [
            ("fs", range(|t| t.fs_hz), (23.0, 1_600.0)),
            ("qms", range(|t| t.qms), (1.4, 16.0)),
            ("qts", range(|t| t.qts), (0.19, 1.3)),
            ("re", range(|t| t.re_ohm), (3.0, 12.0)),
        ] {
            assert!(low > wanted.0 && high < wanted.1, "{name}: {low} to {high}");
            assert!(
                low < 1.4 * wanted.0 && high > 0.7 * wanted.1,
                "{name}: {low} to {high}"
            );
        }
        assert_eq!(drivers[..5], other_drivers(1, 5)[..]);
        assert_ne!(drivers[0], other_drivers(2, 1)[0]);
    }

    /// Every one is passive and causal enough to be a driver: no negative resistance anywhere.
    #[test]
    fn none_gives_power_back() {
        for driver in other_drivers(3, 100) {
            let circuit = driver.circuit(&Mounting::FreeAir, 0.3, 4);
            for i in 0..200 {
                let f_hz = 1.0 * 1.06_f64.powi(i);
                let z = circuit.impedance(f_hz, &circuit.values());
                assert!(z.re > driver.re_ohm, "{} at {f_hz}: {z}", driver.label);
                assert!(circuit.mechanical_impedance(f_hz).re > 0.0);
            }
        }
    }

    #[test]
    fn drive_softens_and_mountings_scatter() {
        let drivers = other_drivers(5, 200);
        let mut squares = 0.0;
        for (i, driver) in drivers.iter().enumerate() {
            let still = driver.truth(0.0, 0).fs_hz;
            let driven = driver.truth(1.0, 0).fs_hz;
            assert!(driven <= still && driven > 0.9 * still, "{}", driver.label);
            squares += (driver.truth(0.0, 1 + i as u64).fs_hz / still).ln().powi(2);
        }
        let spread = (squares / drivers.len() as f64).sqrt();
        // 200 draws tell a standard deviation to 5 %; four of those.
        assert!((spread / 0.01 - 1.0).abs() < 0.2, "{spread}");
    }
}
