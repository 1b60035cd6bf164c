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
