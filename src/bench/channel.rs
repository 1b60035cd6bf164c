//! One input of the recorder.

use std::f64::consts::TAU;

use num_complex::Complex64;

use super::BenchError;

/// How much noise a channel has: white, normal, independent of the other channel.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[non_exhaustive]
pub enum Noise {
    /// None at all.
    #[default]
    Silent,
    /// Of this RMS value, relative to full scale.
    Rms(f64),
    /// This many dB below the RMS value that this channel's signal has while the stimulus plays, from its first sample
    /// that is not zero to its last.
    BelowSignalDb(f64),
}

/// One input of the recorder.
#[derive(Clone, Debug, PartialEq)]
pub struct Channel {
    /// Full scale per volt.
    pub gain: f64,
    /// Corner of the AC coupling (a first-order high-pass) in Hz; `None`: coupled down to DC.
    pub coupling_hz: Option<f64>,
    /// Resistance of the input to ground in ohm; `None`: it draws no current.
    pub load_ohm: Option<f64>,
    /// Noise.
    pub noise: Noise,
    /// Peak values of the hum at once, twice, three times… the mains frequency, relative to full scale.
    pub hum_peak: Vec<f64>,
    /// Where the signal is cut off on both sides, relative to full scale; `None`: nowhere.
    pub clip_level: Option<f64>,
    /// Bits per sample, sign included. Rounds to the nearest step, without dither; also cuts off at full scale. `None`:
    /// samples are floating-point numbers.
    pub bits: Option<u32>,
}

impl Default for Channel {
    /// An ideal input: 1 V is full scale, and nothing is wrong with it.
    fn default() -> Self {
        Self {
            gain: 1.0,
            coupling_hz: None,
            load_ohm: None,
            noise: Noise::Silent,
            hum_peak: Vec::new(),
            clip_level: None,
            bits: None,
        }
    }
}

/// Fewest and most bits of a converter; f32 samples hold 25 exactly, sign included.
const BITS: (u32, u32) = (2, 25);

impl Channel {
    /// What the input does to a voltage at one frequency, (C19).
    pub(super) fn response(&self, frequency_hz: f64) -> Complex64 {
        let coupling = self.coupling_hz.map_or(Complex64::ONE, |corner_hz| {
            let ratio = Complex64::new(0.0, frequency_hz / corner_hz);
            ratio / (ratio + 1.0)
        });
        coupling * self.gain
    }

    /// The input's admittance to ground, siemens.
    pub(super) fn load_siemens(&self) -> f64 {
        self.load_ohm.map_or(0.0, |ohm| 1.0 / ohm)
    }

    pub(super) fn check(&self) -> Result<(), BenchError> {
        let setting = |setting, value, allowed| {
            Err(BenchError::Setting {
                setting,
                value,
                allowed,
            })
        };
        if !self.gain.is_finite() {
            return setting("gain", self.gain, "finite");
        }
        for (name, value) in [
            ("coupling_hz", self.coupling_hz),
            ("load_ohm", self.load_ohm),
            ("clip_level", self.clip_level),
        ] {
            if let Some(value) = value
                && !(value > 0.0 && value.is_finite())
            {
                return setting(name, value, "positive and finite, or absent");
            }
        }
        match self.noise {
            Noise::Rms(rms) if !(rms >= 0.0 && rms.is_finite()) => {
                return setting("noise rms", rms, "zero or positive, and finite");
            }
            Noise::BelowSignalDb(db) if !db.is_finite() => {
                return setting("noise dB", db, "finite");
            }
            Noise::Silent | Noise::Rms(_) | Noise::BelowSignalDb(_) => {}
        }
        if let Some(&peak) = self.hum_peak.iter().find(|peak| !peak.is_finite()) {
            return setting("hum_peak", peak, "finite");
        }
        match self.bits {
            Some(bits) if !(BITS.0..=BITS.1).contains(&bits) => {
                setting("bits", f64::from(bits), "from 2 to 25, or absent")
            }
            _ => Ok(()),
        }
    }
}

/// A delay at one frequency, (C20).
pub(super) fn delay(frequency_hz: f64, seconds: f64) -> Complex64 {
    Complex64::cis(-TAU * frequency_hz * seconds)
}
