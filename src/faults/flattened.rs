//! Whether the output that drives the jig is overdriven.

use super::statistics::median;

/// Windows in which the tops of the wave are looked at, s.
const WINDOW_S: f64 = 0.05;
/// Ratio of peak to RMS below which they are cut: that of a whole sine is √2, and no sweep comes below it; clipped at three quarters it
/// is 1.29.
const FLATTENED_CREST: f64 = 1.33;
/// Windows that peak below this part of the loudest are silence, or too quiet to be cut.
const LOUD: f32 = 0.3;

/// Whether an output that is overdriven cuts the tops off the wave. An impedance does not mind, but what it adds to the wave looks like
/// noise that comes with it.
pub(super) fn is_flattened(source: &[f32], sample_rate_hz: f64) -> bool {
    let length = (WINDOW_S * sample_rate_hz) as usize;
    let windows = || source.chunks_exact(length.max(1));
    let peak = |window: &[f32]| {
        window
            .iter()
            .fold(0.0, |m: f32, v| if v.abs() > m { v.abs() } else { m })
    };
    let loudest = windows().map(peak).max_by(f32::total_cmp).unwrap_or(0.0);
    let mut crests: Vec<f64> = windows()
        .filter(|window| peak(window) > LOUD * loudest)
        .map(|window| {
            let squares = window.iter().map(|&v| f64::from(v) * f64::from(v));
            f64::from(peak(window)) / (squares.sum::<f64>() / window.len() as f64).sqrt()
        })
        .collect();
    median(&mut crests).is_some_and(|crest| crest < FLATTENED_CREST)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A 200 Hz sine between silences, cut at a part of its peak.
    fn cut_at(part: f32) -> Vec<f32> {
        let sine = (0..48_000).map(|i| (std::f32::consts::TAU * 200.0 * i as f32 / 48e3).sin());
        let silence = || std::iter::repeat_n(1e-4, 24_000);
        silence()
            .chain(sine.map(|v| 0.5 * v.clamp(-part, part)))
            .chain(silence())
            .collect()
    }

    #[test]
    fn tops_that_are_cut_show() {
        assert!(!is_flattened(&cut_at(1.0), 48e3));
        assert!(!is_flattened(&cut_at(0.95), 48e3));
        assert!(is_flattened(&cut_at(0.75), 48e3));
        assert!(is_flattened(&cut_at(0.2), 48e3));
        assert!(!is_flattened(&[], 48e3));
    }
}
