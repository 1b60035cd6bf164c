//! The recording less itself half a period later: (O2).

/// What is left of the recording when everything but odd lines is taken out.
///
/// Odd lines change their sign within half a period, even ones do not: mains hum at a multiple of 2/period vanishes, so that
/// silence with hum in it does not pass for the signal.
pub(super) struct Comb {
    /// y(n) − y(n + half a period).
    pub samples: Vec<f64>,
    /// The period, frames.
    pub period: f64,
    /// Frames by which a sample looks ahead.
    pub ahead: usize,
}

impl Comb {
    pub fn of(samples: &[f32], period: f64) -> Self {
        let ahead = (0.5 * period).round() as usize;
        let later = samples.get(ahead..).unwrap_or_default();
        Self {
            samples: samples
                .iter()
                .zip(later)
                .map(|(&now, &later)| f64::from(now) - f64::from(later))
                .collect(),
            period,
            ahead,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn hum_vanishes_and_odd_lines_stay() {
        let period = 1_400;
        let wave = |line: f64| -> Vec<f32> {
            (0..4 * period)
                .map(|n| (std::f64::consts::TAU * line * n as f64 / period as f64).sin() as f32)
                .collect()
        };
        let largest = |line: f64| {
            let comb = Comb::of(&wave(line), period as f64);
            comb.samples.iter().fold(0.0, |m: f64, v| m.max(v.abs()))
        };
        // Rounding of samples to 24 bits, and the step of the samples at the peak.
        assert!(largest(70.0) < 1e-6);
        assert!((largest(71.0) - 2.0).abs() < 0.01);
    }
}
