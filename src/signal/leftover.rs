//! What a channel holds beside the wave that is being played: harmonics, and what is in no simple ratio to it.
//!
//! Needs no stimulus: the source channel tells, window by window, which wave sounds. Theory: (S17) to (S19).

use std::collections::HashMap;
use std::ops::Range;
use std::sync::Arc;

use num_complex::Complex64;
use realfft::{RealFftPlanner, RealToComplex};

use super::correlate::fast_length;

/// From window to window, in windows: to see how the sweep rises, to look at all of it, and where nothing is looked at.
const APART: f64 = 1.5;
const OVERLAPPING: f64 = 0.5;
const AWAY: f64 = 8.0;
/// Waves in a window.
const WAVES: f64 = 6.0;
/// Lowest and highest frequency that is looked at, Hz: the cone moves in between, and windows are neither longer than a usual silence
/// nor shorter than a hundred samples.
const LOW_HZ: f64 = 15.0;
const HIGH_HZ: f64 = 2_500.0;
/// Longest and shortest window, s.
const LONGEST_S: f64 = 0.4;
const SHORTEST_S: f64 = 0.004;
/// Bins to either side of a wave that belong to it: the window's main lobe and what a sweep spreads.
const LOBE: usize = 2;
/// Share of the source's power that has to be one wave for a window to count: less is a multisine, or noise.
const TONAL: f64 = 0.9;
/// Windows that tell how a sweep rises, at least, and by how much they may scatter around it, as the logarithm of a frequency.
const FEWEST_POINTS: usize = 10;
const STRAIGHT: f64 = 0.05;
/// Orders that count as harmonics, and from where on it is something else.
const HARMONICS: Range<usize> = 2..6;
const IRREGULAR_FROM: f64 = 5.6;
/// Highest order, and highest frequency in Hz: nothing that touches a cone gets further.
const IRREGULAR_TO: f64 = 40.0;
const IRREGULAR_TO_HZ: f64 = 20_000.0;
/// Silence that tells the noise, in windows, at least.
const SILENT_WINDOWS: usize = 1;
/// And about at most: then the noise is known to a few per cent.
const MOST_SILENT_WINDOWS: usize = 12;
/// A block is silent below this share of the loudest one's RMS value, and below so many times the quietest one's.
const SILENT: f64 = 0.05;
const STILL_NOISE: f64 = 3.0;
/// Blocks by which silence is told, s.
const BLOCK_S: f64 = 0.02;
/// How far power has to rise above the noise's mean to be seen: a harmonic's band holds about six independent numbers, which reach
/// this by chance once in a million; the irregular part holds many.
const SEEN_HARMONIC: f64 = 8.0;
const SEEN_IRREGULAR: f64 = 3.0;
/// A wave of fewer steps of the samples than this is distorted by their rounding alone.
const LEAST_STEPS: f64 = 48.0;

/// What one window shows, as amplitudes relative to the wave's own in the driver channel.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Leftover {
    /// Where it is in the take, s.
    pub at_s: f64,
    /// The wave, Hz.
    pub frequency_hz: f64,
    /// Harmonics 2 to 5 of the driver channel beyond those that the source channel has as well; 0 where noise hides them.
    pub harmonic: f64,
    /// The part of the driver channel above, up to the 40th order, likewise.
    pub irregular: f64,
    /// The irregular part that noise alone would have been taken for.
    pub floor: f64,
}

/// Windows in which one wave sounds between 15 Hz and 2.5 kHz, in order. Empty where the source is no sweep, or the take has no
/// silence before it that tells the noise.
pub fn leftover(source: &[f32], driver: &[f32], sample_rate_hz: f64) -> Vec<Leftover> {
    let n = source.len().min(driver.len());
    let silence = silence(&source[..n], sample_rate_hz);
    let mut analyser = Analyser {
        rate_hz: sample_rate_hz,
        source: &source[..n],
        driver: &driver[..n],
        silence: silence.clone(),
        steps: [step(source), step(driver)],
        growth: 0.0,
        planner: RealFftPlanner::new(),
        shapes: HashMap::new(),
        noise: HashMap::new(),
    };
    // Where windows are short against the sweep one wave is plain to see; how fast it rises there tells how it rises where they are not.
    let waves = analyser.waves(silence.end, APART);
    analyser.growth = growth(&waves, sample_rate_hz).unwrap_or(0.0);
    for (length, shape) in &mut analyser.shapes {
        shape.places = places(*length, analyser.growth);
    }
    let waves = analyser.waves(silence.end, OVERLAPPING);
    waves
        .iter()
        .filter(|wave| wave.tonal > TONAL && (LOW_HZ..HIGH_HZ).contains(&wave.frequency_hz))
        .filter_map(|wave| analyser.judged(wave))
        .collect()
}

/// One window and the wave that is strongest in it.
struct Wave {
    start: usize,
    length: usize,
    frequency_hz: f64,
    /// Its share of the power.
    tonal: f64,
    /// Power of each bin of the source.
    power: Vec<f64>,
}

/// What all windows of one length share.
struct Shape {
    plan: Arc<dyn RealToComplex<f64>>,
    /// A raised cosine.
    weights: Vec<f64>,
    /// Where the samples are read, (S18); empty if where they are.
    places: Vec<Place>,
    time: Vec<f64>,
    bins: Vec<Complex64>,
    scratch: Vec<Complex64>,
}

impl Shape {
    fn new(planner: &mut RealFftPlanner<f64>, length: usize, growth: f64) -> Self {
        let plan = planner.plan_fft_forward(length);
        let turn = std::f64::consts::TAU / length as f64;
        Self {
            weights: (0..length)
                .map(|i| 0.5 - 0.5 * (turn * i as f64).cos())
                .collect(),
            places: places(length, growth),
            time: vec![0.0; length],
            bins: plan.make_output_vec(),
            scratch: plan.make_scratch_vec(),
            plan,
        }
    }

    /// Power of each bin.
    fn power(&mut self, samples: &[f32]) -> Vec<f64> {
        if self.places.is_empty() {
            for (slot, &v) in self.time.iter_mut().zip(samples) {
                *slot = f64::from(v);
            }
        } else {
            for (slot, place) in self.time.iter_mut().zip(&self.places) {
                *slot = place.read(samples);
            }
        }
        let mean = self.time.iter().sum::<f64>() / self.time.len() as f64;
        for (slot, weight) in self.time.iter_mut().zip(&self.weights) {
            *slot = (*slot - mean) * weight;
        }
        let done =
            self.plan
                .process_with_scratch(&mut self.time, &mut self.bins, &mut self.scratch);
        debug_assert!(done.is_ok(), "buffers come from the plan: {done:?}");
        self.bins.iter().map(Complex64::norm_sqr).collect()
    }
}

/// Equal steps of a rising sweep's phase.
fn places(length: usize, growth: f64) -> Vec<Place> {
    let rises = growth * length as f64;
    if rises < LEAST_RISE {
        return vec![];
    }
    let step = rises.exp_m1() / length as f64;
    (0..length)
        .map(|i| Place::new((i as f64 * step).ln_1p() / growth, length))
        .collect()
}

/// By how much an exponential sweep rises a frame, (S17); `None` if the waves are not those of one.
fn growth(waves: &[Wave], rate_hz: f64) -> Option<f64> {
    let points: Vec<(f64, f64)> = waves
        .iter()
        .filter(|wave| wave.tonal > TONAL && wave.frequency_hz < 0.2 * rate_hz)
        .map(|wave| {
            let middle = wave.start as f64 + 0.5 * wave.length as f64;
            (middle, wave.frequency_hz.ln())
        })
        .collect();
    let n = points.len() as f64;
    if points.len() < FEWEST_POINTS {
        return None;
    }
    let mean = |of: fn(&(f64, f64)) -> f64| points.iter().map(of).sum::<f64>() / n;
    let (t_mean, f_mean) = (mean(|p| p.0), mean(|p| p.1));
    let (mut across, mut along) = (0.0, 0.0);
    for (t, f) in &points {
        across += (t - t_mean).powi(2);
        along += (t - t_mean) * (f - f_mean);
    }
    let slope = along / across;
    let off = |(t, f): &(f64, f64)| (f - f_mean - slope * (t - t_mean)).powi(2);
    let scatter = (points.iter().map(off).sum::<f64>() / n).sqrt();
    (slope > 0.0 && scatter < STRAIGHT).then_some(slope)
}

/// A length on a coarse grid, so that few transforms have to be planned.
fn grid_length(wanted: f64) -> usize {
    let per_octave = 4.0;
    fast_length((2.0_f64.powf((wanted.log2() * per_octave).round() / per_octave)) as usize)
}

/// The smallest step that the samples show.
fn step(samples: &[f32]) -> f64 {
    let least = samples
        .iter()
        .map(|v| v.abs())
        .filter(|v| *v > 0.0)
        .min_by(f32::total_cmp);
    least.map_or(0.0, f64::from)
}

/// Silence before the first sound.
fn silence(source: &[f32], rate_hz: f64) -> Range<usize> {
    let block = ((BLOCK_S * rate_hz) as usize).max(1);
    let mean = source.iter().map(|&v| f64::from(v)).sum::<f64>() / source.len().max(1) as f64;
    let loudness: Vec<f64> = source
        .chunks_exact(block)
        .map(|part| {
            let power: f64 = part.iter().map(|&v| (f64::from(v) - mean).powi(2)).sum();
            (power / block as f64).sqrt()
        })
        .collect();
    let loudest = loudness
        .iter()
        .copied()
        .max_by(f64::total_cmp)
        .unwrap_or(0.0);
    let first = loudness.first().copied().unwrap_or(0.0);
    let still =
        |&loud: &f64| loud < SILENT * loudest && loud <= STILL_NOISE * first + 1e-7 * loudest;
    let n_still = loudness.iter().take_while(|loud| still(loud)).count();
    // The last block may hold the beginning of the sound.
    0..n_still.saturating_sub(1) * block
}

/// A rise over a window that spreads nothing.
const LEAST_RISE: f64 = 1e-4;

/// A place between two samples, read by a cubic through four: the first of them and what each counts.
struct Place {
    first: usize,
    counts: [f64; 4],
}

impl Place {
    fn new(at: f64, length: usize) -> Self {
        // At an end of the window the four lie as near as they can.
        let first = (at as usize)
            .saturating_sub(1)
            .min(length.saturating_sub(4));
        let x = at - first as f64 - 1.0;
        let (before, next, last) = (x + 1.0, x - 1.0, x - 2.0);
        Self {
            first,
            counts: [
                -x * next * last / 6.0,
                before * next * last / 2.0,
                -before * x * last / 2.0,
                before * x * next / 6.0,
            ],
        }
    }

    fn read(&self, samples: &[f32]) -> f64 {
        let four = samples[self.first..].first_chunk::<4>();
        four.map_or(0.0, |four| {
            let [a, b, c, d] = four.map(f64::from);
            let [of_a, of_b, of_c, of_d] = self.counts;
            (a * of_a + b * of_b) + (c * of_c + d * of_d)
        })
    }
}

struct Analyser<'a> {
    rate_hz: f64,
    source: &'a [f32],
    driver: &'a [f32],
    silence: Range<usize>,
    steps: [f64; 2],
    /// By how much the sweep rises a frame, as the logarithm of its frequency.
    growth: f64,
    planner: RealFftPlanner<f64>,
    shapes: HashMap<usize, Shape>,
    /// Mean power spectra of both channels' silence by window length; `None` where the silence is too short.
    noise: HashMap<usize, Option<[Vec<f64>; 2]>>,
}

impl Analyser<'_> {
    /// Power of each bin of a raised-cosine window.
    fn power(&mut self, channel: usize, start: usize, length: usize) -> Vec<f64> {
        let samples = if channel == 0 {
            self.source
        } else {
            self.driver
        };
        let (planner, growth) = (&mut self.planner, self.growth);
        let shape = self
            .shapes
            .entry(length)
            .or_insert_with(|| Shape::new(planner, length, growth));
        shape.power(&samples[start..start + length])
    }

    /// Windows over all that sounds, each about [`WAVES`] waves long and so many windows after the one before.
    fn waves(&mut self, from: usize, hop: f64) -> Vec<Wave> {
        let mut found = vec![];
        let mut length = grid_length(LONGEST_S * self.rate_hz);
        let mut start = from;
        while start + length <= self.source.len() {
            let mut wave = None;
            for _ in 0..3 {
                wave = self.wave(start, length);
                let Some(seen) = &wave else { break };
                let wanted_s = (WAVES / seen.frequency_hz).clamp(SHORTEST_S, LONGEST_S);
                let next = grid_length(wanted_s * self.rate_hz);
                if next == length || start + next > self.source.len() {
                    break;
                }
                length = next;
            }
            let high = wave
                .as_ref()
                .is_some_and(|wave| wave.frequency_hz > 1.5 * HIGH_HZ);
            found.extend(wave);
            let hop = if high && hop < APART { AWAY } else { hop };
            start += (hop * length as f64) as usize;
        }
        found
    }

    /// The strongest wave of the source.
    fn wave(&mut self, start: usize, length: usize) -> Option<Wave> {
        let power = self.power(0, start, length);
        let total: f64 = power.iter().sum();
        let top = (1..power.len()).max_by(|&a, &b| power[a].total_cmp(&power[b]))?;
        let lobe = top.saturating_sub(LOBE)..(top + LOBE + 1).min(power.len());
        let own: f64 = power[lobe.clone()].iter().sum();
        let centre = lobe.map(|k| k as f64 * power[k]).sum::<f64>() / own;
        (total > 0.0).then(|| Wave {
            start,
            length,
            frequency_hz: centre * self.rate_hz / length as f64,
            tonal: own / total,
            power,
        })
    }

    fn noise_of(&mut self, length: usize) -> Option<&[Vec<f64>; 2]> {
        if !self.noise.contains_key(&length) {
            let fitting = self.silence.len() / length;
            let apart = length * (fitting / MOST_SILENT_WINDOWS).max(1);
            let starts: Vec<usize> = (self.silence.start..)
                .step_by(apart.max(1))
                .take_while(|start| start + length <= self.silence.end)
                .collect();
            let mean = |analyser: &mut Self, channel: usize| {
                let mut sum = vec![0.0; length / 2 + 1];
                for &start in &starts {
                    let power = analyser.power(channel, start, length);
                    for (slot, p) in sum.iter_mut().zip(power) {
                        *slot += p / starts.len() as f64;
                    }
                }
                // Rounding alone: a step's variance is 1/12 of its square, and a raised cosine's square has the mean 3/8.
                let rounding = analyser.steps[channel].powi(2) / 12.0 * 0.375 * length as f64;
                sum.iter_mut().for_each(|slot| *slot += rounding);
                sum
            };
            let found = (starts.len() >= SILENT_WINDOWS).then(|| [mean(self, 0), mean(self, 1)]);
            self.noise.insert(length, found);
        }
        self.noise.get(&length).and_then(Option::as_ref)
    }

    fn judged(&mut self, wave: &Wave) -> Option<Leftover> {
        let (start, length, f_hz) = (wave.start, wave.length, wave.frequency_hz);
        let (rate_hz, step) = (self.rate_hz, self.steps[1]);
        let of_driver = self.power(1, start, length);
        let power = [&wave.power, &of_driver];
        let noise = self.noise_of(length)?;
        let noise = [&noise[0], &noise[1]];
        let bin_hz = rate_hz / length as f64;
        let n_bins = power[0].len();
        let band = |channel: usize, list: &[&Vec<f64>; 2], bins: &Range<usize>| -> f64 {
            list[channel][bins.clone()].iter().sum()
        };
        let around = |order: f64| {
            let middle = (order * f_hz / bin_hz).round() as usize;
            // What is wrong with the wave's frequency is so many times more wrong here.
            let half = LOBE + (0.02 * WAVES * order) as usize;
            let half = half.min((0.45 * f_hz / bin_hz) as usize);
            middle.saturating_sub(half).min(n_bins)..(middle + half + 1).min(n_bins)
        };
        let own = around(1.0);
        let fundamental = [band(0, &power, &own), band(1, &power, &own)];
        // A raised cosine of amplitude A and length N shows a power of A²·N²/16·1.5 over its lobe.
        let amplitude = (fundamental[1] * 16.0 / 1.5).sqrt() / length as f64;
        if fundamental[0] <= 0.0 || amplitude < LEAST_STEPS * step {
            return None;
        }
        let beyond = |bins: &Range<usize>, seen: f64| {
            let part = |channel: usize| {
                let (p, n) = (band(channel, &power, bins), band(channel, &noise, bins));
                let above = if p > seen * n { p - n } else { 0.0 };
                (
                    above / fundamental[channel],
                    seen * n / fundamental[channel],
                )
            };
            let ((of_source, _), (of_driver, floor)) = (part(0), part(1));
            (of_driver - of_source, floor)
        };
        let mut harmonic = 0.0;
        for order in HARMONICS {
            let (power, _) = beyond(&around(order as f64), SEEN_HARMONIC);
            harmonic += if power > 0.0 { power } else { 0.0 };
        }
        let top_hz = [IRREGULAR_TO * f_hz, IRREGULAR_TO_HZ, 0.45 * rate_hz]
            .into_iter()
            .min_by(f64::total_cmp)?;
        let above = (IRREGULAR_FROM * f_hz / bin_hz) as usize..(top_hz / bin_hz) as usize;
        let above = above.start.min(n_bins)..above.end.min(n_bins).max(above.start.min(n_bins));
        let (irregular, floor) = beyond(&above, SEEN_IRREGULAR);
        Some(Leftover {
            at_s: (start as f64 + 0.5 * length as f64) / rate_hz,
            frequency_hz: f_hz,
            harmonic: harmonic.sqrt(),
            irregular: if irregular > 0.0 {
                irregular.sqrt()
            } else {
                0.0
            },
            floor: floor.sqrt(),
        })
    }
}
