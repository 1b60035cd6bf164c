//! The sweep that a recording holds, recovered from the recording itself.

use std::f64::consts::TAU;
use std::ops::Range;

use num_complex::Complex64;

use super::window::window_length;

/// Longest and shortest window, s.
const LONGEST_S: f64 = 0.1;
const SHORTEST_S: f64 = 0.005;
/// Waves in a window.
const WAVES: f64 = 8.0;
/// The law is fitted between these, Hz and share of the rate: below, a response's phase counts; above, converters' filters do.
const FROM_HZ: f64 = 150.0;
const TO_SHARE: f64 = 0.42;
/// Places that the first guess is made from.
const N_PLACES: usize = 240;
/// Places that have to lie on one law.
const FEWEST: usize = 30;
/// How close to the law a place lies, as a relative error of its frequency.
const ON_LAW: f64 = 0.02;
/// Share of the places that has to lie on it: of a recording that lost frames half way, one half does.
const MOST: f64 = 0.4;
/// Share of a recording that nothing happened to; single places may lie off it by noise.
const THROUGHOUT: f64 = 0.95;
/// A window's frequency beyond this, relative, is none of the law's.
const OFF_LAW: f64 = 0.01;
/// Pairs of windows that the law is fitted to, about; more tell it no better.
const N_PAIRS: usize = 300;
/// Corrections of the law by the phase.
const N_ROUNDS: usize = 5;
/// Part of a recording's sounding stretch that is left out at either end, s: fades.
const START_S: f64 = 0.06;
const END_S: f64 = 0.02;

/// f(t) = reference·e^((t − at)/L): an exponential sweep's law.
#[derive(Clone, Copy, Debug)]
struct Law {
    /// When it passes the reference, s.
    at_s: f64,
    /// L, s.
    rate_s: f64,
    /// Phase at the reference, radian.
    phase_rad: f64,
}

const REFERENCE_HZ: f64 = 1000.0;

impl Law {
    fn frequency_hz(&self, t_s: f64) -> f64 {
        REFERENCE_HZ * ((t_s - self.at_s) / self.rate_s).exp()
    }

    fn phase(&self, t_s: f64) -> f64 {
        TAU * self.rate_s * self.frequency_hz(t_s) + self.phase_rad
    }

    /// The wave from a frame on: its phasor, by what it turns to the next frame, and by what that turn itself turns. As long as the
    /// part is short against L the phase is a parabola.
    fn turning(&self, from: f64, middle: f64, rate_hz: f64) -> [Complex64; 3] {
        let middle_s = middle / rate_hz;
        let omega = TAU * self.frequency_hz(middle_s) / rate_hz;
        let bend = 0.5 * omega / (self.rate_s * rate_hz);
        let away = from - middle;
        [
            self.phase(middle_s) + (omega + bend * away) * away,
            omega + bend * (2.0 * away + 1.0),
            2.0 * bend,
        ]
        .map(Complex64::cis)
    }

    /// The wave at full scale.
    fn samples(&self, part: Range<usize>, rate_hz: f64) -> Vec<f32> {
        const PIECE: usize = 64;
        let mut samples = Vec::with_capacity(part.len());
        for start in part.clone().step_by(PIECE) {
            let end = (start + PIECE).min(part.end);
            let middle = 0.5 * (start + end) as f64;
            let [mut wave, mut turn, bend] = self.turning(start as f64, middle, rate_hz);
            for _ in start..end {
                samples.push(wave.re as f32);
                wave *= turn;
                turn *= bend;
            }
        }
        samples
    }

    /// The recording's phase beyond the law's in one window, under a raised cosine.
    fn phase_beyond(&self, recorded: &[f32], window: &Range<usize>, rate_hz: f64) -> f64 {
        let middle = 0.5 * (window.start + window.end) as f64;
        let [mut wave, mut turn, bend] = self.turning(window.start as f64, middle, rate_hz);
        let angle = TAU / window.len() as f64;
        let step = 2.0 * angle.cos();
        let (mut now, mut before) = ((0.5 * angle).cos(), (0.5 * angle).cos());
        let mut sum = Complex64::default();
        for &v in &recorded[window.clone()] {
            sum += wave.conj() * ((1.0 - now) * f64::from(v));
            (before, now) = (now, step * now - before);
            wave *= turn;
            turn *= bend;
        }
        sum.arg()
    }
}

/// The sweep that a recording holds.
#[derive(Clone, Debug, PartialEq)]
pub struct Recovered {
    /// The part that sounds, at full scale and without its fades.
    pub samples: Vec<f32>,
    /// Frame of the recording at which it begins.
    pub start: usize,
    /// Whether the recording follows it all through: nothing much happened to the time.
    pub throughout: bool,
}

/// The part of an exponential sweep that sounds in the recording. `None` if the recording holds no such sweep.
///
/// Its law is fitted to the recording's own phase above 150 Hz, (S20), so it lies on the recording to a fraction of a frame
/// unless something happened to the time.
pub fn recovered_sweep(
    recorded: &[f32],
    sample_rate_hz: f64,
    sounding: &Range<usize>,
) -> Option<Recovered> {
    let start = sounding.start + (START_S * sample_rate_hz) as usize;
    let end = sounding
        .end
        .saturating_sub((END_S * sample_rate_hz) as usize);
    if end < start + (0.5 * sample_rate_hz) as usize || end > recorded.len() {
        return None;
    }
    let (mut law, on) = guess(recorded, sample_rate_hz, start..end)?;
    for _ in 0..N_ROUNDS {
        law = corrected(law, &on, recorded, sample_rate_hz, start..end)?;
    }
    Some(Recovered {
        samples: law.samples(start..end, sample_rate_hz),
        start,
        throughout: on.share() > THROUGHOUT,
    })
}

/// The times at which a recording is on a law, s.
struct OnLaw(Vec<(f64, bool)>);

impl OnLaw {
    /// Share of the places that lie on it.
    fn share(&self) -> f64 {
        self.0.iter().filter(|place| place.1).count() as f64 / self.0.len() as f64
    }

    /// Whether most places around lie on it.
    fn at(&self, t_s: f64) -> bool {
        const AROUND: usize = 2;
        let next = self.0.partition_point(|place| place.0 < t_s);
        let around = next.saturating_sub(AROUND)..(next + AROUND).min(self.0.len());
        let n_on = self.0[around.clone()]
            .iter()
            .filter(|place| place.1)
            .count();
        2 * n_on > around.len()
    }
}

/// The law through frequencies of single places, told by neighbouring samples as (S11) does; and where the recording is on it.
fn guess(recorded: &[f32], rate_hz: f64, part: Range<usize>) -> Option<(Law, OnLaw)> {
    let step = (part.len() / N_PLACES).max(1);
    let mut length = (LONGEST_S * rate_hz) as usize;
    let mut places: Vec<(f64, f64)> = vec![];
    for start in part.clone().step_by(step) {
        let (n, omega, tonal);
        (n, omega, tonal) = window_length(recorded, start, length, rate_hz);
        length = n;
        let frequency_hz = omega * rate_hz / TAU;
        let known = tonal > 0.9 && frequency_hz > FROM_HZ && frequency_hz < 0.25 * rate_hz;
        if known && start + n < part.end {
            places.push(((start as f64 + 0.5 * n as f64) / rate_hz, frequency_hz.ln()));
        }
    }
    if places.len() < FEWEST {
        return None;
    }
    // What lost frames has two laws; the better one of the whole and of either end counts.
    let n = places.len();
    [0..n, 0..n * 6 / 10, n * 4 / 10..n]
        .into_iter()
        .filter_map(|part| through(&places[part]))
        .map(|law| {
            let on = |place: &(f64, f64)| {
                let away = (law.frequency_hz(place.0).ln() - place.1).abs();
                (place.0, away < ON_LAW)
            };
            (law, places.iter().map(on).collect::<Vec<_>>())
        })
        .map(|(law, on)| (law, on.iter().filter(|place| place.1).count(), on))
        .max_by_key(|(_, n_on, _)| *n_on)
        .filter(|(_, n_on, _)| *n_on as f64 > MOST * n as f64)
        .map(|(law, _, on)| (law, OnLaw(on)))
}

fn through(places: &[(f64, f64)]) -> Option<Law> {
    // The median of slopes between places far apart (Theil, 1950; Sen, 1968).
    let half = places.len() / 2;
    let mut slopes: Vec<f64> = places
        .iter()
        .zip(&places[half..])
        .map(|(a, b)| (b.1 - a.1) / (b.0 - a.0))
        .collect();
    let slope = median(&mut slopes)?;
    if slope.is_nan() || slope <= 0.0 {
        return None;
    }
    let mut crossings: Vec<f64> = places
        .iter()
        .map(|(t, ln_hz)| t - (ln_hz - REFERENCE_HZ.ln()) / slope)
        .collect();
    Some(Law {
        at_s: median(&mut crossings)?,
        rate_s: 1.0 / slope,
        phase_rad: 0.0,
    })
}

/// Windows of the law's waves, each over half of the one before.
fn windows(law: &Law, rate_hz: f64, part: Range<usize>) -> Vec<Range<usize>> {
    let mut windows = vec![];
    let mut start = part.start;
    while start < part.end {
        let frequency_hz = law.frequency_hz(start as f64 / rate_hz);
        let length_s = (WAVES / frequency_hz).clamp(SHORTEST_S, LONGEST_S);
        let n = ((length_s * rate_hz) as usize).max(2);
        if start + n > part.end || frequency_hz > TO_SHARE * rate_hz {
            break;
        }
        if frequency_hz > FROM_HZ {
            windows.push(start..start + n);
        }
        start += n / 2;
    }
    windows
}

/// What the recording's phase beyond the law says about the law: a least-squares fit to the turning from window to window, then
/// to the phase that is left. Windows that turn by much more than the others do not count.
fn corrected(
    law: Law,
    on: &OnLaw,
    recorded: &[f32],
    rate_hz: f64,
    part: Range<usize>,
) -> Option<Law> {
    let windows = windows(&law, rate_hz, part);
    let stride = (windows.len() / N_PAIRS).max(1);
    let mut phases: Vec<Option<f64>> = vec![None; windows.len()];
    let middle_s = |window: &Range<usize>| 0.5 * (window.start + window.end) as f64 / rate_hz;
    let mut turns: Vec<(f64, f64)> = vec![];
    for i in (1..windows.len()).step_by(stride) {
        // What is on another law turns by anything.
        if !on.at(middle_s(&windows[i])) {
            continue;
        }
        let [before, after] = [i - 1, i].map(|i: usize| {
            let measured = || law.phase_beyond(recorded, &windows[i], rate_hz);
            *phases[i].get_or_insert_with(measured)
        });
        let [from_s, to_s] = [i - 1, i].map(|i: usize| middle_s(&windows[i]));
        let turn = wrapped(after - before) / (to_s - from_s);
        let t = 0.5 * (from_s + to_s);
        // Relative error of the frequency.
        let u = (t - law.at_s) / law.rate_s;
        turns.push((u, turn / (TAU * law.frequency_hz(t))));
    }
    if turns.len() < FEWEST {
        return None;
    }
    turns.retain(|turn| turn.1.abs() < 2.0 * OFF_LAW);
    let mut off: Vec<f64> = turns.iter().map(|turn| turn.1).collect();
    let middle = median(&mut off)?;
    let mut away: Vec<f64> = turns.iter().map(|turn| (turn.1 - middle).abs()).collect();
    let usual = 3.0 * median(&mut away)? + 1e-12;
    let (mut n, mut su, mut suu, mut sy, mut suy) = (0.0, 0.0, 0.0, 0.0, 0.0);
    for &(u, y) in turns.iter().filter(|turn| (turn.1 - middle).abs() <= usual) {
        n += 1.0;
        su += u;
        suu += u * u;
        sy += y;
        suy += u * y;
    }
    let determinant = n * suu - su * su;
    if determinant <= 0.0 {
        return None;
    }
    // ln f(true) − ln f(law) = c0 + c1·u.
    let slope = (n * suy - su * sy) / determinant;
    let constant = (sy - slope * su) / n;
    let rate_s = law.rate_s / (1.0 + slope);
    let at_s = law.at_s - constant * rate_s;
    let next = Law {
        at_s,
        rate_s,
        phase_rad: law.phase_rad,
    };
    // The phase that is left, as the direction of the mean.
    let (mut re, mut im) = (0.0, 0.0);
    for (window, phase) in windows.iter().zip(&phases) {
        let Some(phase) = phase else { continue };
        let t = middle_s(window);
        let left = phase + law.phase(t) - next.phase(t);
        re += left.cos();
        im += left.sin();
    }
    Some(Law {
        phase_rad: (next.phase_rad + im.atan2(re)) % TAU,
        ..next
    })
}

fn wrapped(angle: f64) -> f64 {
    (angle + std::f64::consts::PI).rem_euclid(TAU) - std::f64::consts::PI
}

fn median(values: &mut [f64]) -> Option<f64> {
    if values.is_empty() {
        return None;
    }
    let middle = values.len() / 2;
    Some(*values.select_nth_unstable_by(middle, f64::total_cmp).1)
}
