//! From the core numbers, the cone and the air to every parameter: (P4) to (P11).
//!
//! Small, JAES 20(5), 1972, 383–395 (from memory, confirmed by computation; the reference driver below holds them).

use std::f64::consts::{PI, TAU};

use super::Key;
use super::core::{LE_1KHZ, LE_10KHZ, LN_FS, LN_MMS, LN_QES, LN_QMS, LN_RE, LN_ZMIN};
use crate::air::Air;

/// Reference pressure of sound pressure levels, Pa (ISO 1683, from memory).
const REFERENCE_PA: f64 = 20e-6;
/// The drive of `level_2v83`, V.
const REFERENCE_V: f64 = 2.83;

/// All parameters in the order of [`Key::ALL`], SI. What is not known is computed from stand-ins; see
/// [`super::Known`] for which may be used.
pub(super) fn parameters(core: &[f64], sd_m2: f64, air: &Air) -> Vec<f64> {
    let (density, speed) = (air.density_kg_per_m3(), air.speed_of_sound_m_per_s());
    let (fs_hz, re_ohm, qms, qes) = (
        core[LN_FS].exp(),
        core[LN_RE].exp(),
        core[LN_QMS].exp(),
        core[LN_QES].exp(),
    );
    let mms_kg = core[LN_MMS].exp();
    let omega = TAU * fs_hz;
    let cms_m_per_n = 1.0 / (omega * omega * mms_kg);
    let vas_m3 = density * speed * speed * sd_m2 * sd_m2 * cms_m_per_n;
    let radius_m = (sd_m2 / PI).sqrt();
    let efficiency = 4.0 * PI * PI / speed.powi(3) * fs_hz.powi(3) * vas_m3 / qes;
    let level_1w =
        10.0 * (efficiency * density * speed / (TAU * REFERENCE_PA * REFERENCE_PA)).log10();
    Key::ALL
        .iter()
        .map(|key| match key {
            Key::Fs => fs_hz,
            Key::Re => re_ohm,
            Key::Qms => qms,
            Key::Qes => qes,
            Key::Qts => qms * qes / (qms + qes),
            Key::Vas => vas_m3,
            Key::Mms => mms_kg,
            Key::Mmd => mms_kg - 8.0 / 3.0 * density * radius_m.powi(3),
            Key::Cms => cms_m_per_n,
            Key::Rms => omega * mms_kg / qms,
            Key::Bl => (omega * mms_kg * re_ohm / qes).sqrt(),
            Key::Sd => sd_m2,
            Key::Le1khz => core[LE_1KHZ],
            Key::Le10khz => core[LE_10KHZ],
            Key::Efficiency => efficiency,
            Key::Level1w => level_1w,
            Key::Level2v83 => level_1w + 10.0 * (REFERENCE_V * REFERENCE_V / re_ohm).log10(),
            Key::MinimumImpedance => core[LN_ZMIN].exp(),
        })
        .collect()
}

/// Standard ratings, ohm (common practice, no source).
const RATINGS_OHM: [f64; 10] = [1.0, 2.0, 3.0, 4.0, 6.0, 8.0, 12.0, 16.0, 24.0, 32.0];

/// The highest standard rating of which 80 % lies below the smallest impedance (the rule of IEC 60268-5, from memory);
/// `None` below 0.8 ohm.
pub fn rating_ohm(minimum_ohm: f64) -> Option<f64> {
    RATINGS_OHM
        .into_iter()
        .rev()
        .find(|rating| 0.8 * rating <= minimum_ohm)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The synthetic reference driver, every value computed independently in Python: Re 5.5 Ω, Bl 7.2, Mms 21.2 g,
    /// Cms 0.65 mm/N, Rms 1.35 kg/s, Sd 215 cm². Its levels are for ρ 1.2, c 343; air with nearly that state is used,
    /// and what depends on air is scaled to it.
    #[test]
    fn reference_driver() {
        let air = Air {
            temperature_k: 293.15,
            pressure_pa: 101_325.0,
            relative_humidity: 0.5,
        };
        let (fs, qms, qes) = (42.874_150_f64, 4.230_361_5_f64, 0.605_911_2_f64);
        let core = [
            fs.ln(),
            5.5_f64.ln(),
            qms.ln(),
            qes.ln(),
            0.0212_f64.ln(),
            0.0,
            0.0,
            5.5_f64.ln(),
        ];
        let got = parameters(&core, 0.0215, &air);
        let value = |key: Key| got[Key::ALL.iter().position(|k| *k == key).unwrap()];
        // Eight printed digits of fs and Q go in.
        const PRINTED: f64 = 2e-7;
        let near = |key: Key, expected: f64| {
            assert!(
                (value(key) / expected - 1.0).abs() < PRINTED,
                "{key:?}: {}",
                value(key)
            );
        };
        near(Key::Qts, 0.529_999_7);
        near(Key::Bl, 7.2);
        near(Key::Cms, 0.65e-3);
        near(Key::Rms, 1.35);
        let stiffness = air.density_kg_per_m3() * air.speed_of_sound_m_per_s().powi(2);
        near(Key::Vas, 42.418_935e-3 * stiffness / (1.2 * 343.0 * 343.0));
        // η0 = (ρ/2πc)·Bl²Sd²/(Re·Mms²): the other form of the same identity, with this air.
        let (density, speed) = (air.density_kg_per_m3(), air.speed_of_sound_m_per_s());
        let other =
            density / (TAU * speed) * (7.2_f64 * 0.0215).powi(2) / (5.5 * 0.0212_f64.powi(2));
        near(Key::Efficiency, other);
        // Reference level constant for 20 °C, 50 %, 101.325 kPa, computed independently: 112.152 dB.
        let constant = value(Key::Level1w) - 10.0 * value(Key::Efficiency).log10();
        assert!((constant - 112.152).abs() < 0.0005, "{constant}");
        assert!((value(Key::Level2v83) - value(Key::Level1w) - (9.0357 - 7.4036)).abs() < 1e-4);
    }

    #[test]
    fn ratings() {
        assert_eq!(rating_ohm(6.5), Some(8.0));
        assert_eq!(rating_ohm(6.3), Some(6.0));
        assert_eq!(rating_ohm(0.5), None);
    }
}
