//! What an analysis should find.

use std::f64::consts::TAU;

use num_complex::Complex64;

use super::InventedDriver;
use crate::circuit::{Load, MotionalBranch, coil_inductance_h};

/// An invented driver's small-signal parameters in free air, from its constants.
///
/// With creep, the resonance is where the mechanical impedance is real, and the suspension counts as what it is there:
/// Cms as 1/(ω²Mms), Rms as the total resistance, (C16).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Truth {
    /// Resonance, Hz.
    pub fs_hz: f64,
    /// DC resistance, ohm.
    pub re_ohm: f64,
    /// Mechanical Q.
    pub qms: f64,
    /// Electrical Q.
    pub qes: f64,
    /// Total Q.
    pub qts: f64,
    /// Moving mass with air load, kg.
    pub mms_kg: f64,
    /// Compliance at the resonance, m/N.
    pub cms_m_per_n: f64,
    /// Mechanical resistance at the resonance, kg/s.
    pub rms_kg_per_s: f64,
    /// Force factor, T·m.
    pub bl_t_m: f64,
    /// Area of the cone, m².
    pub sd_m2: f64,
    /// Inductance at 1 kHz, H, (C14).
    pub le_1khz_h: f64,
    /// Inductance at 10 kHz, H, (C14).
    pub le_10khz_h: f64,
}

impl Truth {
    /// Volume of air as compliant as the suspension, m³, for an air of ρc² in Pa.
    pub fn vas_m3(&self, rho_c2_pa: f64) -> f64 {
        rho_c2_pa * self.sd_m2 * self.sd_m2 * self.cms_m_per_n
    }

    /// From a resonance that is about right (Hz), the mechanical impedance (kg/s) and the coil's inductance (H) at a frequency (Hz), and
    /// Re (ohm), Mms (kg), Bl (T·m) and Sd (m²).
    pub(super) fn of(
        about_hz: f64,
        mechanical: impl Fn(f64) -> Complex64,
        inductance_h: impl Fn(f64) -> f64,
        [re_ohm, mms_kg, bl_t_m, sd_m2]: [f64; 4],
    ) -> Self {
        // Creep moves the resonance by a few percent; the reactance rises with frequency throughout.
        let (mut low, mut high) = (0.1 * about_hz, 10.0 * about_hz);
        for _ in 0..N_BISECTIONS {
            let middle = 0.5 * (low + high);
            if mechanical(middle).im < 0.0 {
                low = middle;
            } else {
                high = middle;
            }
        }
        let fs_hz = 0.5 * (low + high);
        let omega_mass = TAU * fs_hz * mms_kg;
        let rms_kg_per_s = mechanical(fs_hz).re;
        let qms = omega_mass / rms_kg_per_s;
        let qes = omega_mass * re_ohm / (bl_t_m * bl_t_m);
        Self {
            fs_hz,
            re_ohm,
            qms,
            qes,
            qts: qms * qes / (qms + qes),
            mms_kg,
            cms_m_per_n: 1.0 / (TAU * fs_hz * omega_mass),
            rms_kg_per_s,
            bl_t_m,
            sd_m2,
            le_1khz_h: inductance_h(1_000.0),
            le_10khz_h: inductance_h(10_000.0),
        }
    }
}

/// Bisections of an interval of frequencies: more than f64 can tell apart.
const N_BISECTIONS: usize = 80;

impl InventedDriver {
    /// What an analysis of this driver should find.
    pub fn truth(&self) -> Truth {
        let branch = MotionalBranch::new(self.creep.map(|creep| creep.reference_hz), Load::Free);
        let values = self.mechanical_values();
        let coil = self.coil.family.coil();
        Truth::of(
            1.0 / (TAU * (self.mms_kg * self.cms_m_per_n).sqrt()),
            |f_hz| branch.mechanical_impedance(f_hz, &values),
            |f_hz| coil_inductance_h(coil.as_ref(), self.coil.values, f_hz),
            [self.re_ohm, self.mms_kg, self.bl_t_m, self.sd_m2],
        )
    }
}
