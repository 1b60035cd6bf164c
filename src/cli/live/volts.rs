//! From a meter's reading to the input's full scale in volts.

use farcone::quantity::{Spread, Stated};
use farcone::recording::Take;

/// Frequency of the tone that a meter reads, Hz. Cheap meters are specified from 40 to 400 Hz (common practice, no source).
pub const TONE_HZ: f64 = 100.0;
/// Half-width of a cheap meter's AC reading, relative (common practice, no source).
const METER_HALF_WIDTH: f64 = 0.03;
/// The tone is read in its middle: neither its rise nor its fall, whatever the latency.
const MIDDLE: (f64, f64) = (0.4, 0.7);

/// Peak volts at the source input's full scale, from what a meter read (RMS) while the tone was recorded. `None` if the take
/// holds no tone: then its crest is not that of a sine.
pub fn full_scale_v(take: &Take, meter_rms_v: Stated) -> Option<Stated> {
    let n = take.n_frames() as f64;
    let part = &take.source()[(MIDDLE.0 * n) as usize..(MIDDLE.1 * n) as usize];
    let mean = part.iter().map(|&v| f64::from(v)).sum::<f64>() / part.len() as f64;
    let square = |v: &f32| (f64::from(*v) - mean).powi(2);
    let rms = (part.iter().map(square).sum::<f64>() / part.len() as f64).sqrt();
    let peak = part
        .iter()
        .map(|&v| (f64::from(v) - mean).abs())
        .fold(0.0, |m: f64, v| if v > m { v } else { m });
    // A sine's crest is √2; noise, hum or clipping that moves it by a tenth makes the reading meaningless.
    const CREST_TOLERANCE: f64 = 0.1;
    let crest = peak / rms / std::f64::consts::SQRT_2;
    if !(rms > 0.0 && (crest - 1.0).abs() < CREST_TOLERANCE) {
        return None;
    }
    let (meter, _) = meter_rms_v.or_half_width(METER_HALF_WIDTH * meter_rms_v.value);
    // Peak over peak is RMS over RMS.
    let scale = 1.0 / rms;
    let spread = match meter.spread {
        Spread::HalfWidth(v) => Spread::HalfWidth(v * scale),
        Spread::Standard(v) => Spread::Standard(v * scale),
        other => other,
    };
    Some(Stated {
        value: meter.value * scale,
        spread,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn tone(peak: f32, noise: f32) -> Take {
        let n = 48_000;
        let samples: Vec<f32> = (0..n)
            .map(|i| {
                let t = i as f32 / 48_000.0;
                // Three samples at the crest that are not the tone's.
                let spike = if (119..122).contains(&(i % 480)) {
                    noise
                } else {
                    0.0
                };
                peak * (std::f32::consts::TAU * TONE_HZ as f32 * t).sin() + spike
            })
            .collect();
        Take::new(48_000, samples.clone(), samples).unwrap()
    }

    #[test]
    fn a_meter_reading_becomes_a_full_scale() {
        // 0.1 of full scale peak is 0.2 V RMS, 0.2828 V peak: full scale is 2.828 V peak.
        let stated = full_scale_v(&tone(0.1, 0.0), Stated::within(0.2, 0.002)).unwrap();
        assert!((stated.value / 2.828_427 - 1.0).abs() < 1e-4, "{stated:?}");
        let Spread::HalfWidth(half_width) = stated.spread else {
            panic!("{stated:?}");
        };
        assert!((half_width / stated.value - 0.01).abs() < 1e-9);
        let unstated = full_scale_v(&tone(0.1, 0.0), Stated::unstated(0.2)).unwrap();
        assert!(unstated.standard_uncertainty().is_some());
    }

    #[test]
    fn what_is_no_tone_is_refused() {
        assert_eq!(full_scale_v(&tone(0.1, 0.1), Stated::unstated(0.2)), None);
        assert_eq!(full_scale_v(&tone(0.0, 0.0), Stated::unstated(0.2)), None);
    }
}
