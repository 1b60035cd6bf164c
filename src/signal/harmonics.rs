//! Harmonics of a synchronized sweep, told apart by when they arrive.
//!
//! Novák, Lotton, Simon, JAES 63(10), 2015, 786–798.

use realfft::RealFftPlanner;
use rustfft::num_complex::Complex64;

use super::SynchronizedSweep;
use super::correlate::fast_length;

/// Points an octave.
const PER_OCTAVE: f64 = 6.0;
/// Bins below this share of the strongest power were hardly played.
const PLAYED: f64 = 1e-6;
/// Where the band's soft edges end, times the start and the stop of the sweep. A sharp edge at 5 Hz rings for a fifth of a second,
/// as far back as harmonics of a short sweep arrive: that read as 0.6 % distortion.
const WHOLE_FROM: f64 = 4.0;
const WHOLE_TO: f64 = 0.9;
/// Longest piece of a response, s: more resolves nothing that is asked for.
const LONGEST_S: f64 = 0.25;
/// How far power has to rise above the noise's mean: of one independent value, noise alone gets there once in 3000.
const SEEN: f64 = 8.0;
/// Pieces of silence that tell the noise.
const N_NOISE: usize = 4;
/// First order whose arrival counts as noise: what drivers do is mostly in the orders below.
const NOISE_ORDER: f64 = 8.0;

/// Harmonics at one frequency, relative to the fundamental.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct HarmonicPoint {
    /// Frequency of the fundamental, Hz.
    pub frequency_hz: f64,
    /// Amplitude of the second and third harmonic over that of the fundamental, with the noise's power taken off; `None` where
    /// noise hides it or the sweep does not reach.
    pub ratio: [Option<f64>; 2],
    /// Below this a ratio would not have been seen: 9 dB above the noise, over the fundamental; infinite beyond the sweep.
    pub floor: [f64; 2],
}

/// Harmonics against frequency.
#[derive(Clone, Debug, PartialEq)]
pub struct Harmonics {
    /// Sixths of octaves from four times the start of the sweep on. Empty if there is nothing to tell.
    pub points: Vec<HarmonicPoint>,
}

/// The second and third harmonic of one channel, (S16): the recording divided by what was played, transformed back, has the
/// k-th harmonic L·ln k before the linear response.
///
/// `played` is the sweep with its silence, `recorded` one channel at the same rate. The noise is judged from before the
/// eighth harmonic, where nothing arrives.
pub fn harmonics(
    sweep: &SynchronizedSweep,
    played: &[f32],
    recorded: &[f32],
    sample_rate_hz: f64,
) -> Harmonics {
    Harmonics {
        points: points(sweep, played, recorded, sample_rate_hz).unwrap_or_default(),
    }
}

fn points(
    sweep: &SynchronizedSweep,
    played: &[f32],
    recorded: &[f32],
    rate_hz: f64,
) -> Option<Vec<HarmonicPoint>> {
    let response = response(sweep, played, recorded, rate_hz)?;
    let (main, _) = response
        .iter()
        .enumerate()
        .max_by(|a, b| a.1.abs().total_cmp(&b.1.abs()))?;
    let rate_constant_s = sweep.rate_constant_s();
    // From the third harmonic's arrival to the second's; the second's to the linear one is longer.
    let gap_s = rate_constant_s * 1.5_f64.ln();
    let length_s = if gap_s < LONGEST_S { gap_s } else { LONGEST_S };
    let length = (0.9 * length_s * rate_hz) as usize;
    let before = length / 10;
    if length < 64 || response.len() < 4 * length {
        return None;
    }
    let piece = |after_s: f64| -> Option<Piece> {
        let start = main as f64 + after_s * rate_hz - before as f64;
        Piece::of(&response, start.round() as isize, before, length, rate_hz)
    };
    let linear = piece(0.0)?;
    let second = piece(-rate_constant_s * 2.0_f64.ln())?;
    let third = piece(-rate_constant_s * 3.0_f64.ln())?;
    let noise: Vec<Piece> = (0..N_NOISE)
        .filter_map(|i| {
            let latest_s = -rate_constant_s * NOISE_ORDER.ln();
            piece(latest_s - (i + 1) as f64 * length as f64 / rate_hz)
        })
        .collect();
    let n_points = (PER_OCTAVE * (sweep.stop_hz / sweep.start_hz).log2()) as usize;
    let mut points = vec![];
    for i in 1..n_points {
        let frequency_hz = sweep.start_hz * 2.0_f64.powf(i as f64 / PER_OCTAVE);
        // A band of a sixth of an octave, but no narrower than what the piece resolves.
        let fundamental = linear.power(frequency_hz);
        if fundamental <= 0.0 || frequency_hz < WHOLE_FROM * sweep.start_hz {
            continue;
        }
        let mut point = HarmonicPoint {
            frequency_hz,
            ratio: [None; 2],
            floor: [f64::INFINITY; 2],
        };
        for (slot, (order, piece)) in [(2.0, &second), (3.0, &third)].into_iter().enumerate() {
            let at_hz = order * frequency_hz;
            if at_hz > WHOLE_TO * sweep.stop_hz {
                continue;
            }
            let hiss = noise.iter().map(|piece| piece.power(at_hz)).sum::<f64>()
                / noise.len().max(1) as f64;
            let power = piece.power(at_hz);
            point.floor[slot] = (SEEN * hiss / fundamental).sqrt();
            if power > SEEN * hiss {
                point.ratio[slot] = Some(((power - hiss) / fundamental).sqrt());
            }
        }
        points.push(point);
    }
    Some(points)
}

/// Recording over played, in time.
fn response(
    sweep: &SynchronizedSweep,
    played: &[f32],
    recorded: &[f32],
    rate_hz: f64,
) -> Option<Vec<f64>> {
    if played.is_empty() || recorded.is_empty() {
        return None;
    }
    let size = fast_length(played.len() + recorded.len());
    let mut planner = RealFftPlanner::<f64>::new();
    let forward = planner.plan_fft_forward(size);
    let transform = |samples: &[f32]| {
        let mean = samples.iter().map(|&v| f64::from(v)).sum::<f64>() / samples.len() as f64;
        let mut time = vec![0.0; size];
        for (slot, &v) in time.iter_mut().zip(samples) {
            *slot = f64::from(v) - mean;
        }
        let mut bins = forward.make_output_vec();
        forward.process(&mut time, &mut bins).ok().map(|()| bins)
    };
    let (x, mut y) = (transform(played)?, transform(recorded)?);
    let bin_hz = rate_hz / size as f64;
    let strongest = x
        .iter()
        .map(|v| v.norm_sqr())
        .fold(0.0, |m: f64, v| if v > m { v } else { m });
    if strongest <= 0.0 {
        return None;
    }
    for (k, (y, x)) in y.iter_mut().zip(&x).enumerate() {
        let f_hz = k as f64 * bin_hz;
        let weight = edge(f_hz, sweep.start_hz, WHOLE_FROM * sweep.start_hz)
            * (1.0 - edge(f_hz, WHOLE_TO * sweep.stop_hz, sweep.stop_hz));
        *y = if weight > 0.0 {
            *y * x.conj() / (x.norm_sqr() + PLAYED * strongest) * weight
        } else {
            Complex64::default()
        };
    }
    let inverse = planner.plan_fft_inverse(size);
    let mut time = inverse.make_output_vec();
    inverse.process(&mut y, &mut time).ok()?;
    Some(time)
}

/// From 0 to 1 between two frequencies.
fn edge(f_hz: f64, from_hz: f64, to_hz: f64) -> f64 {
    let x = ((f_hz - from_hz) / (to_hz - from_hz)).clamp(0.0, 1.0);
    0.5 - 0.5 * (std::f64::consts::PI * x).cos()
}

/// The spectrum of a piece of the response.
struct Piece {
    power: Vec<f64>,
    bin_hz: f64,
}

impl Piece {
    fn of(
        response: &[f64],
        start: isize,
        rise: usize,
        length: usize,
        rate_hz: f64,
    ) -> Option<Self> {
        let n = response.len() as isize;
        let size = (4 * length).next_power_of_two();
        let mut time = vec![0.0; size];
        for (i, slot) in time.iter_mut().enumerate().take(length) {
            let at = usize::try_from((start + i as isize).rem_euclid(n)).ok()?;
            let flank = |i: usize| {
                let x = (i as f64 + 0.5) / rise as f64;
                if x < 1.0 {
                    0.5 - 0.5 * (std::f64::consts::PI * x).cos()
                } else {
                    1.0
                }
            };
            *slot = response[at] * flank(i) * flank(length - 1 - i);
        }
        let plan = RealFftPlanner::<f64>::new().plan_fft_forward(size);
        let mut bins = plan.make_output_vec();
        plan.process(&mut time, &mut bins).ok()?;
        Some(Self {
            power: bins.iter().map(|v| v.norm_sqr()).collect(),
            bin_hz: rate_hz / size as f64,
        })
    }

    /// Mean power in a sixth of an octave around a frequency, and in four bins at least.
    fn power(&self, f_hz: f64) -> f64 {
        let half = 2.0_f64.powf(0.5 / PER_OCTAVE);
        let first = (f_hz / half / self.bin_hz).floor() as usize;
        let last = ((f_hz * half / self.bin_hz).ceil() as usize).max(first + 4);
        self.power
            .get(first..last.min(self.power.len()))
            .filter(|part| !part.is_empty())
            .map_or(0.0, |part| part.iter().sum::<f64>() / part.len() as f64)
    }
}
