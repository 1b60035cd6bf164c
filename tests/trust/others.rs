//! Drivers that no threshold was set on.

use std::sync::Arc;

use farcone::bench::{OtherDriver, other_drivers};
use farcone::circuit::Circuit;
use farcone::parameters::Key;

use crate::dice::Dice;
use crate::scenario::{About, Model, RHO_C2_PA};

/// What of the source's voltage is across the terminals at the resonance, roughly: only the softening goes by it.
const ACROSS: f64 = 0.5;

/// One of a great many.
pub fn other(dice: &mut Dice) -> (OtherDriver, About, Model) {
    let driver = other_drivers(dice.below(1 << 30) as u64, 1).remove(0);
    let truth = driver.truth(0.0, 0);
    let about = About {
        fs_hz: truth.fs_hz,
        re_ohm: truth.re_ohm,
        mms_kg: truth.mms_kg,
        vas_m3: truth.vas_m3(RHO_C2_PA),
        sd_m2: truth.sd_m2,
    };
    let own = driver.clone();
    let model: Model = Arc::new(move |mounting, remount, source_peak_v| {
        let circuit = own.circuit(mounting, ACROSS * source_peak_v, remount as u64);
        let values = circuit.values();
        (Arc::new(circuit) as Arc<dyn Circuit>, values)
    });
    (driver, about, model)
}

/// What is true of it at the level it was driven with.
pub fn truth_of(driver: &OtherDriver, source_peak_v: f64) -> Vec<(Key, f64)> {
    let truth = driver.truth(ACROSS * source_peak_v, 0);
    vec![
        (Key::Fs, truth.fs_hz),
        (Key::Re, truth.re_ohm),
        (Key::Qms, truth.qms),
        (Key::Qes, truth.qes),
        (Key::Qts, truth.qts),
        (Key::Vas, truth.vas_m3(RHO_C2_PA)),
    ]
}
