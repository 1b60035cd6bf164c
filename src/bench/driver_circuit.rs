//! A driver whose parts are plain functions of frequency, and what may hang on its cone.

use std::f64::consts::TAU;

use num_complex::Complex64;

use super::{InventedDriver, Mounting};
use crate::circuit::{Circuit, Domain, Glance, Load, MotionalBranch, Parameter};

/// A function of frequency in Hz.
pub(super) type OfFrequency = Box<dyn Fn(f64) -> Complex64 + Send + Sync>;

/// Something that resonates besides the cone on its suspension.
#[derive(Clone, Copy, Debug, PartialEq)]
#[non_exhaustive]
pub enum ExtraResonance {
    /// A mass on a lossy spring of its own that rides on the cone or the frame, (C21): a loose screw, a dust cap, a frame that
    /// rings. It leaves a narrow loop in the curve.
    Rider {
        /// Its resonance with the cone held, Hz.
        frequency_hz: f64,
        /// Its quality factor.
        q: f64,
        /// Its mass over the moving mass.
        mass_ratio: f64,
    },
    /// The driver sits in a box with a port, (C22): two peaks about as high as each other.
    VentedBox {
        /// Resonance of port and box, Hz.
        frequency_hz: f64,
        /// Quality factor of the box's losses.
        ql: f64,
        /// Stiffness of the box's air over that of the suspension.
        stiffness_ratio: f64,
    },
}

/// A driver as a bench knows it: Re, a coil, a force factor and a mechanical impedance. Its one parameter is `re_ohm`.
///
/// It is for making takes only: its start values and derivatives other than that of `re_ohm` do not exist.
pub struct DriverCircuit {
    parameters: [Parameter; 1],
    pub(super) re_ohm: f64,
    pub(super) bl_t_m: f64,
    pub(super) mms_kg: f64,
    pub(super) stiffness_n_per_m: f64,
    pub(super) coil_ohm: OfFrequency,
    pub(super) mechanical: OfFrequency,
    extras: Vec<ExtraResonance>,
}

impl DriverCircuit {
    pub(super) fn new(
        (re_ohm, bl_t_m): (f64, f64),
        (mms_kg, stiffness_n_per_m): (f64, f64),
        coil_ohm: OfFrequency,
        mechanical: OfFrequency,
    ) -> Self {
        Self {
            parameters: [Parameter::new("re_ohm", "Ohm", Domain::Positive)],
            re_ohm,
            bl_t_m,
            mms_kg,
            stiffness_n_per_m,
            coil_ohm,
            mechanical,
            extras: vec![],
        }
    }

    /// The same driver with something that resonates beside it.
    #[must_use]
    pub fn with(mut self, extra: ExtraResonance) -> Self {
        self.extras.push(extra);
        self
    }

    /// The circuit's values: Re, ohm.
    pub fn values(&self) -> Vec<f64> {
        vec![self.re_ohm]
    }

    /// Mechanical impedance F/v with everything that hangs on the cone, N·s/m.
    pub fn mechanical_impedance(&self, frequency_hz: f64) -> Complex64 {
        let of = |extra: &ExtraResonance| {
            extra.mechanical_impedance(frequency_hz, self.mms_kg, self.stiffness_n_per_m)
        };
        (self.mechanical)(frequency_hz) + self.extras.iter().map(of).sum::<Complex64>()
    }
}

impl ExtraResonance {
    /// What it adds to the mechanical impedance of a driver of this moving mass and stiffness (N/m), N·s/m.
    pub fn mechanical_impedance(self, frequency_hz: f64, mms_kg: f64, stiffness: f64) -> Complex64 {
        let s = Complex64::new(0.0, TAU * frequency_hz);
        match self {
            Self::Rider {
                frequency_hz,
                q,
                mass_ratio,
            } => {
                let omega = TAU * frequency_hz;
                let lossy = s * (omega / q) + omega * omega;
                s * (mass_ratio * mms_kg) * lossy / (s * s + lossy)
            }
            Self::VentedBox {
                frequency_hz,
                ql,
                stiffness_ratio,
            } => {
                let omega = TAU * frequency_hz;
                stiffness_ratio * stiffness / (s + omega / ql + omega * omega / s)
            }
        }
    }
}

impl Circuit for DriverCircuit {
    fn name(&self) -> &str {
        "bench driver"
    }

    fn parameters(&self) -> &[Parameter] {
        &self.parameters
    }

    fn impedance(&self, frequency_hz: f64, values: &[f64]) -> Complex64 {
        let motional = self.bl_t_m * self.bl_t_m / self.mechanical_impedance(frequency_hz);
        values[0] + (self.coil_ohm)(frequency_hz) + motional
    }

    fn impedance_and_derivatives(
        &self,
        frequency_hz: f64,
        values: &[f64],
        derivatives: &mut [Complex64],
    ) -> Complex64 {
        derivatives[0] = Complex64::ONE;
        self.impedance(frequency_hz, values)
    }

    fn start(&self, _: &Glance) -> Vec<f64> {
        self.values()
    }
}

impl InventedDriver {
    /// The same driver as [`InventedDriver::set_up`] gives, ready for an [`ExtraResonance`].
    pub fn circuit(&self, mounting: &Mounting) -> DriverCircuit {
        let branch = MotionalBranch::new(self.creep.map(|creep| creep.reference_hz), Load::Free);
        let values = self.mechanical_values();
        let (coil, coil_values) = (self.coil.family.coil(), self.coil.values);
        let load = CarriedLoad::of(mounting, self.sd_m2, (self.mms_kg, 1.0 / self.cms_m_per_n));
        DriverCircuit::new(
            (self.re_ohm, self.bl_t_m),
            (self.mms_kg, 1.0 / self.cms_m_per_n),
            Box::new(move |f_hz| coil.impedance(f_hz, coil_values)),
            Box::new(move |f_hz| {
                branch.mechanical_impedance(f_hz, &values) + load.mechanical_impedance(f_hz)
            }),
        )
    }
}

/// What a mounting puts on the cone: a mass, and a box's air as (C12) has it.
#[derive(Clone, Copy)]
pub(super) struct CarriedLoad {
    mass_kg: f64,
    air_stiffness_n_per_m: f64,
    leak_per_s: f64,
}

impl CarriedLoad {
    pub(super) fn of(mounting: &Mounting, sd_m2: f64, (mms_kg, stiffness): (f64, f64)) -> Self {
        match *mounting {
            Mounting::FreeAir => Self {
                mass_kg: 0.0,
                air_stiffness_n_per_m: 0.0,
                leak_per_s: 0.0,
            },
            Mounting::AddedMass { added_mass_kg } => Self {
                mass_kg: added_mass_kg,
                air_stiffness_n_per_m: 0.0,
                leak_per_s: 0.0,
            },
            Mounting::TestBox {
                volume_m3,
                rho_c2_pa,
                air_load_kg,
                inverse_ql,
            } => {
                let air_stiffness_n_per_m = rho_c2_pa * sd_m2 * sd_m2 / volume_m3;
                let omega_c = ((stiffness + air_stiffness_n_per_m) / mms_kg).sqrt();
                Self {
                    mass_kg: air_load_kg,
                    air_stiffness_n_per_m,
                    leak_per_s: omega_c * inverse_ql,
                }
            }
        }
    }

    pub(super) fn mechanical_impedance(&self, frequency_hz: f64) -> Complex64 {
        let s = Complex64::new(0.0, TAU * frequency_hz);
        s * self.mass_kg + self.air_stiffness_n_per_m / (s + self.leak_per_s)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bench::drivers;

    /// Rounding: the same formulas in another order.
    const ROUNDING: f64 = 1e-12;

    #[test]
    fn without_an_extra_it_is_the_driver_that_the_circuits_make() {
        for driver in drivers() {
            for mounting in [
                Mounting::FreeAir,
                Mounting::AddedMass {
                    added_mass_kg: 0.8 * driver.mms_kg,
                },
                Mounting::TestBox {
                    volume_m3: 0.01,
                    rho_c2_pa: 141_900.0,
                    air_load_kg: 0.1 * driver.mms_kg,
                    inverse_ql: 0.05,
                },
            ] {
                let (series, series_values) = driver.set_up(&mounting);
                let own = driver.circuit(&mounting);
                for f_hz in [7.0, 55.0, 410.0, 9_000.0] {
                    let expected = series.impedance(f_hz, &series_values);
                    let found = own.impedance(f_hz, &own.values());
                    assert!(
                        (found - expected).norm() < ROUNDING * expected.norm(),
                        "{} {f_hz}: {found} {expected}",
                        driver.label
                    );
                }
            }
        }
    }

    /// A rider far below its resonance is so much more mass; far above, it stays behind.
    #[test]
    fn a_rider_is_mass_below_and_nothing_above() {
        let rider = ExtraResonance::Rider {
            frequency_hz: 300.0,
            q: 30.0,
            mass_ratio: 0.1,
        };
        let below = rider.mechanical_impedance(3.0, 0.02, 1.0);
        // (3/300)² = 1e-4 is what is left of the spring.
        assert!((below.im / (TAU * 3.0 * 0.002) - 1.0).abs() < 2e-4);
        let above = rider.mechanical_impedance(30_000.0, 0.02, 1.0);
        assert!(above.norm() < 0.1 * TAU * 30_000.0 * 0.002);
    }

    /// Lossless limit, Small: the cone stands still at the box's own resonance, so that only Re and the coil are left.
    #[test]
    fn a_port_takes_the_movement_over_at_its_resonance() {
        let driver = &drivers()[7];
        let circuit = driver
            .circuit(&Mounting::FreeAir)
            .with(ExtraResonance::VentedBox {
                frequency_hz: 40.0,
                ql: 1e6,
                stiffness_ratio: 1.5,
            });
        let z = circuit.impedance(40.0, &circuit.values()) - driver.re_ohm;
        let coil = driver
            .coil
            .family
            .coil()
            .impedance(40.0, driver.coil.values);
        assert!((z - coil).norm() < 1e-3 * driver.re_ohm, "{z} {coil}");
    }
}
