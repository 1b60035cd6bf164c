//! A stimulus at another sample rate.

/// Samples on either side that one new sample is made of.
const REACH: f64 = 24.0;
/// Share of the lower rate's half up to which the band is kept.
const BAND: f64 = 0.95;

/// The same sound with `ratio` times as many samples, by a sinc under a raised cosine (textbook): above 0.95 of the lower of both
/// half rates it fades.
///
/// Good for laying a stimulus against a recording; 60 dB or so, not a converter's quality. Empty for a ratio that is not positive.
pub fn resampled(samples: &[f32], ratio: f64) -> Vec<f32> {
    if !(ratio > 0.0 && ratio.is_finite()) {
        return vec![];
    }
    let n = (samples.len() as f64 * ratio).round() as usize;
    // Below the lower rate the sinc is wider.
    let cutoff = BAND * if ratio < 1.0 { ratio } else { 1.0 };
    let reach = REACH / cutoff;
    (0..n)
        .map(|i| {
            let at = i as f64 / ratio;
            let first = (at - reach).ceil();
            let from = if first > 0.0 { first as usize } else { 0 };
            let to = ((at + reach) as usize + 1).min(samples.len());
            let mut sum = 0.0;
            for (k, &v) in samples[from.min(to)..to].iter().enumerate() {
                if v != 0.0 {
                    let x = (from + k) as f64 - at;
                    sum += f64::from(v) * kernel(x, cutoff, reach);
                }
            }
            sum as f32
        })
        .collect()
}

fn kernel(x: f64, cutoff: f64, reach: f64) -> f64 {
    let turn = std::f64::consts::PI * cutoff * x;
    let sinc = if turn.abs() < 1e-9 {
        1.0
    } else {
        turn.sin() / turn
    };
    cutoff * sinc * (0.5 + 0.5 * (std::f64::consts::PI * x / reach).cos())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_wave_stays_a_wave() {
        let wave =
            |rate_hz: f64, i: usize| (1000.0 * std::f64::consts::TAU * i as f64 / rate_hz).sin();
        let samples: Vec<f32> = (0..4800).map(|i| wave(48_000.0, i) as f32).collect();
        for rate_hz in [44_100.0, 96_000.0] {
            let other = resampled(&samples, rate_hz / 48_000.0);
            const METHOD: f64 = 2e-3;
            let inside = other.len() - 500;
            for (i, &sample) in other.iter().enumerate().take(inside).skip(500) {
                let off = f64::from(sample) - wave(rate_hz, i);
                assert!(off.abs() < METHOD, "{rate_hz} {i}: {off}");
            }
        }
        assert!(resampled(&samples, f64::NAN).is_empty());
    }
}
