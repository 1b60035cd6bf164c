//! Where in a recording is what was played: delay, gain and likeness, window by window.

use super::correlate::{correlate, global_delay, part};
use super::window::{LONGEST_S, frequency, window_length};

/// A sample sounds if it is above this share of the stimulus's peak.
const SOUNDS: f64 = 1e-3;
/// Below this share of explained energy a window counts as not found where it was expected.
const FOUND: f64 = 0.7;
/// Share of a window that has to be explained at a place that was not expected.
const CLEAR: f64 = 0.9;
/// How far around the expected place a lost window is looked for, s: the longest gap that was seen to go unreported.
const SEARCH_S: f64 = 1.0;
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
    match global_delay(played, recorded, sample_rate_hz) {
        Some((lag, sign)) => follow_at(played, recorded, sample_rate_hz, lag, sign < 0.0),
        None => Follow {
            delay_frames: None,
            inverted: false,
            drift_ppm: None,
            sounding: sounding(played),
            windows: vec![],
        },
    }
}

/// The same where it is known how many frames the recording comes later, and whether it is upside down.
pub fn follow_at(
    played: &[f32],
    recorded: &[f32],
    sample_rate_hz: f64,
    lag_frames: isize,
    inverted: bool,
) -> Follow {
    let sounding = sounding(played);
    let mut result = Follow {
        delay_frames: Some(lag_frames as f64),
        inverted,
        drift_ppm: None,
        sounding,
        windows: vec![],
    };
    let mut start = sounding.0;
    let mut length = (LONGEST_S * sample_rate_hz) as usize;
    while start < sounding.1 {
        let (omega, tonal);
        (length, omega, tonal) = window_length(played, start, length, sample_rate_hz);
        if start + length > sounding.1 + length / 2 {
            break;
        }
        result.windows.push(FollowWindow {
            start,
            n_frames: length,
            frequency_hz: omega * sample_rate_hz / std::f64::consts::TAU,
            tonal,
            delay_frames: None,
            gain: 0.0,
            explained: 0.0,
        });
        start += (length / 2).max(1);
    }
    follow_again(played, recorded, sample_rate_hz, &result)
}

/// Follows once more through a recording that lies as another one did: the delay, the windows and what was played in them are
/// known from there.
pub fn follow_again(
    played: &[f32],
    recorded: &[f32],
    sample_rate_hz: f64,
    before: &Follow,
) -> Follow {
    let mut result = before.clone();
    let Some(delay_frames) = before.delay_frames else {
        return result;
    };
    let global = delay_frames as isize;
    let mut at = Tracker {
        played,
        recorded,
        sample_rate_hz,
        lag: global,
        sign: if before.inverted { -1.0 } else { 1.0 },
        patience: 0,
        waiting: 0,
        // Each search takes as long as a thousand windows; a long take without its sound must not take minutes.
        most_patience: (before.windows.len() / 32).max(64) as u32,
    };
    for window in &mut result.windows {
        *window = at.window(window, global);
    }
    result.drift_ppm = drift(&result.windows).map(|slope| slope * 1e6);
    result
}

/// Gain and share of explained energy of another channel, window by window, where a followed one has them.
pub fn fit_windows(
    played: &[f32],
    other: &[f32],
    sample_rate_hz: f64,
    followed: &Follow,
) -> Vec<FollowWindow> {
    let Some(global) = followed.delay_frames else {
        return vec![];
    };
    let at = Tracker {
        played,
        recorded: other,
        sample_rate_hz,
        lag: 0,
        sign: if followed.inverted { -1.0 } else { 1.0 },
        patience: 0,
        waiting: 0,
        most_patience: 0,
    };
    let mut beyond = 0.0;
    let fit = |window: &FollowWindow| {
        beyond = window.delay_frames.unwrap_or(beyond);
        let omega = window.frequency_hz * std::f64::consts::TAU / sample_rate_hz;
        let lag = (global + beyond).round() as isize;
        let fit = at.fit(window.start, window.n_frames, omega, lag);
        FollowWindow {
            gain: fit.gain,
            explained: fit.explained,
            ..*window
        }
    };
    followed.windows.iter().map(fit).collect()
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
    most_patience: u32,
}

/// One window at one lag.
struct Fit {
    shift_frames: f64,
    gain: f64,
    explained: f64,
}

impl Tracker<'_> {
    fn window(&mut self, window: &FollowWindow, global: isize) -> FollowWindow {
        let (start, length) = (window.start, window.n_frames);
        let omega = window.frequency_hz * std::f64::consts::TAU / self.sample_rate_hz;
        let (mut lag, mut fit) = self.settle(start, length, omega, self.lag);
        if fit.explained < FOUND && !self.next_is_here(start, length) {
            if self.waiting > 0 {
                self.waiting -= 1;
            } else if let Some((far, better)) = self.look_far(start, length, omega) {
                (lag, fit) = (far, better);
            } else {
                self.patience = (2 * self.patience).clamp(1, self.most_patience);
                self.waiting = self.patience;
            }
        }
        let found = fit.explained >= FOUND;
        if found {
            self.lag = lag;
            (self.patience, self.waiting) = (0, 0);
        }
        FollowWindow {
            delay_frames: found.then(|| (lag - global) as f64 + fit.shift_frames),
            gain: fit.gain,
            explained: fit.explained,
            ..*window
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
        let omega = frequency(self.played, start, length);
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
        let n = start as isize;
        let x_part = part(self.played, n, length);
        let late = part(self.played, n - quarter, length);
        let early = part(self.played, n + quarter, length);
        let z_part = part(self.recorded, n + lag, length);
        let frames = x_part
            .iter()
            .zip(late.iter().zip(early.iter()).zip(z_part.iter()));
        let turn = std::f64::consts::TAU / length as f64;
        // The raised cosine by recursion: a cosine a sample would cost as much as everything else.
        let step = 2.0 * turn.cos();
        let (mut now, mut before) = ((0.5 * turn).cos(), (0.5 * turn).cos());
        let (mut xx, mut xq, mut qq, mut xz, mut qz, mut zz, mut z1, mut w1) =
            (0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0);
        let (mut x1, mut q1) = (0.0, 0.0);
        for (&x, ((&late, &early), &z)) in frames {
            let weight = 0.5 - 0.5 * now;
            (before, now) = (now, step * now - before);
            let x = f64::from(x);
            let q = f64::from(late) - f64::from(early);
            let z = self.sign * f64::from(z);
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
        let part = &self.recorded[first..last];
        let window: Vec<f32> = self.played[start..(start + length).min(self.played.len())]
            .iter()
            .enumerate()
            .map(|(i, &v)| {
                let turn = std::f64::consts::TAU * (i as f64 + 0.5) / length as f64;
                v * (0.5 - 0.5 * turn.cos()) as f32
            })
            .collect();
        let mut energy = Vec::with_capacity(part.len() + 1);
        energy.push(0.0);
        let mut sum = 0.0;
        for &v in part {
            sum += f64::from(v) * f64::from(v);
            energy.push(sum);
        }
        let correlation = correlate(&window, part, part.len())?;
        let likeness = |index: usize| {
            let here: f64 = energy[index + length] - energy[index];
            // Silence is like nothing, however well its noise happens to fit.
            let floor = 1e-6 * sum + f64::MIN_POSITIVE;
            self.sign * f64::from(correlation[index]) / (here + floor).sqrt()
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
