//! Both streams of one take, on a thread of their own that is waited for with a limit, or abandoned.

use std::sync::Arc;
use std::sync::atomic::Ordering::Relaxed;
use std::sync::mpsc::{self, Receiver, RecvTimeoutError, Sender};
use std::thread;
use std::time::Duration;

use cpal::traits::{DeviceTrait, StreamTrait};
use cpal::{BufferSize, ErrorKind, I24, SampleFormat, Stream, StreamConfig};

use super::choose::{self, Offer};
use super::hosts;
use super::pace::Tally;
use super::player::Player;
use super::samples::{Wire, fill_left, picked};
#[cfg(target_os = "linux")]
use super::server;
use super::shared::{Lane, Shared};
use crate::capture::{CaptureError, Side};
use crate::recording::ChannelPick;

/// How long opening or closing may take, s. Servers answer within a tenth of that or never, and everything has to end within
/// five seconds of a fault.
pub(super) const LIMIT_S: f64 = 4.0;
/// How long starting may take, s: closing still follows.
const START_LIMIT_S: f64 = 3.0;

/// Runs something that may hang on a thread of its own.
///
/// # Errors
/// Where it takes longer than `limit_s`; it is then abandoned.
pub(super) fn within<T: Send + 'static>(
    doing: &'static str,
    limit_s: f64,
    task: impl FnOnce() -> T + Send + 'static,
) -> Result<T, CaptureError> {
    let (done, result) = mpsc::channel();
    spawn(move || {
        let _ = done.send(task());
    });
    wait(&result, doing, limit_s)
}

fn spawn(task: impl FnOnce() + Send + 'static) {
    // Where the system has no thread left the channel closes, which reads as "does not answer".
    let _ = thread::Builder::new()
        .name("sound".to_owned())
        .spawn(move || {
            hosts::quiet();
            task();
        });
}

fn wait<T>(from: &Receiver<T>, doing: &'static str, limit_s: f64) -> Result<T, CaptureError> {
    from.recv_timeout(Duration::from_secs_f64(limit_s))
        .map_err(|error| match error {
            RecvTimeoutError::Timeout | RecvTimeoutError::Disconnected => {
                CaptureError::Blocked { doing, limit_s }
            }
        })
}

/// How both sides are opened.
#[derive(Clone, Debug)]
pub(super) struct Plan {
    pub(super) host: String,
    pub(super) output: String,
    pub(super) input: String,
    pub(super) sample_rate_hz: u32,
    pub(super) output_offer: Offer,
    pub(super) input_offer: Offer,
    pub(super) channels: ChannelPick,
}

/// Streams that run on their thread until this is dropped.
pub(super) struct Engine {
    /// Dropped to say "close".
    play: Option<Sender<()>>,
    replies: Receiver<Result<(), CaptureError>>,
}

impl Engine {
    /// Opens both streams and starts the input; its samples go to `ring`, source and driver alternately.
    pub(super) fn open(
        plan: &Plan,
        samples: Arc<[f32]>,
        ring: rtrb::Producer<f32>,
        shared: &Arc<Shared>,
    ) -> Result<Self, CaptureError> {
        let (plan, shared) = (plan.clone(), Arc::clone(shared));
        let (play, orders) = mpsc::channel();
        let (answers, replies) = mpsc::channel();
        spawn(move || run(&plan, samples, ring, &shared, &orders, &answers));
        wait(&replies, "opening the devices", LIMIT_S)??;
        Ok(Self {
            play: Some(play),
            replies,
        })
    }

    /// Starts the output.
    pub(super) fn play(&self) -> Result<(), CaptureError> {
        if let Some(play) = &self.play {
            let _ = play.send(());
        }
        wait(&self.replies, "starting the output", START_LIMIT_S)?
    }

    /// Closes both streams, or abandons them when that takes longer.
    pub(super) fn close(&mut self, limit_s: f64) -> Result<(), CaptureError> {
        self.play = None;
        wait(&self.replies, "closing the devices", limit_s)?
    }
}

/// The thread's whole life. Whoever opened it may be gone at any point: every stream is then dropped here.
fn run(
    plan: &Plan,
    samples: Arc<[f32]>,
    ring: rtrb::Producer<f32>,
    shared: &Arc<Shared>,
    orders: &Receiver<()>,
    answers: &Sender<Result<(), CaptureError>>,
) {
    let streams = match Streams::open(plan, samples, ring, shared) {
        Ok(streams) => streams,
        Err(error) => {
            let _ = answers.send(Err(error));
            return;
        }
    };
    if answers.send(Ok(())).is_err() {
        return;
    }
    loop {
        match streams.next_order(orders) {
            Ok(()) => {
                let started = streams
                    .play()
                    .map_err(|said| unavailable(plan, Side::Output, &said));
                if answers.send(started).is_err() {
                    return;
                }
            }
            Err(RecvTimeoutError::Timeout) => streams.look(),
            Err(RecvTimeoutError::Disconnected) => break,
        }
    }
    streams.close();
    let _ = answers.send(Ok(()));
}

/// Both streams of a take, by whatever opened them.
enum Streams {
    Usual {
        output: Stream,
        input: Stream,
    },
    #[cfg(target_os = "linux")]
    Server(server::Streams),
}

impl Streams {
    /// Opens both and starts the input.
    fn open(
        plan: &Plan,
        samples: Arc<[f32]>,
        ring: rtrb::Producer<f32>,
        shared: &Arc<Shared>,
    ) -> Result<Self, CaptureError> {
        #[cfg(target_os = "linux")]
        if server::is_for(plan) {
            return server::Streams::open(plan, samples, ring, shared)
                .map(Self::Server)
                .map_err(|(side, said)| unavailable(plan, side, &said));
        }
        let (input, output) = open(plan, samples, ring, shared)?;
        Ok(Self::Usual { output, input })
    }

    /// Waits for "play"; a timeout is the time to look.
    fn next_order(&self, orders: &Receiver<()>) -> Result<(), RecvTimeoutError> {
        match self {
            Self::Usual { .. } => orders.recv().map_err(RecvTimeoutError::from),
            #[cfg(target_os = "linux")]
            Self::Server(_) => orders.recv_timeout(server::LOOK),
        }
    }

    fn play(&self) -> Result<(), String> {
        match self {
            Self::Usual { output, .. } => output.play().map_err(|error| error.to_string()),
            #[cfg(target_os = "linux")]
            Self::Server(streams) => streams.play(),
        }
    }

    fn look(&self) {
        match self {
            Self::Usual { .. } => {}
            #[cfg(target_os = "linux")]
            Self::Server(streams) => streams.look(),
        }
    }

    fn close(self) {
        match self {
            Self::Usual { output, input } => {
                drop(output);
                drop(input);
            }
            #[cfg(target_os = "linux")]
            Self::Server(streams) => streams.close(),
        }
    }
}

fn unavailable(plan: &Plan, side: Side, detail: &str) -> CaptureError {
    CaptureError::Unavailable {
        side,
        device: match side {
            Side::Output => plan.output.clone(),
            Side::Input => plan.input.clone(),
        },
        detail: detail.to_owned(),
    }
}

fn open(
    plan: &Plan,
    samples: Arc<[f32]>,
    ring: rtrb::Producer<f32>,
    shared: &Arc<Shared>,
) -> Result<(Stream, Stream), CaptureError> {
    let fails = |side: Side| move |detail: String| unavailable(plan, side, &detail);
    let host = hosts::host(&plan.host).map_err(fails(Side::Input))?;
    let device = hosts::find(&host, &plan.input, Side::Input).map_err(fails(Side::Input))?;
    let input = open_input(&device, plan, ring, shared).map_err(fails(Side::Input))?;
    let device = hosts::find(&host, &plan.output, Side::Output).map_err(fails(Side::Output))?;
    let output = open_output(&device, plan, samples, shared).map_err(fails(Side::Output))?;
    input
        .play()
        .map_err(|error| unavailable(plan, Side::Input, &error.to_string()))?;
    Ok((input, output))
}

/// How long a sound system that keeps to it may take to make one stream; also how often ALSA's threads look up.
const STREAM_LIMIT: Duration = Duration::from_secs(2);

fn config(plan: &Plan, offer: &Offer, buffer_size: BufferSize) -> StreamConfig {
    StreamConfig {
        channels: offer.n_channels,
        sample_rate: plan.sample_rate_hz,
        buffer_size,
    }
}

/// The block lengths to try: what a device says of its limits does not always hold.
fn buffer_sizes(side: Side, plan: &Plan) -> [BufferSize; 2] {
    let (device, offer) = match side {
        Side::Input => (&plan.input, &plan.input_offer),
        Side::Output => (&plan.output, &plan.output_offer),
    };
    let block = choose::block(side, device, offer, plan.sample_rate_hz);
    [BufferSize::Fixed(block), BufferSize::Default]
}

/// A callback can be given away only once, so the ring waits here until a stream has been made.
type Slot = Arc<std::sync::Mutex<Option<rtrb::Producer<f32>>>>;

fn open_input(
    device: &cpal::Device,
    plan: &Plan,
    ring: rtrb::Producer<f32>,
    shared: &Arc<Shared>,
) -> Result<Stream, String> {
    let ring: Slot = Arc::new(std::sync::Mutex::new(Some(ring)));
    let make = |buffer_size| {
        let config = config(plan, &plan.input_offer, buffer_size);
        match plan.input_offer.format {
            SampleFormat::F32 => input::<f32>(device, config, plan, &ring, shared),
            SampleFormat::I32 => input::<i32>(device, config, plan, &ring, shared),
            SampleFormat::I24 => input::<I24>(device, config, plan, &ring, shared),
            _ => input::<i16>(device, config, plan, &ring, shared),
        }
    };
    first(buffer_sizes(Side::Input, plan), make)
}

fn open_output(
    device: &cpal::Device,
    plan: &Plan,
    samples: Arc<[f32]>,
    shared: &Arc<Shared>,
) -> Result<Stream, String> {
    let make = |buffer_size| {
        let config = config(plan, &plan.output_offer, buffer_size);
        let player = Player::new(Arc::clone(&samples), plan.sample_rate_hz);
        match plan.output_offer.format {
            SampleFormat::F32 => output::<f32>(device, config, player, shared),
            SampleFormat::I32 => output::<i32>(device, config, player, shared),
            SampleFormat::I24 => output::<I24>(device, config, player, shared),
            _ => output::<i16>(device, config, player, shared),
        }
    };
    first(buffer_sizes(Side::Output, plan), make)
}

fn first(
    sizes: [BufferSize; 2],
    mut make: impl FnMut(BufferSize) -> Result<Stream, cpal::Error>,
) -> Result<Stream, String> {
    let [fixed, default] = sizes;
    match make(fixed) {
        Err(error) if error.kind() == ErrorKind::UnsupportedConfig => make(default),
        made => made,
    }
    .map_err(|error| error.to_string())
}

fn input<T: Wire>(
    device: &cpal::Device,
    config: StreamConfig,
    plan: &Plan,
    ring: &Slot,
    shared: &Arc<Shared>,
) -> Result<Stream, cpal::Error> {
    let (n_channels, pick) = (usize::from(config.channels), plan.channels);
    let mut tally = Tally::new(config.sample_rate);
    let (ring, reporter) = (Arc::clone(ring), Arc::clone(shared));
    let shared = Arc::clone(shared);
    let mut own_ring = None;
    device.build_input_stream::<T, _, _>(
        config,
        move |block, info| {
            // Once: from the second block on the ring is this closure's own, and no lock is touched.
            if own_ring.is_none() {
                own_ring = ring.lock().ok().and_then(|mut ring| ring.take());
            }
            let n_frames = block.len() / n_channels;
            let Some(ring) = &mut own_ring else { return };
            // All or nothing: half a block would be no better than none.
            match ring.write_chunk_uninit(2 * n_frames) {
                Ok(chunk) => {
                    chunk.fill_from_iter(picked(block, n_channels, pick));
                }
                Err(_) => shared.lose(),
            }
            let times = info.timestamp();
            let latency = times.callback.saturating_duration_since(times.capture);
            publish(&shared, &shared.input, &mut tally, n_frames, latency);
        },
        move |error| reporter.report(Side::Input, &error),
        Some(STREAM_LIMIT),
    )
}

fn output<T: Wire>(
    device: &cpal::Device,
    config: StreamConfig,
    mut player: Player,
    shared: &Arc<Shared>,
) -> Result<Stream, cpal::Error> {
    let n_channels = usize::from(config.channels);
    let mut tally = Tally::new(config.sample_rate);
    let reporter = Arc::clone(shared);
    let shared = Arc::clone(shared);
    device.build_output_stream::<T, _, _>(
        config,
        move |block, info| {
            // Some servers fill their buffer before anybody says "play".
            if !shared.go.load(Relaxed) {
                fill_left(block, n_channels, || 0.0);
                return;
            }
            if shared.fade.load(Relaxed) {
                player.fade();
            }
            fill_left(block, n_channels, || player.next());
            let times = info.timestamp();
            let latency = times.playback.saturating_duration_since(times.callback);
            let n_frames = block.len() / n_channels;
            publish(&shared, &shared.output, &mut tally, n_frames, latency);
            shared.is_at_end.store(player.is_at_end(), Relaxed);
            shared.is_silent.store(player.is_faded(), Relaxed);
        },
        move |error| reporter.report(Side::Output, &error),
        Some(STREAM_LIMIT),
    )
}

fn publish(shared: &Shared, lane: &Lane, tally: &mut Tally, n_frames: usize, latency: Duration) {
    let now_s = shared.now_s();
    let counts = tally.block(now_s, n_frames as u64);
    lane.set_latency_s(latency.as_secs_f64());
    lane.publish(now_s, &counts);
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::time::Instant;

    #[test]
    fn what_hangs_is_abandoned() {
        let begun = Instant::now();
        let hung = within("sleeping", 0.1, || thread::sleep(Duration::from_secs(60)));
        assert!(matches!(
            hung,
            Err(CaptureError::Blocked {
                doing: "sleeping",
                ..
            })
        ));
        assert!(begun.elapsed().as_secs_f64() < 5.0);
        assert_eq!(within("counting", 10.0, || 42).unwrap(), 42);
    }

    #[test]
    fn what_dies_does_not_keep_anybody_waiting() {
        let begun = Instant::now();
        let dead = within("dying", 60.0, || panic!("a test of what happens to others"));
        assert!(matches!(dead, Err(CaptureError::Blocked { .. })));
        assert!(begun.elapsed().as_secs_f64() < 5.0);
    }
}
