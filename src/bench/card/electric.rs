//! What goes on in the jig beside the linear response to the source: currents from the inputs and from a moving cone, an
//! output at its limit, sound that goes in a circle.

use std::f64::consts::{PI, TAU};

use rand_distr::{Distribution, StandardNormal};
use rand_pcg::Pcg64;
use rand_pcg::rand_core::SeedableRng;

use super::{DirectMonitor, MicrophoneBias};
use crate::bench::{Bench, BenchError, Channel, Element, InventedDriver, Noise, Wiring};

/// Stands in for a short without any leads, as in the bench itself.
const SHORT_OHM: f64 = 1e-12;

/// What is between the sense points at low frequencies.
#[derive(Clone, Copy)]
pub(super) enum AtDc {
    /// This resistance, leads not included, ohm.
    Ohm(f64),
    /// Nothing.
    Open,
    /// Nothing, and both inputs are on the source node.
    SameNode,
}

/// Voltages at channel 1's and channel 2's node when currents flow into them and the source is at rest: Kirchhoff's
/// current law at both nodes, with resistances only.
pub(super) fn nodes_v(bench: &Bench, element: AtDc, into_a: [f64; 2]) -> [f64; 2] {
    let [load_1, load_2] = [&bench.source, &bench.driver].map(Channel::load_siemens);
    let source_ohm = bench.source_ohm;
    let element = match element {
        AtDc::SameNode => {
            let v = source_ohm * (into_a[0] + into_a[1]) / (1.0 + source_ohm * (load_1 + load_2));
            return [v, v];
        }
        AtDc::Open => 0.0,
        AtDc::Ohm(ohm) => {
            let ohm = ohm + bench.lead_ohm;
            1.0 / if ohm > SHORT_OHM { ohm } else { SHORT_OHM }
        }
    };
    let resistor = 1.0 / bench.sense_ohm;
    let (top, foot) = match bench.wiring {
        Wiring::AcrossDriver => (resistor, element),
        Wiring::AcrossResistor => (element, resistor),
    };
    // Node 2 first, then what it leaves for node 1; multiplied by the source's impedance, which may be zero.
    let at_2 = top + foot + load_2;
    let drawn = load_1 + top * (foot + load_2) / at_2;
    let v_1 = source_ohm * (into_a[0] + top * into_a[1] / at_2) / (1.0 + source_ohm * drawn);
    [v_1, (into_a[1] + top * v_1) / at_2]
}

/// DC at both nodes that the microphone supply leaves there; its resistors are part of the bench's loads already.
pub(super) fn bias_v(bench: &Bench, element: AtDc, bias: MicrophoneBias) -> [f64; 2] {
    nodes_v(bench, element, [bias.open_v / bias.ohm; 2])
}

/// Two resistances to ground side by side, ohm.
pub(super) fn beside(load_ohm: Option<f64>, other_ohm: f64) -> f64 {
    load_ohm.map_or(other_ohm, |ohm| 1.0 / (1.0 / ohm + 1.0 / other_ohm))
}

/// Where in a take the cone is tapped, as shares of its length.
const TAPS: [f64; 3] = [0.25, 0.5, 0.75];

/// Voltage that a tap induces in the coil, V peak before it decays: a finger moves a cone by some 0.05 mm, which at 100 Hz
/// and 3 T·m is about 0.1 V; a light touch stays well below (common practice, no source).
const TAP_V: f64 = 0.005;

/// Nearest to critical damping that the bursts come: beyond it they would not ring at all.
const LEAST_RINGING: f64 = 0.1;

/// What three taps on the cone put on both nodes, V: bursts at the resonance that die away as the driver's own damping
/// and the loop's resistance have it. The coil's inductance counts as nothing there.
pub(super) fn taps_v(
    bench: &Bench,
    driver: &InventedDriver,
    n_frames: usize,
    sample_rate_hz: f64,
) -> [Vec<f64>; 2] {
    let truth = driver.truth();
    let coil_ohm = truth.re_ohm + bench.lead_ohm;
    let qes = truth.qes * (coil_ohm + bench.sense_ohm + bench.source_ohm) / truth.re_ohm;
    let q = truth.qms * qes / (truth.qms + qes);
    let ringing = 1.0 - 1.0 / (4.0 * q * q);
    let ringing = if ringing > LEAST_RINGING {
        ringing
    } else {
        LEAST_RINGING
    };
    let step_rad = TAU * truth.fs_hz * ringing.sqrt() / sample_rate_hz;
    let decay = PI * truth.fs_hz / q / sample_rate_hz;
    // The coil as a current source beside its resistance.
    let induced_a = TAP_V / coil_ohm;
    let into_a = match bench.wiring {
        Wiring::AcrossDriver => [0.0, induced_a],
        Wiring::AcrossResistor => [-induced_a, induced_a],
    };
    let shares = nodes_v(bench, AtDc::Ohm(truth.re_ohm), into_a);
    let mut burst = vec![0.0; n_frames];
    for tap in TAPS {
        let begin = (tap * n_frames as f64) as usize;
        for (index, sample) in burst.iter_mut().skip(begin).enumerate() {
            let index = index as f64;
            *sample += (-decay * index).exp() * (step_rad * index).sin();
        }
    }
    shares.map(|share| burst.iter().map(|sample| share * sample).collect())
}

/// A first-order high-pass, sample by sample.
pub(super) struct HighPass {
    share: f64,
    last_in: f64,
    last_out: f64,
}

impl HighPass {
    /// `None` lets everything through.
    pub(super) fn new(corner_hz: Option<f64>, sample_rate_hz: f64) -> Self {
        let share = corner_hz.map_or(1.0, |corner| 1.0 / (1.0 + TAU * corner / sample_rate_hz));
        Self {
            share,
            last_in: 0.0,
            last_out: 0.0,
        }
    }

    pub(super) fn next(&mut self, sample: f64) -> f64 {
        self.last_out = self.share * (self.last_out + sample - self.last_in);
        self.last_in = sample;
        self.last_out
    }
}

/// Noise in a loop whose input has none, relative to full scale: every real one has some, and a howl starts from it.
const LOOP_NOISE: f64 = 1e-6;

/// What the output really plays, in full scale, when the input is mixed into it. Sample by sample, so that what grows
/// runs into the full scale of input and output as it does in a real card; the source node counts as a resistive divider
/// (`through`: full scale of input 1 per full scale of the output), exact where the source has no impedance.
pub(super) fn fed_back(
    played: &[f64],
    monitor: DirectMonitor,
    through: f64,
    input: &Channel,
    sample_rate_hz: f64,
    seed: u64,
) -> Vec<f64> {
    let mut generator = Pcg64::seed_from_u64(seed);
    let mut coupling = HighPass::new(input.coupling_hz, sample_rate_hz);
    let noise_rms = match input.noise {
        Noise::Rms(rms) if rms > LOOP_NOISE => rms,
        _ => LOOP_NOISE,
    };
    let delay = monitor.delay_frames.max(1);
    let mut heard: Vec<f64> = Vec::with_capacity(played.len());
    let mut out = Vec::with_capacity(played.len());
    for (index, sample) in played.iter().enumerate() {
        let back = index.checked_sub(delay).map_or(0.0, |early| heard[early]);
        let now = (sample + monitor.gain * back).clamp(-1.0, 1.0);
        let noise: f64 = StandardNormal.sample(&mut generator);
        let at_input = coupling.next(through * now) + noise_rms * noise;
        heard.push(at_input.clamp(-1.0, 1.0));
        out.push(now);
    }
    out
}

/// The source node, channel 2's node and nothing else: what a perfect recorder with these loads would show, V.
fn seen_v(
    bench: &Bench,
    element: &Element<'_>,
    emf_v: &[f64],
    sample_rate_hz: f64,
) -> Result<[Vec<f32>; 2], BenchError> {
    let plain = |channel: &Channel| Channel {
        load_ohm: channel.load_ohm,
        ..Channel::default()
    };
    let perfect = Bench {
        skew_samples: 0.0,
        re_drift: 0.0,
        source: plain(&bench.source),
        driver: plain(&bench.driver),
        ..bench.clone()
    };
    let take = perfect.record(element, emf_v, sample_rate_hz, 0)?;
    Ok([take.source, take.driver])
}

/// Largest magnitude.
pub(super) fn peak(values: impl Iterator<Item = f64>) -> f64 {
    values.fold(0.0, |peak, value| {
        if value.abs() > peak {
            value.abs()
        } else {
            peak
        }
    })
}

/// Highest voltage between the driver's sense points, V peak.
pub(super) fn driver_peak_v(
    bench: &Bench,
    element: &Element<'_>,
    emf_v: &[f64],
    sample_rate_hz: f64,
) -> Result<f64, BenchError> {
    let [v_1, v_2] = seen_v(bench, element, emf_v, sample_rate_hz)?;
    let both = v_1.iter().zip(&v_2);
    Ok(match bench.wiring {
        Wiring::AcrossDriver => peak(v_2.iter().map(|&v| f64::from(v))),
        Wiring::AcrossResistor => peak(both.map(|(a, b)| f64::from(a - b))),
    })
}

/// How often a clipped voltage is looked at again: the current of a resistor obeys at once, that of a coil lags.
const N_PASSES: usize = 12;

/// How far the current may be above its limit, relative.
const NEAR_ENOUGH: f64 = 0.01;

/// The source's voltage, scaled down sample by sample where the current through the sense resistor would be above the
/// limit. Exact for resistive loads; elsewhere repeated until the current is near enough.
pub(super) fn limited(
    bench: &Bench,
    element: &Element<'_>,
    mut emf_v: Vec<f64>,
    sample_rate_hz: f64,
    most_a: f64,
) -> Result<Vec<f64>, BenchError> {
    if matches!(element, Element::SameNode) {
        return Ok(emf_v);
    }
    for _ in 0..N_PASSES {
        let [v_1, v_2] = seen_v(bench, element, &emf_v, sample_rate_hz)?;
        let mut done = true;
        for ((emf, &v_1), &v_2) in emf_v.iter_mut().zip(&v_1).zip(&v_2) {
            let across = match bench.wiring {
                Wiring::AcrossDriver => v_1 - v_2,
                Wiring::AcrossResistor => v_2,
            };
            let current_a = (f64::from(across) / bench.sense_ohm).abs();
            if current_a > most_a {
                *emf *= most_a / current_a;
                done &= current_a <= most_a * (1.0 + NEAR_ENOUGH);
            }
        }
        if done {
            break;
        }
    }
    Ok(emf_v)
}
