//! The moving parts, as the terminals see them.

use std::f64::consts::{FRAC_PI_2, LOG10_E, TAU};

use num_complex::Complex64;

use super::start::positive_or;
use super::{Circuit, Domain, Glance, Load, Parameter};

/// The motional branch Bl²/Z_mech, (C8).
///
/// Parameters, in this order: `bl_t_m`, `mms_kg` (with the air load of free air), `cms_m_per_n`, `rms_kg_per_s`; with
/// creep `creep`, the λ of (C10); in a test box, where asked for, `box_air_load_kg`, the change of air load that the box
/// brings, and `box_inverse_ql`, the 1/QL of (C12).
///
/// `box_inverse_ql` is zero for an airtight box. Its domain is all numbers, because the impedance runs smoothly through
/// zero and an airtight box scatters to both sides of it; a value that is negative beyond its uncertainty says that
/// something else is wrong.
#[derive(Clone, Debug)]
pub struct MotionalBranch {
    creep_reference_hz: Option<f64>,
    load: Load,
    parameters: Vec<Parameter>,
    /// Where the optional parameters stand.
    creep: Option<usize>,
    air_load: Option<usize>,
    leak: Option<usize>,
}

const BL: usize = 0;
const MMS: usize = 1;
const CMS: usize = 2;
const RMS: usize = 3;

/// Start value of λ: the middle of what suspensions show (0.02 to 0.2; common practice, no source).
const START_CREEP: f64 = 0.1;

/// The least share of a boxed driver's stiffness that a start value leaves to the suspension.
const LEAST_SUSPENSION_SHARE: f64 = 0.1;

impl MotionalBranch {
    /// A motional branch. `creep_reference_hz` asks for suspension creep and says where `cms_m_per_n` is its nominal
    /// compliance: the f0 of (C10), best put near the resonance.
    pub fn new(creep_reference_hz: Option<f64>, load: Load) -> Self {
        let mut parameters = vec![
            Parameter::new("bl_t_m", "T.m", Domain::Positive),
            Parameter::new("mms_kg", "kg", Domain::Positive),
            Parameter::new("cms_m_per_n", "m/N", Domain::Positive),
            Parameter::new("rms_kg_per_s", "kg/s", Domain::Positive),
        ];
        let mut add = |wanted: bool, parameter: Parameter| {
            wanted.then(|| {
                parameters.push(parameter);
                parameters.len() - 1
            })
        };
        let (has_air_load, has_leak) = match load {
            Load::TestBox(test_box) => (test_box.air_load, test_box.leak),
            Load::Free | Load::AddedMass { .. } => (false, false),
        };
        let creep = add(
            creep_reference_hz.is_some(),
            Parameter::new("creep", "1", Domain::Between(0.0, 1.0)),
        );
        let air_load = add(
            has_air_load,
            Parameter::new("box_air_load_kg", "kg", Domain::Real),
        );
        let leak = add(
            has_leak,
            Parameter::new("box_inverse_ql", "1", Domain::Real),
        );
        Self {
            creep_reference_hz,
            load,
            parameters,
            creep,
            air_load,
            leak,
        }
    }

    /// What the cone carries.
    pub fn load(&self) -> Load {
        self.load
    }

    /// The f0 of (C10) in hertz, if this branch has creep.
    pub fn creep_reference_hz(&self) -> Option<f64> {
        self.creep_reference_hz
    }

    /// The suspension's compliance in m/N, (C10); its imaginary part is zero without creep.
    pub fn compliance_m_per_n(&self, frequency_hz: f64, values: &[f64]) -> Complex64 {
        self.creep_factor(frequency_hz, values).0 * values[CMS]
    }

    /// The mechanical impedance F/v in N·s/m, (C9), with the load. Its imaginary part is zero at the resonance; its real
    /// part there is the total mechanical resistance.
    pub fn mechanical_impedance(&self, frequency_hz: f64, values: &[f64]) -> Complex64 {
        let omega = TAU * frequency_hz;
        self.mass_and_resistance(omega, values)
            + self.suspension(frequency_hz, values)
            + self.box_air(omega, values).0
    }

    /// C/Cms, and log10(jω/ω0) where there is creep.
    fn creep_factor(&self, frequency_hz: f64, values: &[f64]) -> (Complex64, Complex64) {
        match (self.creep, self.creep_reference_hz) {
            (Some(at), Some(reference_hz)) => {
                let logarithm = Complex64::new(
                    (frequency_hz / reference_hz).ln() * LOG10_E,
                    FRAC_PI_2 * LOG10_E,
                );
                (1.0 - logarithm * values[at], logarithm)
            }
            _ => (Complex64::ONE, Complex64::ZERO),
        }
    }

    fn mass_and_resistance(&self, omega: f64, values: &[f64]) -> Complex64 {
        let carried_kg = match self.load {
            Load::AddedMass { added_mass_kg } => added_mass_kg,
            Load::Free | Load::TestBox(_) => self.air_load.map_or(0.0, |at| values[at]),
        };
        Complex64::new(values[RMS], omega * (values[MMS] + carried_kg))
    }

    /// 1/(jωC).
    fn suspension(&self, frequency_hz: f64, values: &[f64]) -> Complex64 {
        let elastic = -1.0 / (TAU * frequency_hz * values[CMS]);
        if self.creep.is_none() {
            return Complex64::new(0.0, elastic);
        }
        let softer = self.creep_factor(frequency_hz, values).0.inv();
        Complex64::new(-elastic * softer.im, elastic * softer.re)
    }

    /// The same, and its derivative with respect to λ.
    fn suspension_and_derivative(
        &self,
        frequency_hz: f64,
        values: &[f64],
    ) -> (Complex64, Complex64) {
        let elastic = Complex64::new(0.0, -1.0 / (TAU * frequency_hz * values[CMS]));
        if self.creep.is_none() {
            return (elastic, Complex64::ZERO);
        }
        let (factor, logarithm) = self.creep_factor(frequency_hz, values);
        let softer = factor.inv();
        let suspension = elastic * softer;
        (suspension, suspension * logarithm * softer)
    }

    /// The box's air, (C12): its mechanical impedance, and the derivatives with respect to Mms, Cms and 1/QL.
    fn box_air(&self, omega: f64, values: &[f64]) -> (Complex64, [Complex64; 3]) {
        let none = [Complex64::ZERO; 3];
        let Load::TestBox(test_box) = self.load else {
            return (Complex64::ZERO, none);
        };
        let stiffness = test_box.air_stiffness_n_per_m;
        let Some(at) = self.leak else {
            return (Complex64::new(0.0, -stiffness / omega), none);
        };
        let (mms_kg, cms_m_per_n, inverse_ql) = (values[MMS], values[CMS], values[at]);
        let box_omega = ((1.0 / cms_m_per_n + stiffness) / mms_kg).sqrt();
        let air = stiffness / Complex64::new(box_omega * inverse_ql, omega);
        let slope = -air * air / stiffness;
        let box_omega_by_mms = -0.5 * box_omega / mms_kg;
        let box_omega_by_cms = -0.5 / (box_omega * mms_kg * cms_m_per_n * cms_m_per_n);
        (
            air,
            [
                slope * (inverse_ql * box_omega_by_mms),
                slope * (inverse_ql * box_omega_by_cms),
                slope * box_omega,
            ],
        )
    }
}

impl Circuit for MotionalBranch {
    fn name(&self) -> &str {
        match self.load {
            Load::Free => "motional",
            Load::AddedMass { .. } => "motional-added-mass",
            Load::TestBox(_) => "motional-test-box",
        }
    }

    fn parameters(&self) -> &[Parameter] {
        &self.parameters
    }

    fn impedance(&self, frequency_hz: f64, values: &[f64]) -> Complex64 {
        values[BL] * values[BL] / self.mechanical_impedance(frequency_hz, values)
    }

    fn impedance_and_derivatives(
        &self,
        frequency_hz: f64,
        values: &[f64],
        derivatives: &mut [Complex64],
    ) -> Complex64 {
        let omega = TAU * frequency_hz;
        let (suspension, suspension_by_creep) =
            self.suspension_and_derivative(frequency_hz, values);
        let (air, [air_by_mms, air_by_cms, air_by_leak]) = self.box_air(omega, values);
        let mobility = (self.mass_and_resistance(omega, values) + suspension + air).inv();
        let z_ohm = mobility * (values[BL] * values[BL]);
        // ∂Z/∂Z_mech
        let slope = -z_ohm * mobility;
        let mass_slope = slope * Complex64::new(0.0, omega);
        derivatives[BL] = mobility * (2.0 * values[BL]);
        derivatives[MMS] = mass_slope + slope * air_by_mms;
        derivatives[CMS] = slope * (air_by_cms - suspension / values[CMS]);
        derivatives[RMS] = slope;
        if let Some(at) = self.creep {
            derivatives[at] = slope * suspension_by_creep;
        }
        if let Some(at) = self.air_load {
            derivatives[at] = mass_slope;
        }
        if let Some(at) = self.leak {
            derivatives[at] = slope * air_by_leak;
        }
        z_ohm
    }

    /// (C15), with the load taken off: the glance shows the loaded cone.
    fn start(&self, glance: &Glance) -> Vec<f64> {
        let mms_kg = positive_or(glance.mms_kg, 0.01);
        let omega = TAU * positive_or(glance.fs_hz, 60.0);
        let carried_kg = match self.load {
            Load::AddedMass { added_mass_kg } => added_mass_kg,
            Load::Free | Load::TestBox(_) => 0.0,
        };
        let moving_kg = mms_kg + carried_kg;
        let stiffness = omega * omega * moving_kg;
        let air_stiffness = match self.load {
            Load::TestBox(test_box) => test_box.air_stiffness_n_per_m,
            Load::Free | Load::AddedMass { .. } => 0.0,
        };
        let left = stiffness - air_stiffness;
        let least = LEAST_SUSPENSION_SHARE * stiffness;
        let suspension_stiffness = if left > least { left } else { least };
        let resistance = omega * moving_kg / positive_or(glance.qms, 4.0);
        let bl_squared =
            omega * moving_kg * positive_or(glance.re_ohm, 6.0) / positive_or(glance.qes, 0.6);
        let mut values = vec![
            bl_squared.sqrt(),
            mms_kg,
            1.0 / suspension_stiffness,
            resistance,
        ];
        values.extend(self.creep.map(|_| START_CREEP));
        values.extend(self.air_load.map(|_| 0.0));
        values.extend(self.leak.map(|_| 0.0));
        values
    }
}
