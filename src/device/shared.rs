//! What the sound system's threads and ours tell each other, without locks.

use std::sync::OnceLock;
use std::sync::atomic::{AtomicBool, AtomicU32, AtomicU64, Ordering::Relaxed};
use std::time::Instant;

use super::pace::Counts;
use crate::capture::Side;

/// Beyond so many lost buffers in one take it is no hiccup but a storm (some servers, when killed, report a hundred
/// thousand a second).
const STORM: u32 = 1000;

/// One side's state. Times are microseconds since [`Shared::new`]; the pairs of a count may be one block apart, which the
/// pace allows for.
#[derive(Default)]
pub(super) struct Lane {
    last_us: AtomicU64,
    latency_us: AtomicU64,
    n_largest: AtomicU64,
    n_burst: AtomicU64,
    all: [AtomicU64; 2],
    settled: [AtomicU64; 2],
    steady: [AtomicU64; 2],
}

impl Lane {
    /// Called by the side's own thread, and by no other.
    pub(super) fn publish(&self, now_s: f64, counts: &Counts) {
        let store = |to: &[AtomicU64; 2], (n, s): (u64, f64)| {
            to[0].store(n, Relaxed);
            to[1].store(micros(s), Relaxed);
        };
        self.n_largest.store(counts.n_largest, Relaxed);
        self.n_burst.store(counts.n_burst, Relaxed);
        store(&self.all, counts.all);
        store(&self.settled, counts.settled);
        store(&self.steady, counts.steady);
        // Zero means never.
        self.last_us.store(micros(now_s) + 1, Relaxed);
    }

    pub(super) fn counts(&self) -> Counts {
        let load = |from: &[AtomicU64; 2]| (from[0].load(Relaxed), seconds(from[1].load(Relaxed)));
        Counts {
            n_largest: self.n_largest.load(Relaxed),
            n_burst: self.n_burst.load(Relaxed),
            all: load(&self.all),
            settled: load(&self.settled),
            steady: load(&self.steady),
        }
    }

    /// When the last block came, s.
    pub(super) fn last_s(&self) -> Option<f64> {
        match self.last_us.load(Relaxed) {
            0 => None,
            us => Some(seconds(us - 1)),
        }
    }

    /// Notes what the sound system says of the time between here and the plug, s.
    pub(super) fn set_latency_s(&self, latency_s: f64) {
        self.latency_us.store(micros(latency_s), Relaxed);
    }

    /// What the sound system says of the time between here and the plug, s.
    pub(super) fn latency_s(&self) -> f64 {
        seconds(self.latency_us.load(Relaxed))
    }
}

/// Everything that is shared during one take.
pub(super) struct Shared {
    epoch: Instant,
    pub(super) input: Lane,
    pub(super) output: Lane,
    /// Ours to the output: the stimulus may begin.
    pub(super) go: AtomicBool,
    /// Ours to the output: fade out.
    pub(super) fade: AtomicBool,
    /// The output's: only silence is left.
    pub(super) is_silent: AtomicBool,
    /// The output's: the last sample of the stimulus has been handed over.
    pub(super) is_at_end: AtomicBool,
    /// Reported or noticed losses.
    n_losses: AtomicU32,
    has_failed: AtomicBool,
    failure: OnceLock<(Side, String)>,
}

impl Shared {
    pub(super) fn new() -> Self {
        Self {
            epoch: Instant::now(),
            input: Lane::default(),
            output: Lane::default(),
            go: AtomicBool::new(false),
            fade: AtomicBool::new(false),
            is_silent: AtomicBool::new(false),
            is_at_end: AtomicBool::new(false),
            n_losses: AtomicU32::new(0),
            has_failed: AtomicBool::new(false),
            failure: OnceLock::new(),
        }
    }

    /// Seconds since the beginning, on the clock that never goes back.
    pub(super) fn now_s(&self) -> f64 {
        self.epoch.elapsed().as_secs_f64()
    }

    /// Notes lost frames.
    pub(super) fn lose(&self) {
        // Stops counting long before it could wrap.
        if self.n_losses.load(Relaxed) < u32::MAX / 2 {
            self.n_losses.fetch_add(1, Relaxed);
        }
    }

    pub(super) fn n_losses(&self) -> u32 {
        self.n_losses.load(Relaxed)
    }

    /// Called from error callbacks, maybe hundreds of thousands of times a second: all but the first are cheap.
    pub(super) fn report(&self, side: Side, error: &cpal::Error) {
        match error.kind() {
            cpal::ErrorKind::Xrun => {
                self.lose();
                if self.n_losses() < STORM {
                    return;
                }
            }
            // A hint, no error.
            cpal::ErrorKind::RealtimeDenied => return,
            _ => {}
        }
        if !self.has_failed.swap(true, Relaxed) {
            let _ = self.failure.set((side, error.to_string()));
        }
    }

    /// Notes an error that is no mere loss.
    #[cfg(target_os = "linux")]
    pub(super) fn fail(&self, side: Side, said: String) {
        if !self.has_failed.swap(true, Relaxed) {
            let _ = self.failure.set((side, said));
        }
    }

    /// The first error that was no mere loss.
    pub(super) fn failure(&self) -> Option<&(Side, String)> {
        self.failure.get()
    }
}

fn micros(s: f64) -> u64 {
    // `as` saturates: a negative time is none.
    (s * 1e6) as u64
}

fn seconds(us: u64) -> f64 {
    us as f64 * 1e-6
}

#[cfg(test)]
mod tests {
    use super::*;
    use cpal::{Error, ErrorKind};

    #[test]
    fn losses_are_counted_and_errors_kept_once() {
        let shared = Shared::new();
        shared.report(Side::Output, &Error::new(ErrorKind::Xrun));
        shared.report(Side::Input, &Error::new(ErrorKind::RealtimeDenied));
        assert_eq!((shared.n_losses(), shared.failure()), (1, None));
        let first = Error::with_message(ErrorKind::BackendError, "first");
        let second = Error::with_message(ErrorKind::BackendError, "second");
        shared.report(Side::Input, &first);
        shared.report(Side::Output, &second);
        assert_eq!(shared.failure(), Some(&(Side::Input, "first".to_owned())));
    }

    #[test]
    fn a_storm_of_losses_is_an_error() {
        let shared = Shared::new();
        for _ in 1..STORM {
            shared.report(Side::Output, &Error::new(ErrorKind::Xrun));
        }
        assert_eq!(shared.failure(), None);
        shared.report(Side::Output, &Error::new(ErrorKind::Xrun));
        assert_eq!(shared.failure().unwrap().0, Side::Output);
    }

    #[test]
    fn a_lane_gives_back_what_was_published() {
        let lane = Lane::default();
        assert_eq!(lane.last_s(), None);
        let counts = Counts {
            n_largest: 5461,
            n_burst: 8192,
            all: (1, 0.5),
            settled: (2, 0.25),
            steady: (3, 0.125),
        };
        lane.publish(0.0, &counts);
        lane.set_latency_s(0.25);
        assert_eq!(lane.counts(), counts);
        assert_eq!((lane.last_s(), lane.latency_s()), (Some(0.0), 0.25));
    }
}
