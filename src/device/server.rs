//! Streams of a PulseAudio server, with buffers of our own choice.
//!
//! The interface that opens everything else asks a server for a playback buffer of exactly two requests. Servers divide what
//! is left of a buffer beyond two requests between themselves and the device, so nothing is left for the device, which then
//! runs in its shortest blocks (0.5 ms) however long ours are: a thousand wake-ups a second here, and lost frames on real
//! cards. It also asks for the latency after every block, which doubles that (measured: a quarter of a core).
//!
//! Devices are found and described elsewhere; here they are only opened.

use std::ffi::CString;
use std::future::Future;
use std::pin::pin;
use std::sync::Arc;
use std::sync::atomic::Ordering::Relaxed;
use std::task::{Context, Poll, Wake, Waker};
use std::thread::{self, Thread};
use std::time::{Duration, Instant};

use pulseaudio::protocol::stream::{BufferAttr, StreamFlags};
use pulseaudio::protocol::{
    ChannelMap, ChannelPosition, PlaybackStreamParams, RecordStreamParams, SampleFormat, SampleSpec,
};
use pulseaudio::{AsPlaybackSource, Client, ClientError, PlaybackStream, RecordStream};

use super::engine::Plan;
use super::hosts::without_host;
use super::pace::Tally;
use super::player::Player;
use super::shared::Shared;
use crate::capture::Side;
use crate::recording::ChannelPick;

/// The sound system that this is for, by its name.
const HOST: &str = "pulseaudio";
/// What lies between us and the plug on the way out, s: beyond the hiccups of a busy machine, and short enough for a fade
/// that is heard within a second of the request.
const OUTPUT_S: f64 = 0.4;
/// What the server asks for at a time, s. The device gets half of what is left beyond two of these: 0.15 s.
const REQUEST_S: f64 = 0.05;
/// What the server collects before it sends, s; half of it is the device's.
const FRAGMENT_S: f64 = 0.2;
/// How long the server may take for an answer, s. Healthy ones take a thousandth.
const ANSWER_S: f64 = 2.0;
/// How long it may take for one that is wanted for its own sake only, s.
const GLANCE_S: f64 = 0.3;
/// How often the server is asked how it is, which is how a removed device shows.
pub(super) const LOOK: Duration = Duration::from_millis(500);
/// Samples travel as 32-bit floats, which the server hands on unchanged.
const SAMPLE: usize = size_of::<f32>();

/// Whether streams of this sound system are opened here.
pub(super) fn is_for(plan: &Plan) -> bool {
    plan.host.eq_ignore_ascii_case(HOST)
}

/// Both streams; dropping them ends them.
pub(super) struct Streams {
    input: RecordStream,
    output: PlaybackStream,
    shared: Arc<Shared>,
}

impl Streams {
    /// Opens both and starts the input.
    pub(super) fn open(
        plan: &Plan,
        samples: Arc<[f32]>,
        ring: rtrb::Producer<f32>,
        shared: &Arc<Shared>,
    ) -> Result<Self, (Side, String)> {
        let name = CString::from(c"farcone");
        let client = Client::from_env(name).map_err(|error| (Side::Input, said(&error)))?;
        let input = open_input(&client, plan, ring, shared).map_err(|said| (Side::Input, said))?;
        let output =
            open_output(&client, plan, samples, shared).map_err(|said| (Side::Output, said))?;
        answer(input.uncork(), ANSWER_S).map_err(|said| (Side::Input, said))?;
        Ok(Self {
            input,
            output,
            shared: Arc::clone(shared),
        })
    }

    /// Starts the output.
    pub(super) fn play(&self) -> Result<(), String> {
        answer(self.output.uncork(), ANSWER_S)
    }

    /// Asks for the latencies; streams that the server no longer has are reported. One that does not answer is not: whether
    /// blocks still come says more.
    pub(super) fn look(&self) {
        match within(self.input.timing_info(), GLANCE_S) {
            Some(Ok(at)) => {
                let waiting = at.write_offset.saturating_sub(at.read_offset);
                let waiting_s = duration_s(self.input.sample_spec(), waiting);
                let device_s = at.source_usec as f64 * 1e-6;
                self.shared.input.set_latency_s(device_s + waiting_s);
            }
            Some(Err(error)) => self.shared.fail(Side::Input, said(&error)),
            None => return,
        }
        match within(self.output.timing_info(), GLANCE_S) {
            Some(Ok(at)) => {
                let waiting = at.write_offset.saturating_sub(at.read_offset);
                let waiting_s = duration_s(self.output.sample_spec(), waiting);
                let device_s = at.sink_usec as f64 * 1e-6;
                self.shared.output.set_latency_s(device_s + waiting_s);
            }
            Some(Err(error)) => self.shared.fail(Side::Output, said(&error)),
            None => {}
        }
    }

    /// Ends both, the output first. Whether the server confirms it does not matter: a frozen one plays nothing.
    pub(super) fn close(self) {
        let _ = within(self.output.delete(), GLANCE_S);
        let _ = within(self.input.delete(), GLANCE_S);
    }
}

fn duration_s(spec: &SampleSpec, n_bytes: i64) -> f64 {
    let n_bytes = usize::try_from(n_bytes).unwrap_or(0);
    spec.bytes_to_duration(n_bytes).as_secs_f64()
}

fn said(error: &ClientError) -> String {
    match error {
        ClientError::Disconnected => "the connection to the sound server ended".to_owned(),
        // These two leave out what it was.
        ClientError::Io(cause) => cause.to_string(),
        ClientError::Protocol(cause) => cause.to_string(),
        other => other.to_string(),
    }
}

fn answer<T>(
    question: impl Future<Output = Result<T, ClientError>>,
    limit_s: f64,
) -> Result<T, String> {
    match within(question, limit_s) {
        Some(answer) => answer.map_err(|error| said(&error)),
        None => Err(format!(
            "the sound server did not answer within {limit_s} s"
        )),
    }
}

/// Wakes a thread that waits for an answer.
struct Unpark(Thread);

impl Wake for Unpark {
    fn wake(self: Arc<Self>) {
        self.0.unpark();
    }
}

/// Waits for something, but not for ever.
fn within<T>(future: impl Future<Output = T>, limit_s: f64) -> Option<T> {
    let mut future = pin!(future);
    let waker = Waker::from(Arc::new(Unpark(thread::current())));
    let until = Instant::now() + Duration::from_secs_f64(limit_s);
    loop {
        if let Poll::Ready(result) = future.as_mut().poll(&mut Context::from_waker(&waker)) {
            return Some(result);
        }
        let left = until.saturating_duration_since(Instant::now());
        if left.is_zero() {
            return None;
        }
        thread::park_timeout(left);
    }
}

/// Reports the end of a stream that nobody asked for: the connection's own thread drops what it holds when it ends.
struct Alarm {
    side: Side,
    shared: Arc<Shared>,
}

impl Drop for Alarm {
    fn drop(&mut self) {
        self.shared
            .fail(self.side, said(&ClientError::Disconnected));
    }
}

fn spec(plan: &Plan, n_channels: u16) -> Result<SampleSpec, String> {
    Ok(SampleSpec {
        format: if cfg!(target_endian = "little") {
            SampleFormat::Float32Le
        } else {
            SampleFormat::Float32Be
        },
        channels: u8::try_from(n_channels).map_err(|_| format!("{n_channels} channels"))?,
        sample_rate: plan.sample_rate_hz,
    })
}

/// The device's own order of channels, so that none is mixed into another; a usual one where the count differs.
fn channel_map(own: ChannelMap, spec: &SampleSpec) -> ChannelMap {
    match spec.channels {
        n if n == own.num_channels() => own,
        1 => ChannelMap::mono(),
        2 => ChannelMap::stereo(),
        n => ChannelMap::new((0..n).map(|_| ChannelPosition::Mono)),
    }
}

/// Whole frames, bytes.
fn n_bytes(spec: &SampleSpec, s: f64) -> u32 {
    let n_frames = (s * f64::from(spec.sample_rate)).ceil() as u32;
    n_frames.saturating_mul(u32::from(spec.channels) * SAMPLE as u32)
}

const FLAGS: fn() -> StreamFlags = || StreamFlags {
    start_corked: true,
    // The lengths of the buffers include the device's.
    adjust_latency: true,
    ..StreamFlags::default()
};

fn name_of(plan: &Plan, id: &str) -> Result<CString, String> {
    CString::new(without_host(&plan.host, id)).map_err(|_| "a name with a zero in it".to_owned())
}

fn open_input(
    client: &Client,
    plan: &Plan,
    mut ring: rtrb::Producer<f32>,
    shared: &Arc<Shared>,
) -> Result<RecordStream, String> {
    let name = name_of(plan, &plan.input)?;
    let source = answer(client.source_info_by_name(name), ANSWER_S)?;
    let spec = spec(plan, plan.input_offer.n_channels)?;
    let params = RecordStreamParams {
        sample_spec: spec,
        channel_map: channel_map(source.channel_map, &spec),
        source_index: Some(source.index),
        buffer_attr: BufferAttr {
            fragment_size: n_bytes(&spec, FRAGMENT_S),
            // As long as the server allows: what we are late for waits there.
            ..BufferAttr::default()
        },
        flags: FLAGS(),
        ..RecordStreamParams::default()
    };
    shared.input.set_latency_s(FRAGMENT_S);
    let alarm = Alarm {
        side: Side::Input,
        shared: Arc::clone(shared),
    };
    let (n_channels, pick) = (usize::from(spec.channels), plan.channels);
    let mut tally = Tally::new(plan.sample_rate_hz);
    let callback = move |block: &[u8]| {
        let shared = &alarm.shared;
        let n_frames = block.len() / (n_channels * SAMPLE);
        // All or nothing: half a block would be no better than none.
        match ring.write_chunk_uninit(2 * n_frames) {
            Ok(chunk) => {
                chunk.fill_from_iter(picked(block, n_channels, pick));
            }
            Err(_) => shared.lose(),
        }
        let now_s = shared.now_s();
        let counts = tally.block(now_s, n_frames as u64);
        shared.input.publish(now_s, &counts);
    };
    answer(client.create_record_stream(params, callback), ANSWER_S)
}

fn open_output(
    client: &Client,
    plan: &Plan,
    samples: Arc<[f32]>,
    shared: &Arc<Shared>,
) -> Result<PlaybackStream, String> {
    let name = name_of(plan, &plan.output)?;
    let sink = answer(client.sink_info_by_name(name), ANSWER_S)?;
    let spec = spec(plan, plan.output_offer.n_channels)?;
    let params = PlaybackStreamParams {
        sample_spec: spec,
        channel_map: channel_map(sink.channel_map, &spec),
        sink_index: Some(sink.index),
        buffer_attr: BufferAttr {
            target_length: n_bytes(&spec, OUTPUT_S),
            minimum_request_length: n_bytes(&spec, REQUEST_S),
            ..BufferAttr::default()
        },
        flags: FLAGS(),
        ..PlaybackStreamParams::default()
    };
    shared.output.set_latency_s(OUTPUT_S);
    let alarm = Alarm {
        side: Side::Output,
        shared: Arc::clone(shared),
    };
    let n_channels = usize::from(spec.channels);
    let mut player = Player::new(samples, plan.sample_rate_hz);
    let mut tally = Tally::new(plan.sample_rate_hz);
    let callback = move |block: &mut [u8]| {
        let shared = &alarm.shared;
        // The server fills its buffer before anybody says "play".
        if !shared.go.load(Relaxed) {
            block.fill(0);
            return block.len();
        }
        if shared.fade.load(Relaxed) {
            player.fade();
        }
        fill_left(block, n_channels, || player.next());
        let now_s = shared.now_s();
        let n_frames = block.len() / (n_channels * SAMPLE);
        let counts = tally.block(now_s, n_frames as u64);
        shared.output.publish(now_s, &counts);
        shared.is_at_end.store(player.is_at_end(), Relaxed);
        shared.is_silent.store(player.is_faded(), Relaxed);
        block.len()
    };
    let source = callback.as_playback_source();
    answer(client.create_playback_stream(params, source), ANSWER_S)
}

/// The picked channels of an interleaved block: source, driver, source, driver, …
fn picked(block: &[u8], n_channels: usize, pick: ChannelPick) -> impl Iterator<Item = f32> {
    block
        .chunks_exact(n_channels * SAMPLE)
        .flat_map(move |frame| {
            [pick.source(), pick.driver()].map(|channel| {
                let sample = frame
                    .get(channel * SAMPLE..)
                    .and_then(|rest| rest.first_chunk());
                sample.map_or(0.0, |bytes| f32::from_ne_bytes(*bytes))
            })
        })
}

/// Fills an interleaved block: the first channel with what comes next, the others with silence.
fn fill_left(block: &mut [u8], n_channels: usize, mut next: impl FnMut() -> f32) {
    for frame in block.chunks_mut(n_channels * SAMPLE) {
        frame.fill(0);
        if let Some(left) = frame.first_chunk_mut() {
            *left = next().to_ne_bytes();
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_device_gets_blocks_that_are_long_enough_and_a_fade_ends_in_time() {
        // What a server leaves to the device, and what it asks for at least.
        const { assert!((OUTPUT_S - 2.0 * REQUEST_S) / 2.0 > 0.1) };
        // With the fade itself, one block of the device and the wait for the next request.
        const { assert!(OUTPUT_S + (OUTPUT_S - 2.0 * REQUEST_S) / 2.0 + 0.1 < 1.0) };
        let spec = SampleSpec {
            format: SampleFormat::Float32Le,
            channels: 3,
            sample_rate: 44_100,
        };
        assert_eq!(n_bytes(&spec, REQUEST_S), 2205 * 12);
    }

    #[test]
    fn samples_travel_as_bytes_bit_by_bit() {
        let values = [0.1_f32, -1.0, f32::MIN_POSITIVE, 1.0e-30];
        let mut left = values.into_iter();
        let mut block = [9; 4 * 3 * SAMPLE];
        fill_left(&mut block, 3, || left.next().unwrap());
        let pick = ChannelPick::from_numbers(1, 3).unwrap();
        let got: Vec<f32> = picked(&block, 3, pick).collect();
        assert_eq!(got.iter().copied().step_by(2).collect::<Vec<_>>(), values);
        assert!(got.iter().skip(1).step_by(2).all(|right| *right == 0.0));
    }

    #[test]
    fn what_never_comes_is_not_waited_for() {
        let begun = Instant::now();
        assert_eq!(within(std::future::pending::<()>(), 0.05), None);
        assert!(begun.elapsed().as_secs_f64() < 5.0);
        assert_eq!(within(std::future::ready(42), 10.0), Some(42));
    }

    #[test]
    fn a_connection_that_ends_is_reported() {
        let shared = Arc::new(Shared::new());
        drop(Alarm {
            side: Side::Output,
            shared: Arc::clone(&shared),
        });
        let (side, said) = shared.failure().unwrap();
        assert_eq!(*side, Side::Output);
        assert!(said.contains("ended"), "{said}");
    }
}
