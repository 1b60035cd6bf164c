//! Levels and means of samples, as several detectors need them.

use crate::signal::sum;

/// Arithmetic mean; 0 for none.
pub(super) fn mean(samples: &[f32]) -> f64 {
    sum(samples, |v| v) / samples.len().max(1) as f64
}

/// RMS level without the mean, dB relative to full scale; −∞ for silence.
pub(super) fn rms_dbfs(samples: &[f32]) -> f64 {
    let mean = mean(samples);
    let power = sum(samples, |v| (v - mean).powi(2)) / samples.len().max(1) as f64;
    10.0 * power.log10()
}

/// The middle value; `None` for none.
pub(super) fn median(values: &mut [f64]) -> Option<f64> {
    if values.is_empty() {
        return None;
    }
    let middle = values.len() / 2;
    Some(*values.select_nth_unstable_by(middle, f64::total_cmp).1)
}
/// The least and the largest; infinite the wrong way round where there is none.
pub(super) fn extremes(values: &[f64]) -> (f64, f64) {
    let none = (f64::INFINITY, f64::NEG_INFINITY);
    values.iter().fold(none, |(low, high), &v| {
        (
            if v < low { v } else { low },
            if v > high { v } else { high },
        )
    })
}
