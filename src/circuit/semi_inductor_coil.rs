//! The coil as a semi-inductor: an eddy-current element √(jω) with an inductor and a resistor beside it.

use std::f64::consts::{FRAC_1_SQRT_2, SQRT_2, TAU};

use num_complex::Complex64;

use super::start::coil_at_a_glance;
use super::{Circuit, Domain, Glance, MAGNITUDE_REFERENCE_HZ, Parameter};

/// Thorborg and Unruh's semi-inductor, (C6). Parameters: `leb_h`, `le_parallel_h`, `ke_1khz_ohm`, `rss_ohm`.
///
/// The semi-inductor is stated as its magnitude at 1 kHz, (C7): K_E itself has the unit Ω·s^½, for which UCUM has no
/// code. [`SemiInductorCoil::ke`] gives K_E.
#[derive(Clone, Copy, Debug, Default)]
pub struct SemiInductorCoil;

static PARAMETERS: [Parameter; 4] = [
    Parameter::new("leb_h", "H", Domain::Positive),
    Parameter::new("le_parallel_h", "H", Domain::Positive),
    Parameter::new("ke_1khz_ohm", "Ohm", Domain::Positive),
    Parameter::new("rss_ohm", "Ohm", Domain::Positive),
];

/// How far above the semi-inductor the two elements beside it start, at the frequency of the glance: both barely
/// noticed, yet near enough for a fit to feel them.
const START_ABOVE: f64 = 10.0;

impl SemiInductorCoil {
    /// K_E in Ω·s^½ ("semi-henry") from the magnitude at 1 kHz, (C7).
    pub fn ke(ke_1khz_ohm: f64) -> f64 {
        ke_1khz_ohm / (TAU * MAGNITUDE_REFERENCE_HZ).sqrt()
    }

    /// The magnitude at 1 kHz in ohm from K_E in Ω·s^½: the inverse of [`SemiInductorCoil::ke`].
    pub fn ke_1khz_ohm(ke: f64) -> f64 {
        ke * (TAU * MAGNITUDE_REFERENCE_HZ).sqrt()
    }

    /// 1/(jωL_E) and 1/(K_E√(jω)), in siemens.
    fn admittances(frequency_hz: f64, values: &[f64]) -> (Complex64, Complex64) {
        let (le_parallel_h, ke_1khz_ohm) = (values[1], values[2]);
        let inductor = Complex64::new(0.0, -1.0 / (TAU * frequency_hz * le_parallel_h));
        let part = FRAC_1_SQRT_2 / (ke_1khz_ohm * (frequency_hz / MAGNITUDE_REFERENCE_HZ).sqrt());
        (inductor, Complex64::new(part, -part))
    }
}

impl Circuit for SemiInductorCoil {
    fn name(&self) -> &str {
        "semi-inductor"
    }

    fn parameters(&self) -> &[Parameter] {
        &PARAMETERS
    }

    fn impedance(&self, frequency_hz: f64, values: &[f64]) -> Complex64 {
        let (inductor, semi_inductor) = Self::admittances(frequency_hz, values);
        let parallel = (inductor + semi_inductor + 1.0 / values[3]).inv();
        Complex64::new(0.0, TAU * frequency_hz * values[0]) + parallel
    }

    fn impedance_and_derivatives(
        &self,
        frequency_hz: f64,
        values: &[f64],
        derivatives: &mut [Complex64],
    ) -> Complex64 {
        let (inductor, semi_inductor) = Self::admittances(frequency_hz, values);
        let resistor = 1.0 / values[3];
        let parallel = (inductor + semi_inductor + resistor).inv();
        let squared = parallel * parallel;
        let j_omega = Complex64::new(0.0, TAU * frequency_hz);
        derivatives[0] = j_omega;
        derivatives[1] = squared * inductor / values[1];
        derivatives[2] = squared * semi_inductor / values[2];
        derivatives[3] = squared * (resistor * resistor);
        j_omega * values[0] + parallel
    }

    /// The semi-inductor takes all of the resistance and as much reactance; what reactance is left goes to L_EB.
    fn start(&self, glance: &Glance) -> Vec<f64> {
        let (omega, coil_ohm) = coil_at_a_glance(glance);
        let semi_ohm = SQRT_2 * coil_ohm.re;
        let left_ohm = coil_ohm.im - coil_ohm.re;
        let least_ohm = 0.1 * coil_ohm.im;
        let series_ohm = if left_ohm > least_ohm {
            left_ohm
        } else {
            least_ohm
        };
        let to_reference = (TAU * MAGNITUDE_REFERENCE_HZ / omega).sqrt();
        vec![
            series_ohm / omega,
            START_ABOVE * semi_ohm / omega,
            semi_ohm * to_reference,
            START_ABOVE * semi_ohm,
        ]
    }
}
