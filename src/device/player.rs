//! What the output is given, sample by sample: silence, the stimulus, silence; faded out on request.

use std::f32::consts::PI;
use std::sync::Arc;

/// Length of the fade, s: short against patience, long against the lowest tone that would click (common practice, no
/// source).
const FADE_S: f64 = 0.05;

/// A stimulus on its way out.
pub(super) struct Player {
    samples: Arc<[f32]>,
    at: usize,
    n_fade: usize,
    /// Frames since the fade began.
    faded: Option<usize>,
}

impl Player {
    pub(super) fn new(samples: Arc<[f32]>, sample_rate_hz: u32) -> Self {
        Self {
            samples,
            at: 0,
            n_fade: (FADE_S * f64::from(sample_rate_hz)) as usize + 1,
            faded: None,
        }
    }

    /// The next sample; silence after the end, and for ever after a fade.
    pub(super) fn next(&mut self) -> f32 {
        let sample = self.samples.get(self.at).copied().unwrap_or(0.0);
        self.at = self.at.saturating_add(1);
        match self.faded {
            None => sample,
            Some(n) => {
                self.faded = Some(n.saturating_add(1));
                sample * self.gain(n)
            }
        }
    }

    /// Half a period of a raised cosine, from one down to zero.
    fn gain(&self, n: usize) -> f32 {
        if n >= self.n_fade {
            return 0.0;
        }
        0.5 * (1.0 + (PI * n as f32 / self.n_fade as f32).cos())
    }

    /// Begins to fade, unless it does already.
    pub(super) fn fade(&mut self) {
        self.faded.get_or_insert(0);
    }

    /// Whether only silence comes after a fade.
    pub(super) fn is_faded(&self) -> bool {
        self.faded.is_some_and(|n| n >= self.n_fade)
    }

    /// Whether the whole stimulus has been handed out.
    pub(super) fn is_at_end(&self) -> bool {
        self.at >= self.samples.len()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_stimulus_comes_unchanged_and_then_silence() {
        let mut player = Player::new(vec![0.25, -0.5].into(), 48_000);
        assert!(!player.is_at_end());
        assert_eq!([player.next(), player.next()], [0.25, -0.5]);
        assert!(player.is_at_end());
        assert_eq!([player.next(), player.next()], [0.0, 0.0]);
        assert!(!player.is_faded());
    }

    #[test]
    fn a_fade_has_no_step_and_ends_in_silence() {
        const RATE_HZ: u32 = 48_000;
        let mut player = Player::new(vec![1.0; 20_000].into(), RATE_HZ);
        let mut last = player.next();
        player.fade();
        let mut n = 0;
        while !player.is_faded() {
            let now = player.next();
            // Steepest slope of half a period of a cosine over 50 ms, with room for rounding.
            assert!(now <= last && last - now < 1.1 * 0.5 * PI / (0.05 * RATE_HZ as f32));
            last = now;
            n += 1;
            if n == 100 {
                // Asking again must not begin anew.
                player.fade();
            }
        }
        assert_eq!(n, 2401);
        assert!(last < 1e-5);
        assert!((0..1000).all(|_| player.next() == 0.0));
    }
}
