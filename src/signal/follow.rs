//! Where in a recording is what was played: delay, gain and likeness, window by window.

use realfft::RealFftPlanner;

/// Waves in one window. With a raised cosine over it half of them count: enough that a phase is a phase.
const WAVES: f64 = 5.0;
/// Shortest window, s: at 20 kHz a clock that is 200 ppm off turns the phase by 7° in it.
const SHORTEST_S: f64 = 0.005;
/// Longest window, s.
const LONGEST_S: f64 = 0.5;
/// A sample sounds if it is above this share of the stimulus's peak.
const SOUNDS: f64 = 1e-3;
/// Below this share of explained energy a window counts as not found where it was expected.
pub(super) const FOUND: f64 = 0.7;
/// Share of a window that has to be explained at a place that was not expected.
const CLEAR: f64 = 0.9;
/// How far around the expected place a lost window is looked for, s: the longest gap that was seen to go unreported.
const SEARCH_S: f64 = 1.0;
/// Beyond this many frames together, the first look uses every fourth: the whole would take longer than the rest.
const WHOLE_AT_MOST: usize = 1 << 20;
/// Windows above this frequency tell the clocks' drift, Hz: below, a response's phase looks like delay.
const DRIFT_FROM_HZ: f64 = 500.0;

/// One window of the stimulus, found again in the recording.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FollowWindow {
    /// First frame, counted in what was played.
    pub start: usize,
    /// Frames in it. Consecutive windows overlap by half.
    pub n_frames: usize,
    /// Mean frequency (root of the mean square) of what was played in it, Hz.
    pub frequency_hz: f64,
    /// 1 where one wave sounds, less where several do: delay and gain then are some mean of theirs.
    pub tonal: f64,
    /// Delay beyond the global one, frames; `None` where the window was not found.
    pub delay_frames: Option<f64>,
    /// Recorded over played amplitude; without sign.
    pub gain: f64,
    /// Share of the recorded energy that what was played explains, 0 to 1.
    pub explained: f64,
}

impl FollowWindow {
    /// Its middle, in frames of what was played.
    pub fn middle(&self) -> f64 {
        self.start as f64 + 0.5 * self.n_frames as f64
    }
}

/// A recording laid against what was played.
#[derive(Clone, Debug, PartialEq)]
pub struct Follow {
    /// How many frames the recording comes later, from the whole of it; `None` if either is silent or empty.
    pub delay_frames: Option<f64>,
    /// Whether the recording is upside down.
    pub inverted: bool,
    /// By how much the recording's clock runs faster than the playback's, parts per million; `None` if nothing tells.
    pub drift_ppm: Option<f64>,
    /// First and one past the last frame that sounds, in what was played.
    pub sounding: (usize, usize),
    /// The windows, in order.
    pub windows: Vec<FollowWindow>,
}

/// Follows what was played through the recording, (S11) and (S12).
///
/// Any stimulus will do; where little sounds at a time (a sweep, a Schroeder multisine) windows are sharpest. Both are
/// relative to full scale, at the same nominal rate.
pub fn follow(played: &[f32], recorded: &[f32], sample_rate_hz: f64) -> Follow {
    let sounding = sounding(played);
    let mut result = Follow {
        delay_frames: None,
        inverted: false,
        drift_ppm: None,
        sounding,
        windows: vec![],
    };
    let Some((global, sign)) = global_delay(played, recorded) else {
        return result;
    };
    result.inverted = sign < 0.0;
    let mut at = Tracker {
        played,
        recorded,
        sample_rate_hz,
        lag: global,
        sign,
        patience: 0,
        waiting: 0,
    };
    let mut start = sounding.0;
    let mut length = (LONGEST_S * sample_rate_hz) as usize;
    while start < sounding.1 {
        length = window_length(played, start, length, sample_rate_hz);
        if start + length > sounding.1 + length / 2 {
            break;
        }
        result.windows.push(at.window(start, length, global));
        start += (length / 2).max(1);
    }
    result.delay_frames = Some(global as f64);
    result.drift_ppm = drift(&result.windows).map(|slope| slope * 1e6);
    result
}

/// From the first frame that sounds to one past the last.
fn sounding(played: &[f32]) -> (usize, usize) {
    let peak = played
        .iter()
        .fold(0.0, |m: f32, v| if v.abs() > m { v.abs() } else { m });
    let sounds = |v: &f32| f64::from(v.abs()) > SOUNDS * f64::from(peak);
    let first = played.iter().position(sounds);
    let last = played.iter().rposition(sounds);
    match (first, last) {
        (Some(first), Some(last)) => (first, last + 1),
        _ => (0, 0),
    }
}

/// The lag at which the whole recording is most like the stimulus, and the sign of the likeness.
fn global_delay(played: &[f32], recorded: &[f32]) -> Option<(isize, f64)> {
    let step = if played.len() + recorded.len() > WHOLE_AT_MOST {
        4
    } else {
        1
    };
    let thin = |samples: &[f32]| -> Vec<f64> {
        samples
            .chunks(step)
            .map(|part| part.iter().map(|&v| f64::from(v)).sum())
            .collect()
    };
    let recorded_thin = thin(recorded);
    let mean = recorded_thin.iter().sum::<f64>() / recorded_thin.len().max(1) as f64;
    let centred: Vec<f64> = recorded_thin.iter().map(|v| v - mean).collect();
    let correlation = correlate(&thin(played), &centred)?;
    let (index, value) = correlation
        .values
        .iter()
        .enumerate()
        .max_by(|a, b| a.1.abs().total_cmp(&b.1.abs()))?;
    if *value == 0.0 {
        return None;
    }
    Some((correlation.lag(index) * step as isize, value.signum()))
}

/// Σ b(n + lag)·a(n) for every lag at which they overlap.
pub(super) struct Correlation {
    pub values: Vec<f64>,
    n_forward: usize,
}

impl Correlation {
    /// The lag that an index stands for.
    pub fn lag(&self, index: usize) -> isize {
        if index < self.n_forward {
            index as isize
        } else {
            index as isize - self.values.len() as isize
        }
    }
}

pub(super) fn correlate(a: &[f64], b: &[f64]) -> Option<Correlation> {
    if a.is_empty() || b.is_empty() {
        return None;
    }
    let size = (a.len() + b.len()).next_power_of_two();
    let mut planner = RealFftPlanner::<f64>::new();
    let forward = planner.plan_fft_forward(size);
    let transform = |samples: &[f64]| {
        let mut time = vec![0.0; size];
        time[..samples.len()].copy_from_slice(samples);
        let mut bins = forward.make_output_vec();
        forward.process(&mut time, &mut bins).ok().map(|()| bins)
    };
    let (a_bins, mut b_bins) = (transform(a)?, transform(b)?);
    for (b_bin, a_bin) in b_bins.iter_mut().zip(&a_bins) {
        *b_bin *= a_bin.conj();
    }
    b_bins[0].im = 0.0;
    if let Some(last) = b_bins.last_mut() {
        last.im = 0.0;
    }
    let inverse = planner.plan_fft_inverse(size);
    let mut values = inverse.make_output_vec();
    inverse.process(&mut b_bins, &mut values).ok()?;
    let n_forward = b.len();
    Some(Correlation { values, n_forward })
}

/// Root of the mean square frequency, radian a frame, and how much of one wave it is, 0 to 1, formula (S11).
fn local_frequency(played: &[f32], start: usize, length: usize) -> (f64, f64) {
    let part = &played[start..(start + length).min(played.len())];
    let (mut slope, mut bend, mut energy) = (0.0, 0.0, 0.0);
    for three in part.windows(3) {
        let [a, b, c] = [three[0], three[1], three[2]].map(f64::from);
        slope += (0.5 * (c - a)).powi(2);
        bend += (c - 2.0 * b + a).powi(2);
        energy += b * b;
    }
    if energy <= 0.0 {
        return (0.0, 0.0);
    }
    // For one wave slope/energy is sin²ω and bend/energy (2 − 2·cos ω)².
    let cosine = (1.0 - 0.5 * (bend / energy).sqrt()).clamp(-1.0, 1.0);
    let sine_2 = 1.0 - cosine * cosine;
    let tonal = if sine_2 > 0.0 {
        (slope / energy / sine_2).clamp(0.0, 1.0)
    } else {
        0.0
    };
    let omega = if cosine > 0.7 {
        // Far below a quarter of the rate the slope is the less noisy one.
        (slope / energy).sqrt().clamp(0.0, 1.0).asin()
    } else {
        cosine.acos()
    };
    (omega, tonal)
}

/// How long the window that starts here is; a neighbour's length to begin with.
fn window_length(played: &[f32], start: usize, guess: usize, sample_rate_hz: f64) -> usize {
    let (shortest, longest) = (SHORTEST_S * sample_rate_hz, LONGEST_S * sample_rate_hz);
    let mut length = guess as f64;
    for _ in 0..4 {
        let (omega, _) = local_frequency(played, start, length as usize);
        let wanted = if omega > 0.0 {
            WAVES * std::f64::consts::TAU / omega
        } else {
            longest
        };
        length = wanted.clamp(shortest, longest);
    }
    length as usize
}

struct Tracker<'a> {
    played: &'a [f32],
    recorded: &'a [f32],
    sample_rate_hz: f64,
    /// Where the next window is expected.
    lag: isize,
    sign: f64,
    /// Windows to let pass before looking far and wide again, and how many still have to.
    patience: u32,
    waiting: u32,
}

/// One window at one lag.
struct Fit {
    shift_frames: f64,
    gain: f64,
    explained: f64,
}

impl Tracker<'_> {
    fn window(&mut self, start: usize, length: usize, global: isize) -> FollowWindow {
        let (omega, tonal) = local_frequency(self.played, start, length);
        let omega = omega.max_of(1e-6);
        let (mut lag, mut fit) = self.settle(start, length, omega, self.lag);
        if fit.explained < FOUND && !self.next_is_here(start, length) {
            if self.waiting > 0 {
                self.waiting -= 1;
            } else if let Some((far, better)) = self.look_far(start, length, omega) {
                (lag, fit) = (far, better);
            } else {
                self.patience = (2 * self.patience).clamp(1, 64);
                self.waiting = self.patience;
            }
        }
        let found = fit.explained >= FOUND;
        if found {
            self.lag = lag;
            (self.patience, self.waiting) = (0, 0);
        }
        FollowWindow {
            start,
            n_frames: length,
            frequency_hz: omega * self.sample_rate_hz / std::f64::consts::TAU,
            delay_frames: found.then(|| (lag - global) as f64 + fit.shift_frames),
            tonal,
            gain: fit.gain,
            explained: fit.explained,
        }
    }

    /// Whether the window after this one is where it is expected: then this one is merely spoilt.
    fn next_is_here(&self, start: usize, length: usize) -> bool {
        self.clear(start + length, length, self.lag)
    }

    fn clear(&self, start: usize, length: usize, lag: isize) -> bool {
        if start + length > self.played.len() {
            return false;
        }
        let (omega, _) = local_frequency(self.played, start, length);
        let omega = omega.max_of(1e-6);
        self.settle(start, length, omega, lag).1.explained >= CLEAR
    }

    /// A place further away where this window and the next one both are.
    fn look_far(&self, start: usize, length: usize, omega: f64) -> Option<(isize, Fit)> {
        let lag = self.search(start, length)?;
        let (lag, fit) = self.settle(start, length, omega, lag);
        (fit.explained >= CLEAR && self.clear(start + length, length, lag)).then_some((lag, fit))
    }

    /// Moves the lag by whole frames until the window sits within half a frame.
    fn settle(&self, start: usize, length: usize, omega: f64, from: isize) -> (isize, Fit) {
        let (mut lag, mut fit) = (from, self.fit(start, length, omega, from));
        for _ in 0..4 {
            if fit.shift_frames.abs() <= 0.5 || fit.explained < FOUND {
                break;
            }
            let next = lag + fit.shift_frames.round() as isize;
            let moved = self.fit(start, length, omega, next);
            if moved.explained < fit.explained && moved.shift_frames.abs() > fit.shift_frames.abs()
            {
                break;
            }
            (lag, fit) = (next, moved);
        }
        (lag, fit)
    }

    /// Least squares of the recording on the window and its quadrature, formula (S12).
    fn fit(&self, start: usize, length: usize, omega: f64, lag: isize) -> Fit {
        let quarter = (0.25 * std::f64::consts::TAU / omega).round().max_of(1.0) as isize;
        let at = |samples: &[f32], index: isize| {
            usize::try_from(index)
                .ok()
                .and_then(|index| samples.get(index))
                .map_or(0.0, |&v| f64::from(v))
        };
        let turn = std::f64::consts::TAU / length as f64;
        // The raised cosine by recursion: a cosine a sample would cost as much as everything else.
        let step = 2.0 * turn.cos();
        let (mut now, mut before) = ((0.5 * turn).cos(), (0.5 * turn).cos());
        let (mut xx, mut xq, mut qq, mut xz, mut qz, mut zz, mut z1, mut w1) =
            (0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0);
        let (mut x1, mut q1) = (0.0, 0.0);
        for i in 0..length {
            let weight = 0.5 - 0.5 * now;
            (before, now) = (now, step * now - before);
            let n = (start + i) as isize;
            let x = at(self.played, n);
            let q = at(self.played, n - quarter) - at(self.played, n + quarter);
            let z = self.sign * at(self.recorded, n + lag);
            xx += weight * x * x;
            xq += weight * x * q;
            qq += weight * q * q;
            xz += weight * x * z;
            qz += weight * q * z;
            zz += weight * z * z;
            z1 += weight * z;
            x1 += weight * x;
            q1 += weight * q;
            w1 += weight;
        }
        // An input's offset explains nothing and must not count as unexplained.
        for (sum, a, b) in [
            (&mut xx, x1, x1),
            (&mut xq, x1, q1),
            (&mut qq, q1, q1),
            (&mut xz, x1, z1),
            (&mut qz, q1, z1),
            (&mut zz, z1, z1),
        ] {
            *sum -= a * b / w1;
        }
        let determinant = xx * qq - xq * xq;
        let nothing = Fit {
            shift_frames: 0.0,
            gain: 0.0,
            explained: 0.0,
        };
        if !(zz > 0.0 && determinant > 1e-9 * xx * qq) {
            return nothing;
        }
        let in_phase = (xz * qq - qz * xq) / determinant;
        let across = (qz * xx - xz * xq) / determinant;
        let sine = across * 2.0 * (omega * quarter as f64).sin();
        Fit {
            shift_frames: sine.atan2(in_phase) / omega,
            gain: in_phase.hypot(sine),
            explained: ((in_phase * xz + across * qz) / zz).clamp(0.0, 1.0),
        }
    }

    /// Looks for a window that is not where it was expected.
    fn search(&self, start: usize, length: usize) -> Option<isize> {
        let reach = (SEARCH_S * self.sample_rate_hz) as isize;
        let centre = start as isize + self.lag;
        let first = (centre - reach).max(0);
        let last = (centre + reach + length as isize).min(self.recorded.len() as isize);
        let (first, last) = (usize::try_from(first).ok()?, usize::try_from(last).ok()?);
        if last < first + length {
            return None;
        }
        let part: Vec<f64> = self.recorded[first..last]
            .iter()
            .map(|&v| f64::from(v))
            .collect();
        let window: Vec<f64> = self.played[start..(start + length).min(self.played.len())]
            .iter()
            .enumerate()
            .map(|(i, &v)| {
                let turn = std::f64::consts::TAU * (i as f64 + 0.5) / length as f64;
                f64::from(v) * (0.5 - 0.5 * turn.cos())
            })
            .collect();
        let mut energy = Vec::with_capacity(part.len() + 1);
        energy.push(0.0);
        let mut sum = 0.0;
        for v in &part {
            sum += v * v;
            energy.push(sum);
        }
        let correlation = correlate(&window, &part)?;
        let likeness = |index: usize| {
            let here: f64 = energy[index + length] - energy[index];
            // Silence is like nothing, however well its noise happens to fit.
            let floor = 1e-6 * sum + f64::MIN_POSITIVE;
            self.sign * correlation.values[index] / (here + floor).sqrt()
        };
        let best =
            (0..=part.len() - length).max_by(|&a, &b| likeness(a).total_cmp(&likeness(b)))?;
        Some(first as isize + best as isize - start as isize)
    }
}

/// Frames of delay a frame, as the median over pairs of windows that lie a tenth of the stimulus apart: jumps are rare
/// among them.
fn drift(windows: &[FollowWindow]) -> Option<f64> {
    let told: Vec<(f64, f64)> = windows
        .iter()
        .filter(|w| w.frequency_hz > DRIFT_FROM_HZ)
        .filter_map(|w| w.delay_frames.map(|delay| (w.middle(), delay)))
        .collect();
    const FEWEST: usize = 20;
    if told.len() < FEWEST {
        return None;
    }
    let apart = told.len() / 8;
    let mut slopes: Vec<f64> = told
        .iter()
        .zip(&told[apart..])
        .map(|(a, b)| (b.1 - a.1) / (b.0 - a.0))
        .collect();
    let middle = slopes.len() / 2;
    Some(*slopes.select_nth_unstable_by(middle, f64::total_cmp).1)
}

trait MaxOf {
    fn max_of(self, least: f64) -> f64;
}

impl MaxOf for f64 {
    fn max_of(self, least: f64) -> f64 {
        if self > least { self } else { least }
    }
}
