//! Whether frames come at the pace that the rate says, by the wall clock.
//!
//! Blocks are coarse (a sixth of a second), the first ones come at once, and after a gap some are made up for. So frames
//! are counted from block to block once the start has settled, one burst of blocks is allowed as doubt, and gaps count only
//! where they speak for the device. Frames lost in a gap are for the data to show: that is no wrong pace.

/// How long the start may be uneven, s.
const SETTLE_S: f64 = 0.5;
/// A pause beyond two blocks and this is a gap, s.
const GAP_S: f64 = 0.3;
/// Shortest time that says something about the pace, s.
const SHORTEST_S: f64 = 1.0;
/// Largest deviation. Crystals are within 0.01 %; the nearest wrong rate, 44.1 kHz for 48 kHz, is 8 % off.
const LARGEST_DEVIATION: f64 = 0.05;
/// Scheduling, s: how late a block may be handled (measured: below 30 ms on a busy machine).
const JITTER_S: f64 = 0.05;
/// Blocks that follow each other within this part of their length come together.
const TOGETHER: f64 = 0.25;
/// What may be taken at once at the start, s: servers fill buffers of up to two seconds.
const STARTUP_S: f64 = 2.5;

/// Counts the blocks of one side.
#[derive(Clone, Debug, Default)]
pub(super) struct Tally {
    sample_rate_hz: f64,
    first_s: Option<f64>,
    last_s: f64,
    /// Frames of the blocks that came together.
    n_together: u64,
    counts: Counts,
}

/// What was counted, all of it since the first block; the first block itself tells nothing.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Counts {
    /// Longest block, frames.
    pub(super) n_largest: u64,
    /// Longest burst of blocks since the start had settled, frames.
    pub(super) n_burst: u64,
    /// Frames, and in what time, s.
    pub(super) all: (u64, f64),
    /// The same since the start had settled.
    pub(super) settled: (u64, f64),
    /// The same, without gaps and the blocks after them.
    pub(super) steady: (u64, f64),
}

impl Tally {
    pub(super) fn new(sample_rate_hz: u32) -> Self {
        Self {
            sample_rate_hz: f64::from(sample_rate_hz),
            ..Self::default()
        }
    }

    /// Counts a block that came at `now_s`.
    pub(super) fn block(&mut self, now_s: f64, n_frames: u64) -> Counts {
        let counts = &mut self.counts;
        counts.n_largest = counts.n_largest.max(n_frames);
        let Some(first_s) = self.first_s else {
            self.first_s = Some(now_s);
            self.last_s = now_s;
            return *counts;
        };
        let (since_s, pause_s) = (now_s - first_s, now_s - self.last_s);
        let add = |to: &mut (u64, f64)| *to = (to.0 + n_frames, to.1 + pause_s);
        add(&mut counts.all);
        let is_together = pause_s < TOGETHER * n_frames as f64 / self.sample_rate_hz;
        self.n_together = n_frames + if is_together { self.n_together } else { 0 };
        if since_s - pause_s >= SETTLE_S {
            counts.n_burst = counts.n_burst.max(self.n_together);
            add(&mut counts.settled);
            if pause_s <= GAP_S + 2.0 * n_frames as f64 / self.sample_rate_hz {
                add(&mut counts.steady);
            }
        }
        self.last_s = now_s;
        *counts
    }
}

impl Counts {
    /// The pace that was measured, frames a second, where it is wrong.
    pub(super) fn wrong_hz(&self, sample_rate_hz: u32) -> Option<f64> {
        let rate_hz = f64::from(sample_rate_hz);
        let doubt = self.n_burst as f64 + JITTER_S * rate_hz;
        let measured_hz = |(n, s): (u64, f64)| n as f64 / if s > 1e-3 { s } else { 1e-3 };
        let is_fast = |(n, s): (u64, f64), doubt: f64| {
            n as f64 > (1.0 + LARGEST_DEVIATION) * rate_hz * s + doubt
        };
        if is_fast(self.all, STARTUP_S * rate_hz) {
            return Some(measured_hz(self.all));
        }
        if self.settled.1 >= SHORTEST_S && is_fast(self.settled, doubt) {
            return Some(measured_hz(self.settled));
        }
        let (n, s) = self.steady;
        let is_slow = (n as f64) < (1.0 - LARGEST_DEVIATION) * rate_hz * s - doubt;
        (s >= SHORTEST_S && is_slow).then(|| measured_hz(self.steady))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const RATE_HZ: u32 = 48_000;
    const BLOCK: u64 = 8192;

    /// Blocks at `pace_hz` for `length_s`, with the instants moved by `moved`; the last judgement and when it first came.
    fn judged(
        pace_hz: f64,
        length_s: f64,
        moved: impl Fn(f64) -> f64,
    ) -> (Option<f64>, Option<f64>) {
        let mut tally = Tally::new(RATE_HZ);
        let (mut n, mut first, mut last) = (0.0, None, None);
        while n / pace_hz < length_s {
            let now_s = moved(n / pace_hz);
            last = tally.block(now_s, BLOCK).wrong_hz(RATE_HZ);
            if last.is_some() && first.is_none() {
                first = Some(now_s);
            }
            n += BLOCK as f64;
        }
        (last, first)
    }

    #[test]
    fn a_real_card_is_never_accused() {
        for ppm in [-500.0, 0.0, 500.0] {
            let pace_hz = f64::from(RATE_HZ) * (1.0 + ppm * 1e-6);
            assert_eq!(judged(pace_hz, 60.0, |s| s).1, None);
            // Late by up to 40 ms, now and then.
            let late = |s: f64| s + 0.02 + 0.02 * (7.0 * s).sin();
            assert_eq!(judged(pace_hz, 60.0, late).1, None);
            // In bursts of three blocks.
            let bursts = |s: f64| (s / 0.512).floor() * 0.512;
            assert_eq!(judged(pace_hz, 60.0, bursts).1, None);
        }
    }

    #[test]
    fn what_a_server_takes_at_the_start_is_no_pace() {
        let burst = |s: f64| if s < 2.0 { 0.001 * s } else { s - 1.99 };
        assert_eq!(judged(f64::from(RATE_HZ), 20.0, burst).1, None);
    }

    #[test]
    fn a_wrong_rate_is_noticed_in_ten_seconds() {
        for pace_hz in [44_100.0, 52_244.9] {
            let (last, first) = judged(pace_hz, 10.0, |s| s);
            let measured_hz = last.unwrap();
            assert!(
                (measured_hz / pace_hz - 1.0).abs() < 0.02,
                "{measured_hz} for {pace_hz}"
            );
            assert!(first.unwrap() > SHORTEST_S);
        }
        // Half and double are clear soon.
        for pace_hz in [24_000.0, 96_000.0] {
            assert!(judged(pace_hz, 2.5, |s| s).0.is_some(), "{pace_hz}");
        }
    }

    #[test]
    fn a_device_that_does_not_wait_is_noticed_at_once() {
        let (_, first) = judged(100.0 * f64::from(RATE_HZ), 1.0, |s| s);
        assert!(first.unwrap() < 0.1, "{first:?}");
    }

    #[test]
    fn a_gap_is_no_pace_whether_it_is_made_up_for_or_not() {
        let rate_hz = f64::from(RATE_HZ);
        let lost = |s: f64| if s < 3.0 { s } else { s + 0.9 };
        assert_eq!(judged(rate_hz, 8.0, lost).1, None);
        let made_up = |s: f64| if (3.0..3.9).contains(&s) { 3.9 } else { s };
        assert_eq!(judged(rate_hz, 8.0, made_up).1, None);
    }
}
