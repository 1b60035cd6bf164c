//! The equations of `docs/air.md`.

/// A state of moist air.
///
/// The methods compute whatever the fields say, without checks, so that a Monte Carlo run can call them 10⁴ times;
/// [`super::AirInput::resolve`] is where a state is judged.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Air {
    /// Temperature, kelvin.
    pub temperature_k: f64,
    /// Pressure at the bench, pascal.
    pub pressure_pa: f64,
    /// Relative humidity, 0 to 1.
    pub relative_humidity: f64,
}

/// 0 °C in kelvin.
const ZERO_CELSIUS_K: f64 = 273.15;
/// Mole fraction of carbon dioxide in dry air: the one that both papers and IEC 61094-2 take as normal. A stuffy room
/// has 0.001; that moves the density by +250 ppm and the speed of sound by -150 ppm.
const CARBON_DIOXIDE: f64 = 0.0004;

impl Air {
    /// Density in kg/m³: `docs/air.md`, equations 1 to 4.
    ///
    /// Source: CIPM-2007, Picard, Davis, Gläser, Fujii, Metrologia 45 (2008) 149–155.
    pub fn density_kg_per_m3(&self) -> f64 {
        let (kelvin, p) = (self.temperature_k, self.pressure_pa);
        let t = kelvin - ZERO_CELSIUS_K;
        let xv = self.vapour_mole_fraction();
        let first = 1.58123e-6 - 2.9331e-8 * t
            + 1.1043e-10 * t * t
            + (5.707e-6 - 2.051e-8 * t) * xv
            + (1.9898e-4 - 2.376e-6 * t) * xv * xv;
        let second = 1.83e-11 - 0.765e-8 * xv * xv;
        let p_over_t = p / kelvin;
        let compressibility = 1.0 - p_over_t * first + p_over_t * p_over_t * second;
        let dry = (3.483740 + 1.4446 * (CARBON_DIOXIDE - 0.0004)) * 1e-3;
        dry * p_over_t / compressibility * (1.0 - 0.3780 * xv)
    }

    /// Speed of sound at zero frequency in m/s: `docs/air.md`, equation 5.
    ///
    /// Source: Cramer, Journal of the Acoustical Society of America 93 (1993) 2510–2516.
    pub fn speed_of_sound_m_per_s(&self) -> f64 {
        let p = self.pressure_pa;
        let t = self.temperature_k - ZERO_CELSIUS_K;
        let xw = self.vapour_mole_fraction();
        let xc = CARBON_DIOXIDE;
        331.5024 + 0.603055 * t - 0.000528 * t * t
            + (51.471935 + 0.1495874 * t - 0.000782 * t * t) * xw
            + (-1.82e-7 + 3.73e-8 * t - 2.93e-10 * t * t) * p
            + (-85.20931 - 0.228525 * t + 5.91e-5 * t * t) * xc
            - 2.835149 * xw * xw
            - 2.15e-13 * p * p
            + 29.179762 * xc * xc
            + 0.000486 * xw * p * xc
    }

    /// Adiabatic bulk modulus ρc² in pascal: the stiffness with which a closed volume of air pushes back.
    pub fn bulk_modulus_pa(&self) -> f64 {
        let c = self.speed_of_sound_m_per_s();
        self.density_kg_per_m3() * c * c
    }

    /// Characteristic impedance ρc in Pa·s/m.
    pub fn characteristic_impedance_pa_s_per_m(&self) -> f64 {
        self.density_kg_per_m3() * self.speed_of_sound_m_per_s()
    }

    /// Mole fraction of water vapour: `docs/air.md`, equations 1 and 2 (CIPM-2007).
    fn vapour_mole_fraction(&self) -> f64 {
        let (kelvin, p) = (self.temperature_k, self.pressure_pa);
        let t = kelvin - ZERO_CELSIUS_K;
        let saturation_pa = (1.2378847e-5 * kelvin * kelvin - 1.9121316e-2 * kelvin + 33.93711047
            - 6343.1645 / kelvin)
            .exp();
        let enhancement = 1.00062 + 3.14e-8 * p + 5.6e-7 * t * t;
        self.relative_humidity * enhancement * saturation_pa / p
    }
}

/// Pressure of the standard atmosphere in pascal at an altitude in metres, up to 11 km: `docs/air.md`, equation 6.
///
/// Source: ISO 2533:1975, the same as the ICAO standard atmosphere. The altitude is taken as geopotential; up to 5 km
/// the difference from a map's altitude is under 4 m.
pub fn standard_pressure_pa(altitude_m: f64) -> f64 {
    const SEA_LEVEL_PA: f64 = 101_325.0;
    const SEA_LEVEL_K: f64 = 288.15;
    const LAPSE_K_PER_M: f64 = 0.0065;
    const GRAVITY_M_PER_S2: f64 = 9.80665;
    const GAS_CONSTANT_J_PER_KG_K: f64 = 287.05287;
    let exponent = GRAVITY_M_PER_S2 / (GAS_CONSTANT_J_PER_KG_K * LAPSE_K_PER_M);
    SEA_LEVEL_PA * (1.0 - LAPSE_K_PER_M * altitude_m / SEA_LEVEL_K).powf(exponent)
}
