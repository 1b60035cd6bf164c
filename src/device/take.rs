//! One take, from opening the devices to closing them, as the calling thread sees it.

use std::sync::Arc;
use std::sync::atomic::Ordering::Relaxed;
use std::thread;
use std::time::Duration;

use super::engine::{Engine, LIMIT_S, Plan};
use super::shared::{Lane, Shared};
use super::watch::silent_s;
use crate::capture::{CaptureError, Live, Monitor, Playback, Recorded, Side};
use crate::progress::Continue;
use crate::recording::Take;

/// What the ring holds, s: more than this program is ever kept waiting.
const RING_S: usize = 4;
/// How often the ring is emptied and everything looked at.
const TICK: Duration = Duration::from_millis(50);
/// How often the monitor is told at most, s: at every tick, even one that comes a little early.
const REPORT_S: f64 = 0.04;
/// What is recorded beyond the end of the stimulus and the latency that the sound system admits to, s.
const MARGIN_S: f64 = 0.5;
/// Latencies beyond this are not believed, s.
const LARGEST_LATENCY_S: f64 = 1.0;
/// How long a fade may take, with what is still in the buffers, s.
const FADE_LIMIT_S: f64 = 1.0;
/// An output that has not moved for so long does not fade any more, s.
const DEAD_S: f64 = 0.5;
/// How long closing may take after something went wrong, s.
const CLOSE_LIMIT_S: f64 = 1.0;

/// Plays and records.
pub(super) fn record(
    plan: &Plan,
    playback: &Playback,
    monitor: &mut dyn Monitor,
) -> Result<Recorded, CaptureError> {
    if playback.sample_rate_hz() != plan.sample_rate_hz {
        return Err(CaptureError::Rate {
            stimulus_hz: playback.sample_rate_hz(),
            card_hz: plan.sample_rate_hz,
        });
    }
    let shared = Arc::new(Shared::new());
    let (producer, ring) = rtrb::RingBuffer::new(2 * RING_S * plan.sample_rate_hz as usize);
    let engine = Engine::open(plan, playback.shared(), producer, &shared)?;
    let mut running = Running {
        engine,
        is_open: true,
        input_since_s: shared.now_s(),
        output_since_s: None,
        shared,
        ring,
        rate_hz: plan.sample_rate_hz,
        duration_s: playback.duration_s(),
        source: vec![],
        driver: vec![],
        peaks: [None; 2],
        reported_s: f64::NEG_INFINITY,
    };
    running.listen(monitor)?;
    running.play()?;
    running.go_on(monitor)?;
    running.finish()
}

/// Whatever ends it, error or panic, the sound fades out: see [`Drop`].
struct Running {
    engine: Engine,
    is_open: bool,
    shared: Arc<Shared>,
    ring: rtrb::Consumer<f32>,
    rate_hz: u32,
    duration_s: f64,
    input_since_s: f64,
    output_since_s: Option<f64>,
    source: Vec<f32>,
    driver: Vec<f32>,
    /// Since the last report.
    peaks: [Option<f32>; 2],
    reported_s: f64,
}

impl Running {
    /// Waits until the input flows.
    fn listen(&mut self, monitor: &mut dyn Monitor) -> Result<(), CaptureError> {
        while self.shared.input.counts().all.0 == 0 {
            self.check()?;
            self.report(monitor)?;
            thread::sleep(TICK);
        }
        Ok(())
    }

    /// Forgets what came so far and starts the output.
    fn play(&mut self) -> Result<(), CaptureError> {
        let seconds = self.duration_s + MARGIN_S + 2.0 * LARGEST_LATENCY_S;
        let n_frames = (seconds * f64::from(self.rate_hz)) as usize;
        self.source.reserve_exact(n_frames);
        self.driver.reserve_exact(n_frames);
        self.drain();
        self.source.clear();
        self.driver.clear();
        self.shared.go.store(true, Relaxed);
        self.output_since_s = Some(self.shared.now_s());
        self.engine.play()
    }

    /// Records until the end of the stimulus has arrived.
    fn go_on(&mut self, monitor: &mut dyn Monitor) -> Result<(), CaptureError> {
        let mut enough = None;
        loop {
            // Looked at first, so that what is drained afterwards is later.
            let is_at_end = self.shared.is_at_end.load(Relaxed);
            self.drain();
            self.check()?;
            self.report(monitor)?;
            if is_at_end {
                let margin = (self.margin_s() * f64::from(self.rate_hz)) as usize;
                let enough = *enough.get_or_insert(self.source.len() + margin);
                // A device that does not wait is ahead of the clock.
                if self.source.len() >= enough && self.played_s() >= self.duration_s {
                    return Ok(());
                }
            }
            thread::sleep(TICK);
        }
    }

    fn margin_s(&self) -> f64 {
        let latency_s = |lane: &Lane| lane.latency_s().clamp(0.0, LARGEST_LATENCY_S);
        MARGIN_S + latency_s(&self.shared.output) + latency_s(&self.shared.input)
    }

    /// How long the output has been running, s.
    fn played_s(&self) -> f64 {
        self.output_since_s
            .map_or(0.0, |since_s| self.shared.now_s() - since_s)
    }

    fn drain(&mut self) {
        let Ok(chunk) = self.ring.read_chunk(self.ring.slots()) else {
            return;
        };
        let mut samples = chunk.into_iter();
        while let (Some(source), Some(driver)) = (samples.next(), samples.next()) {
            self.source.push(source);
            self.driver.push(driver);
            for (peak, sample) in self.peaks.iter_mut().zip([source, driver]) {
                let size = sample.abs();
                if peak.is_none_or(|peak| size > peak) {
                    *peak = Some(size);
                }
            }
        }
    }

    /// Every fault that shows while it runs.
    fn check(&self) -> Result<(), CaptureError> {
        if let Some((side, detail)) = self.shared.failure() {
            return Err(CaptureError::Lost {
                side: *side,
                detail: detail.clone(),
            });
        }
        self.check_side(Side::Input, &self.shared.input, self.input_since_s)?;
        if let Some(since_s) = self.output_since_s {
            self.check_side(Side::Output, &self.shared.output, since_s)?;
        }
        Ok(())
    }

    fn check_side(&self, side: Side, lane: &Lane, since_s: f64) -> Result<(), CaptureError> {
        let counts = lane.counts();
        let block_s = counts.n_largest as f64 / f64::from(self.rate_hz);
        // In this order: a block that comes in between must not seem to be from the future.
        let last_s = lane.last_s();
        if let Some(silent_s) = silent_s(self.shared.now_s(), since_s, last_s, block_s) {
            return Err(CaptureError::Stalled { side, silent_s });
        }
        match counts.wrong_hz(self.rate_hz) {
            None => Ok(()),
            Some(measured_hz) => Err(CaptureError::Pace {
                side,
                measured_hz,
                nominal_hz: self.rate_hz,
            }),
        }
    }

    fn report(&mut self, monitor: &mut dyn Monitor) -> Result<(), CaptureError> {
        let now_s = self.shared.now_s();
        if now_s - self.reported_s < REPORT_S {
            return Ok(());
        }
        self.reported_s = now_s;
        let total_s = self.duration_s + self.margin_s();
        let elapsed_s = self.source.len() as f64 / f64::from(self.rate_hz);
        let live = Live {
            elapsed_s: if elapsed_s < total_s {
                elapsed_s
            } else {
                total_s
            },
            total_s,
            peak_dbfs: std::mem::take(&mut self.peaks)
                .map(|peak| peak.map(|peak| 20.0 * f64::from(peak).log10())),
        };
        match monitor.at(&live) {
            Continue::Yes => Ok(()),
            Continue::No => Err(CaptureError::Stopped),
        }
    }

    fn finish(mut self) -> Result<Recorded, CaptureError> {
        self.is_open = false;
        self.engine.close(LIMIT_S)?;
        let (source, driver) = (
            std::mem::take(&mut self.source),
            std::mem::take(&mut self.driver),
        );
        Ok(Recorded {
            take: Take::new(self.rate_hz, source, driver)?,
            n_reported_losses: self.shared.n_losses(),
        })
    }

    /// Fades out, where there is somebody to do it, and waits until that has been heard.
    fn fade(&self) {
        self.shared.fade.store(true, Relaxed);
        let begun_s = self.shared.now_s();
        let left_s = || FADE_LIMIT_S - (self.shared.now_s() - begun_s);
        let is_moving = || {
            let last_s = self.shared.output.last_s();
            last_s.is_some_and(|last_s| self.shared.now_s() - last_s < DEAD_S)
        };
        while !self.shared.is_silent.load(Relaxed) {
            if left_s() <= 0.0 || !is_moving() {
                return;
            }
            thread::sleep(TICK / 5);
        }
        let lane = &self.shared.output;
        let block_s = lane.counts().n_largest as f64 / f64::from(self.rate_hz);
        let heard_s = (lane.latency_s() + block_s).clamp(0.0, left_s().clamp(0.0, FADE_LIMIT_S));
        thread::sleep(Duration::from_secs_f64(heard_s));
    }
}

impl Drop for Running {
    fn drop(&mut self) {
        if self.is_open {
            self.fade();
            // What does not come back is abandoned; its output is silent by now.
            let _ = self.engine.close(CLOSE_LIMIT_S);
        }
    }
}
