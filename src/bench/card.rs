//! An invented sound card with an invented driver on a jig, so that live measuring can be practised and tested without
//! hardware.

mod electric;
mod faults;

use super::{Bench, BenchError, BenchTake, Element, InventedDriver, Mounting};
use crate::capture::{CaptureError, Live, Monitor, Playback, Recorded, Side, SoundCard};
use crate::circuit::Series;
use crate::progress::Continue;
use crate::recording::Take;
use electric::{AtDc, HighPass, beside, bias_v, driver_peak_v, fed_back, limited, peak, taps_v};

pub use faults::{
    CardFaults, DirectMonitor, Inputs, LevelStep, LostFrames, MicrophoneBias, SoftSuspension,
};

/// What hangs on the jig.
#[derive(Clone, Copy, Debug, PartialEq)]
#[non_exhaustive]
pub enum Arrangement {
    /// The card's driver, in a condition.
    Driver(Mounting),
    /// The card's driver in free air; during each take somebody taps its cone three times.
    TappedDriver,
    /// A resistor in place of the driver, ohm.
    Resistor(f64),
    /// The leads, shorted at the driver's end.
    Shorted,
    /// The leads, open at the driver's end.
    Open,
    /// Both inputs on the source node.
    SameNode,
}

/// A virtual sound card. What is public may be changed between takes.
///
/// A sample of 1 is `full_scale_out_v` at the output and, with a [`super::Channel::gain`] of 1, `full_scale_in_v` at an
/// input. Inputs clip at full scale. Each take has a seed of its own, so that noise differs from take to take and equal
/// calls give equal takes.
///
/// ```
/// use farcone::bench::{Arrangement, Bench, BenchCard, Mounting, Wiring, demo_driver};
/// use farcone::capture::{Playback, SoundCard, Unmonitored};
///
/// let mut card = BenchCard::new(Bench::new(Wiring::AcrossDriver, 47.0), demo_driver(), 48_000, 1.4, 1.4, 1);
/// card.arrange(Arrangement::Driver(Mounting::FreeAir));
/// let recorded = card.record(&Playback::silence(0.1, 48_000), &mut Unmonitored)?;
/// assert_eq!(recorded.take.n_frames(), 4_800 + card.latency_frames + 24_000);
/// # Ok::<(), farcone::capture::CaptureError>(())
/// ```
#[derive(Clone, Debug, PartialEq)]
pub struct BenchCard {
    /// The jig and the inputs, with their noise. Its gains are relative to `full_scale_in_v`.
    pub bench: Bench,
    /// How much later than it was played a frame is recorded.
    pub latency_frames: usize,
    /// What is wrong.
    pub faults: CardFaults,
    driver: InventedDriver,
    arrangement: Arrangement,
    sample_rate_hz: u32,
    full_scale_out_v: f64,
    full_scale_in_v: f64,
    seed: u64,
    n_takes: u64,
}

/// Latency of a new card, frames: 26 ms at 48 kHz, and no round number.
const LATENCY_FRAMES: usize = 1_234;

/// How much longer than playback and latency a take is, s.
const TAIL_S: f64 = 0.5;

/// Between two reports to a monitor, s.
const STEP_S: f64 = 0.05;

/// For how long a stalled card is waited for, s; not really.
const STALLED_S: f64 = 1.0;

/// Where the source node's share is taken for sound that goes in a circle, Hz.
const MIDBAND_HZ: f64 = 1_000.0;

/// The arrangement, with what an [`Element`] borrows.
struct Connected {
    arrangement: Arrangement,
    set_up: Option<(Series, Vec<f64>)>,
    re_ohm: f64,
}

impl Connected {
    fn new(arrangement: Arrangement, driver: &InventedDriver) -> Self {
        let set_up = match arrangement {
            Arrangement::Driver(mounting) => Some(driver.set_up(&mounting)),
            Arrangement::TappedDriver => Some(driver.set_up(&Mounting::FreeAir)),
            _ => None,
        };
        Self {
            arrangement,
            set_up,
            re_ohm: driver.re_ohm,
        }
    }

    fn element(&self) -> Element<'_> {
        match (self.arrangement, &self.set_up) {
            (_, Some((circuit, values))) => Element::Driver { circuit, values },
            (Arrangement::Resistor(ohm), None) => Element::Resistor(ohm),
            (Arrangement::Shorted, None) => Element::Shorted,
            (Arrangement::SameNode, None) => Element::SameNode,
            (_, None) => Element::Open,
        }
    }

    fn at_dc(&self) -> AtDc {
        match self.element() {
            Element::Driver { .. } => AtDc::Ohm(self.re_ohm),
            Element::Resistor(ohm) => AtDc::Ohm(ohm),
            Element::Shorted => AtDc::Ohm(0.0),
            Element::Open => AtDc::Open,
            Element::SameNode => AtDc::SameNode,
        }
    }
}

impl BenchCard {
    /// A card without faults and with nothing on the jig. Full scale is in V peak.
    pub fn new(
        bench: Bench,
        driver: &InventedDriver,
        sample_rate_hz: u32,
        full_scale_out_v: f64,
        full_scale_in_v: f64,
        seed: u64,
    ) -> Self {
        Self {
            bench,
            latency_frames: LATENCY_FRAMES,
            faults: CardFaults::default(),
            driver: *driver,
            arrangement: Arrangement::Open,
            sample_rate_hz,
            full_scale_out_v,
            full_scale_in_v,
            seed,
            n_takes: 0,
        }
    }

    /// Hangs something on the jig, from the next take on.
    pub fn arrange(&mut self, arrangement: Arrangement) {
        self.arrangement = arrangement;
    }

    /// How many takes were begun.
    pub fn n_takes(&self) -> u64 {
        self.n_takes
    }

    /// Both inputs' samples, as the jig gives them; `number` counts takes from 0.
    fn jig_take(
        &self,
        playback: &Playback,
        faults: &CardFaults,
        number: u64,
    ) -> Result<BenchTake, BenchError> {
        for (setting, value) in [
            ("full_scale_out_v", self.full_scale_out_v),
            ("full_scale_in_v", self.full_scale_in_v),
        ] {
            if !(value > 0.0 && value.is_finite()) {
                return Err(BenchError::Setting {
                    setting,
                    value,
                    allowed: "positive and finite",
                });
            }
        }
        let rate_hz = f64::from(self.sample_rate_hz);
        let seed = self.seed.wrapping_add(number);
        let mut connected = Connected::new(self.arrangement, &self.driver);
        let bench = self.bench_with(faults, &connected);
        let emf_v = self.emf_v(playback, faults, &bench, &connected, seed)?;
        if let Some(soft) = faults.soft_suspension {
            let peak_v = driver_peak_v(&bench, &connected.element(), &emf_v, rate_hz)?;
            connected = Connected::new(self.arrangement, &softened(&self.driver, soft, peak_v));
        }
        let mut take = bench.record(&connected.element(), &emf_v, rate_hz, seed)?;
        let channels = [
            (&mut take.source, &bench.source),
            (&mut take.driver, &bench.driver),
        ];
        let dc_v = faults
            .microphone_bias
            .map_or([0.0; 2], |bias| bias_v(&bench, connected.at_dc(), bias));
        let taps_v = match self.arrangement {
            Arrangement::TappedDriver => taps_v(&bench, &self.driver, emf_v.len(), rate_hz),
            _ => [Vec::new(), Vec::new()],
        };
        for (((samples, channel), dc_v), taps_v) in channels.into_iter().zip(dc_v).zip(taps_v) {
            let dc_v = if channel.coupling_hz.is_some() {
                0.0
            } else {
                dc_v
            };
            let mut coupling = HighPass::new(channel.coupling_hz, rate_hz);
            for (sample, tap_v) in samples.iter_mut().zip(taps_v) {
                *sample += (channel.gain * coupling.next(tap_v)) as f32;
            }
            for sample in samples {
                *sample = (*sample + (channel.gain * dc_v) as f32).clamp(-1.0, 1.0);
            }
        }
        Ok(take)
    }

    /// The bench as it is with knobs, full scale and microphone supply. Inputs clip later, when everything is added up.
    fn bench_with(&self, faults: &CardFaults, connected: &Connected) -> Bench {
        let mut bench = self.bench.clone();
        if connected.set_up.is_none() {
            // Nothing that drifts is connected.
            bench.re_drift = 0.0;
        }
        for (channel, knob) in [&mut bench.source, &mut bench.driver]
            .into_iter()
            .zip(faults.knobs)
        {
            channel.gain *= knob / self.full_scale_in_v;
            if let Some(bias) = faults.microphone_bias {
                channel.load_ohm = Some(beside(channel.load_ohm, bias.ohm));
            }
        }
        bench
    }

    /// The source's voltage, as long as the take.
    fn emf_v(
        &self,
        playback: &Playback,
        faults: &CardFaults,
        bench: &Bench,
        connected: &Connected,
        seed: u64,
    ) -> Result<Vec<f64>, BenchError> {
        let rate_hz = f64::from(self.sample_rate_hz);
        let n_played = playback.samples().len();
        let n_frames = self.latency_frames + n_played + (TAIL_S * rate_hz) as usize;
        let mut played = vec![0.0; n_frames];
        for (to, &from) in played[self.latency_frames..]
            .iter_mut()
            .zip(playback.samples())
        {
            *to = f64::from(from).clamp(-1.0, 1.0);
        }
        if let Some(monitor) = faults.direct_monitor {
            let mut uncoupled = bench.clone();
            uncoupled.source.coupling_hz = None;
            let [source, _] = uncoupled.responses(&connected.element(), MIDBAND_HZ, 0.0);
            let through = source.re * self.full_scale_out_v;
            played = fed_back(&played, monitor, through, &bench.source, rate_hz, seed);
        }
        let mut emf_v: Vec<f64> = played.iter().map(|v| v * self.full_scale_out_v).collect();
        if let Some(step) = faults.level_step {
            let factor = 10.0_f64.powf(step.change_db / 20.0);
            for v in emf_v.iter_mut().skip((step.at_s * rate_hz) as usize) {
                *v *= factor;
            }
        }
        match faults.most_output_a {
            Some(most_a) => limited(bench, &connected.element(), emf_v, rate_hz, most_a),
            None => Ok(emf_v),
        }
    }
}

/// The driver as it is at this peak voltage.
fn softened(driver: &InventedDriver, soft: SoftSuspension, peak_v: f64) -> InventedDriver {
    let mut softened = *driver;
    if peak_v > 0.0 {
        let level_db = 20.0 * (peak_v / soft.reference_peak_v).log10();
        let fs_factor = (1.0 + soft.fs_change_per_12_db).powf(level_db / 12.0);
        softened.cms_m_per_n /= fs_factor * fs_factor;
    }
    softened
}

impl SoundCard for BenchCard {
    fn sample_rate_hz(&self) -> u32 {
        self.sample_rate_hz
    }

    /// Takes no time: the monitor is told of every 50 ms at once.
    fn record(
        &mut self,
        playback: &Playback,
        monitor: &mut dyn Monitor,
    ) -> Result<Recorded, CaptureError> {
        const DEVICE: &str = "virtual bench";
        if playback.sample_rate_hz() != self.sample_rate_hz {
            return Err(CaptureError::Rate {
                stimulus_hz: playback.sample_rate_hz(),
                card_hz: self.sample_rate_hz,
            });
        }
        if self.faults.inputs == Inputs::One {
            return Err(CaptureError::OneInput {
                device: DEVICE.into(),
                n_channels: 1,
            });
        }
        let number = self.n_takes;
        self.n_takes += 1;
        let faults = self.faults.in_take(number);
        let mut take = self.jig_take(playback, &faults, number).map_err(|error| {
            CaptureError::Unavailable {
                side: Side::Input,
                device: DEVICE.into(),
                detail: error.to_string(),
            }
        })?;
        if let Some(spoil) = &faults.spoil {
            take = take.spoiled(spoil);
        }
        let BenchTake {
            mut source,
            mut driver,
            ..
        } = take;
        if faults.swapped {
            std::mem::swap(&mut source, &mut driver);
        }
        if faults.inputs == Inputs::Mono {
            driver.clone_from(&source);
        }
        let rate_hz = f64::from(self.sample_rate_hz);
        let mut n_reported_losses = 0;
        if let Some(lost) = faults.lost_frames {
            let begin = ((lost.at_s * rate_hz) as usize).min(source.len());
            let end = begin.saturating_add(lost.n_frames).min(source.len());
            source.drain(begin..end);
            driver.drain(begin..end);
            n_reported_losses = u32::from(lost.reported);
        }
        report([&source, &driver], rate_hz, faults.stall_after_s, monitor)?;
        Ok(Recorded {
            take: Take::new(self.sample_rate_hz, source, driver)?,
            n_reported_losses,
        })
    }
}

/// Tells a monitor of a take as if it were being made.
fn report(
    channels: [&[f32]; 2],
    rate_hz: f64,
    stall_after_s: Option<f64>,
    monitor: &mut dyn Monitor,
) -> Result<(), CaptureError> {
    let n_frames = channels[0].len();
    let n_step = ((STEP_S * rate_hz) as usize).max(1);
    for begin in (0..n_frames).step_by(n_step) {
        let end = (begin + n_step).min(n_frames);
        let elapsed_s = end as f64 / rate_hz;
        if stall_after_s.is_some_and(|limit_s| elapsed_s > limit_s) {
            return Err(CaptureError::Stalled {
                side: Side::Input,
                silent_s: STALLED_S,
            });
        }
        let live = Live {
            elapsed_s,
            total_s: n_frames as f64 / rate_hz,
            peak_dbfs: channels.map(|channel| {
                let samples = channel[begin..end].iter();
                Some(20.0 * peak(samples.map(|&v| f64::from(v))).log10())
            }),
        };
        if monitor.at(&live) == Continue::No {
            return Err(CaptureError::Stopped);
        }
    }
    Ok(())
}
