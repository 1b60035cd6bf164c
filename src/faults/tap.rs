//! Which input is which: the cone is tapped, and the driver is a microphone.

use super::statistics::median;
use crate::recording::Take;

/// How far a tap has to rise above its channel's noise, dB: the loudest of the quiet stretches is some 3 dB above their
/// median (common practice, no source).
const RISE_DB: f64 = 12.0;
/// How much louder one channel has to be before the other counts as hearing it only through the source's impedance, dB: a source
/// of the sense resistor's impedance leaves 6.
const APART_DB: f64 = 3.0;
/// Stretch over which loudness is judged, s: a tap is heard for longer.
const STRETCH_S: f64 = 0.02;
/// Below this level, dBFS, a channel is digital silence and its noise unknown: the last bit of 16.
const FLOOR_DBFS: f64 = -96.0;
/// How long switching on is not listened to, s.
const SETTLE_S: f64 = 0.1;

/// Where the taps were heard.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Heard {
    /// In channel 1, which should have been the source: the inputs are exchanged.
    Source,
    /// In channel 2, as it should be.
    Driver,
    /// In both about alike: they are on one node, or the sense resistor is not between them.
    Both,
    /// In neither: the driver is not connected, nobody tapped, or not hard enough.
    Neither,
}

/// What came of tapping.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Tapped {
    /// Where the taps were heard.
    pub heard: Heard,
    /// How far the loudest stretch of each channel rises above its own noise, dB: source, driver.
    pub rise_db: [f64; 2],
    /// Level of the loudest stretch above noise, RMS in dBFS: source, driver.
    pub loudest_dbfs: [f64; 2],
}

/// Looks for taps in some seconds of silence.
///
/// Across the driver with a low-impedance source, the source channel hears next to nothing; across the resistor both nodes
/// move in proportion to source and sense resistor. Who hears more, of the taps' level above noise, is the driver's side.
pub fn tapped(take: &Take) -> Tapped {
    let rate_hz = f64::from(take.sample_rate_hz());
    let [source, driver] = [take.source(), take.driver()].map(|samples| heard(samples, rate_hz));
    let rise_db = [source.0, driver.0];
    let loudest_dbfs = [source.1, driver.1];
    let apart_db = loudest_dbfs[1] - loudest_dbfs[0];
    let heard = match (rise_db[0] > RISE_DB, rise_db[1] > RISE_DB) {
        (false, false) => Heard::Neither,
        (true, false) => Heard::Source,
        (false, true) => Heard::Driver,
        (true, true) if apart_db > APART_DB => Heard::Driver,
        (true, true) if apart_db < -APART_DB => Heard::Source,
        (true, true) => Heard::Both,
    };
    Tapped {
        heard,
        rise_db,
        loudest_dbfs,
    }
}

/// Rise of the loudest stretch over the median one, dB, and its level, dBFS. A stretch is one turn of 50 Hz, so that
/// hum is the same in each.
fn heard(samples: &[f32], rate_hz: f64) -> (f64, f64) {
    let skipped = ((SETTLE_S * rate_hz) as usize).min(samples.len() / 2);
    let stretch = ((STRETCH_S * rate_hz) as usize).max(2);
    let mut levels: Vec<f64> = samples[skipped..]
        .chunks(stretch)
        .filter(|part| part.len() == stretch)
        .map(|part| {
            let mean = part.iter().map(|&v| f64::from(v)).sum::<f64>() / part.len() as f64;
            let power = part
                .iter()
                .map(|&v| (f64::from(v) - mean).powi(2))
                .sum::<f64>();
            let dbfs = 10.0 * (power / part.len() as f64).log10();
            if dbfs > FLOOR_DBFS { dbfs } else { FLOOR_DBFS }
        })
        .collect();
    let Some(noise_dbfs) = median(&mut levels) else {
        return (0.0, FLOOR_DBFS);
    };
    let loudest_dbfs = levels
        .iter()
        .copied()
        .fold(FLOOR_DBFS, |m: f64, v| if v > m { v } else { m });
    (loudest_dbfs - noise_dbfs, loudest_dbfs)
}
