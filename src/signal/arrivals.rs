//! What arrives when, and how much of each band: echoes and missing bands.

use realfft::RealFftPlanner;
use rustfft::FftPlanner;
use rustfft::num_complex::{Complex, Complex64};

use super::correlate::{fast_length, part};
use super::follow::{Follow, FollowWindow};
use super::single::Single;

/// Bands in which arrivals are looked for, Hz: above the resonances of drivers, which ring, and wide enough that arrivals a
/// millisecond apart are two.
const BANDS_HZ: [(f64, f64); 3] = [(2e3, 6e3), (6e3, 10e3), (10e3, 14e3)];
/// Bins below this share of a band's strongest power were hardly played.
const PLAYED: f64 = 1e-4;

/// A second arrival.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Echo {
    /// How long after the first, s.
    pub after_s: f64,
    /// Amplitude relative to the first, dB; the least over the bands that were looked at.
    pub level_db: f64,
    /// The same for what comes another such time later, dB: of a loop, about twice `level_db`. `None` where the stimulus itself
    /// has more than that there, as short sweeps do.
    pub next_db: Option<f64>,
}

/// The strongest arrival between two times after the first, in seconds, that every band has at every time and that is not in
/// the stimulus itself, formula (S14). `None` if less than two bands were played.
///
/// A gap in the recording makes two arrivals as well, but one before it and one after it.
pub fn echo(
    played: &[f32],
    recorded: &[f32],
    follow: &Follow,
    sample_rate_hz: f64,
    from_s: f64,
    to_s: f64,
) -> Option<Echo> {
    // What comes twice as late as the latest echo is asked for too.
    let reach_s = 2.0 * to_s + 4.0 * STEP_S;
    let segments = Blocks::new(follow, sample_rate_hz, reach_s)?.segments(played, recorded);
    let n_steps = (2.0 * to_s / STEP_S) as usize + 2;
    // Level against lag in steps of a quarter of a millisecond, the least over the bands.
    let mut least = vec![f64::INFINITY; n_steps];
    let whole = segments.iter().fold(None, |sum: Option<Spectra>, one| {
        Some(match sum {
            Some(mut sum) => {
                sum.add(one);
                sum
            }
            None => one.clone(),
        })
    })?;
    let mut answers = vec![];
    for band in BANDS_HZ {
        if let (Some(heard), Some(own)) = (
            whole.levels(band, |s| &s.heard, n_steps),
            whole.levels(band, |s| &s.own, n_steps),
        ) {
            answers.push((band, heard, own));
        }
    }
    let gain = |(_, heard, own): &((f64, f64), Levels, Levels)| heard.top / own.top;
    let highest = answers
        .iter()
        .map(gain)
        .fold(0.0, |m: f64, v| if v > m { v } else { m });
    // A band that did not arrive has no arrivals but noise.
    answers.retain(|answer| gain(answer) > ARRIVED * highest);
    // What the stimulus has by itself, the most over the bands.
    let mut most_own = vec![0.0_f64; n_steps];
    for (_, heard, own) in &answers {
        for (slot, &own) in most_own.iter_mut().zip(&own.relative) {
            if own > *slot {
                *slot = own;
            }
        }
        for ((slot, &level), &own) in least.iter_mut().zip(&heard.relative).zip(&own.relative) {
            // What the stimulus does by itself (periods, gaps between lines) is no arrival.
            let level = if own > OWN * level { 0.0 } else { level };
            if level < *slot {
                *slot = level;
            }
        }
    }
    if answers.len() < 2 {
        return None;
    }
    for segment in &segments {
        for (band, _, _) in &answers {
            if !segment.holds(&whole, *band) {
                continue;
            }
            let Some(here) = segment.levels(*band, |s| &s.heard, n_steps) else {
                continue;
            };
            for (step, slot) in least.iter_mut().enumerate() {
                let around = step.saturating_sub(1)..(step + 2).min(n_steps);
                let seen = here.relative[around].iter().any(|&v| v > ALWAYS * *slot);
                if !seen {
                    *slot = 0.0;
                }
            }
        }
    }
    let (from, to) = ((from_s / STEP_S).ceil() as usize, (to_s / STEP_S) as usize);
    let (index, &level) = least
        .iter()
        .enumerate()
        .take(to + 1)
        .skip(from)
        .max_by(|a, b| a.1.total_cmp(b.1))?;
    let next = (2 * index)
        .checked_sub(1)
        .and_then(|at| least.get(at..(at + 4).min(n_steps)))
        .map_or(0.0, |part| {
            part.iter()
                .copied()
                .fold(0.0, |m: f64, v| if v > m { v } else { m })
        });
    let hidden = most_own
        .get(2 * index)
        .is_none_or(|&own| own > OWN * level * level);
    let db = |power: f64| 10.0 * (power + 1e-20).log10();
    Some(Echo {
        after_s: index as f64 * STEP_S,
        level_db: db(level),
        next_db: (!hidden).then(|| db(next)),
    })
}

/// Steps of lag, s.
const STEP_S: f64 = 2.5e-4;
/// An arrival has to be this much above what the stimulus has there by itself (both relative to their first), power.
const OWN: f64 = 0.1;
/// What an arrival has to have at any time of what it has on the whole, power.
const ALWAYS: f64 = 0.1;
/// A band whose gain is below this share of the best one's, power, did not arrive: 12 dB are beyond what a jig does to a band.
const ARRIVED: f64 = 0.06;
/// Lags before the expected one, s: drifting clocks and what was lost move the first arrival.
const BEFORE_S: f64 = 0.05;
/// Longest block, s, and how many there are at least while the stimulus sounds.
const LONGEST_BLOCK_S: f64 = 1.0;
const FEWEST_BLOCKS: f64 = 8.0;
/// Times at which an echo is asked for, at most.
const N_SEGMENTS: usize = 8;
/// Width over which the power that was played is smoothed, Hz. Arrivals are sharp to its inverse.
const SMOOTH_HZ: f64 = 25.0;

/// How a take is cut into blocks.
struct Blocks {
    /// First frames, of what was played.
    starts: Vec<usize>,
    /// Frames of what was played in each.
    length: usize,
    /// Frames of the transforms: a block, and the lags asked for.
    size: usize,
    /// Frames before the expected lag.
    before: usize,
    /// Bins from here on are kept.
    first_bin: usize,
    n_bins: usize,
    delay: isize,
    rate_hz: f64,
}

impl Blocks {
    fn new(follow: &Follow, rate_hz: f64, reach_s: f64) -> Option<Self> {
        let delay = follow.delay_frames? as isize;
        let (from, to) = follow.sounding;
        let longest = LONGEST_BLOCK_S * rate_hz;
        let share = (to.checked_sub(from)? as f64 / FEWEST_BLOCKS).ceil();
        let length = (if share < longest { share } else { longest }) as usize;
        let before = (BEFORE_S * rate_hz) as usize;
        let size = fast_length(length + 2 * before + (reach_s * rate_hz) as usize);
        if length == 0 {
            return None;
        }
        let bin_hz = rate_hz / size as f64;
        let first_bin = (BANDS_HZ[0].0 / bin_hz) as usize;
        let last_bin = (BANDS_HZ[BANDS_HZ.len() - 1].1 / bin_hz) as usize;
        // A sweep spends most of its time outside these bands.
        let outside = |w: &&FollowWindow| {
            const ONE_WAVE: f64 = 0.9;
            let (lowest, highest) = (BANDS_HZ[0].0, BANDS_HZ[BANDS_HZ.len() - 1].1);
            w.tonal > ONE_WAVE && !(0.7 * lowest..1.3 * highest).contains(&w.frequency_hz)
        };
        let mut windows = follow.windows.as_slice();
        let mut starts = vec![];
        for start in (from..to).step_by(length) {
            let n_done = windows.partition_point(|w| w.start + w.n_frames < start);
            windows = &windows[n_done..];
            let here = || windows.iter().take_while(|w| w.start < start + length);
            if here().next().is_none() || here().any(|w| !outside(&w)) {
                starts.push(start);
            }
        }
        Some(Self {
            starts,
            length,
            size,
            before,
            first_bin,
            n_bins: last_bin.min(size / 2 + 1).checked_sub(first_bin)?,
            delay,
            rate_hz,
        })
    }

    /// Correlations of one block after the other, in some segments of time.
    fn segments(&self, played: &[f32], recorded: &[f32]) -> Vec<Spectra> {
        let plan = RealFftPlanner::<Single>::new().plan_fft_forward(self.size);
        let mut time = plan.make_input_vec();
        let mut scratch = plan.make_scratch_vec();
        let [mut block, mut own, mut heard] = [0; 3].map(|_| plan.make_output_vec());
        let many = self.starts.len().div_ceil(N_SEGMENTS).max(1);
        self.starts
            .chunks(many)
            .map(|starts| {
                let mut sum = Spectra::new(self);
                for &start in starts {
                    let from = start as isize - self.before as isize;
                    for (samples, from, length, out) in [
                        (played, start as isize, self.length, &mut block),
                        (played, from, self.size, &mut own),
                        (recorded, from + self.delay, self.size, &mut heard),
                    ] {
                        let there = part(samples, from, length);
                        for (slot, &sample) in time.iter_mut().zip(there.iter()) {
                            *slot = sample as Single;
                        }
                        time[length..].fill(0.0);
                        let done = plan.process_with_scratch(&mut time, out, &mut scratch);
                        debug_assert!(done.is_ok(), "buffers come from the plan: {done:?}");
                    }
                    for i in 0..self.n_bins {
                        let k = self.first_bin + i;
                        sum.power[i] += block[k].norm_sqr();
                        sum.own[i] += own[k] * block[k].conj();
                        sum.heard[i] += heard[k] * block[k].conj();
                    }
                }
                sum.smooth();
                sum
            })
            .collect()
    }
}

/// Sums over blocks, for the bins from the lowest band's first to the highest band's last.
#[derive(Clone)]
struct Spectra {
    /// Power of what was played.
    power: Vec<Single>,
    /// Correlation of what was played with itself, and of the recording with it.
    own: Vec<Complex<Single>>,
    heard: Vec<Complex<Single>>,
    first_bin: usize,
    bin_hz: f64,
    /// Share of the lags that are asked for; the others are around the circle.
    valid: f64,
    /// Lags in all, s.
    length_s: f64,
}

impl Spectra {
    fn new(blocks: &Blocks) -> Self {
        let n = blocks.n_bins;
        Self {
            power: vec![0.0; n],
            own: vec![Complex::default(); n],
            heard: vec![Complex::default(); n],
            first_bin: blocks.first_bin,
            bin_hz: blocks.rate_hz / blocks.size as f64,
            valid: 1.0 - (blocks.length + blocks.before) as f64 / blocks.size as f64,
            length_s: blocks.size as f64 / blocks.rate_hz,
        }
    }

    fn add(&mut self, other: &Self) {
        self.power
            .iter_mut()
            .zip(&other.power)
            .for_each(|(a, b)| *a += b);
        self.own
            .iter_mut()
            .zip(&other.own)
            .for_each(|(a, b)| *a += b);
        self.heard
            .iter_mut()
            .zip(&other.heard)
            .for_each(|(a, b)| *a += b);
    }

    /// Running mean of the power that was played.
    fn smooth(&mut self) {
        let half = (0.5 * SMOOTH_HZ / self.bin_hz) as usize;
        let mut sums = vec![0.0];
        let mut sum = 0.0;
        for &v in &self.power {
            sum += f64::from(v);
            sums.push(sum);
        }
        let n = self.power.len();
        for (i, slot) in self.power.iter_mut().enumerate() {
            let (from, to) = (i.saturating_sub(half), (i + half + 1).min(n));
            *slot = ((sums[to] - sums[from]) / (to - from) as f64) as Single;
        }
    }

    /// Whether much of a band was played here: of a sweep that has just left it, only the ends of blocks remain.
    fn holds(&self, whole: &Self, (low_hz, high_hz): (f64, f64)) -> bool {
        /// Half of what one of the segments has if all are alike.
        const MUCH: Single = 0.5 / N_SEGMENTS as Single;
        let bins = |hz: f64| (hz / self.bin_hz) as usize - self.first_bin;
        let here = bins(low_hz)..bins(high_hz).min(self.power.len());
        let both = self.power[here.clone()]
            .iter()
            .zip(&whole.power[here.clone()]);
        2 * both.filter(|&(a, b)| *a > MUCH * b).count() > here.len()
    }

    /// Arrivals in one band; `None` if it was not played, or nothing stands out.
    fn levels(
        &self,
        (low_hz, high_hz): (f64, f64),
        answer: impl Fn(&Self) -> &[Complex<Single>],
        n_steps: usize,
    ) -> Option<Levels> {
        let first = (low_hz / self.bin_hz) as usize - self.first_bin;
        let last = (high_hz / self.bin_hz) as usize - self.first_bin;
        let power = self.power.get(first..last)?;
        let strongest = power
            .iter()
            .fold(0.0, |m: Single, &v| if v > m { v } else { m });
        let floor = PLAYED as Single * strongest;
        let n_played = power.iter().filter(|&&v| v > floor).count();
        if strongest <= 0.0 || n_played * 8 < last - first {
            return None;
        }
        let n = last - first;
        // Zeros beyond the band: more lags between those asked for, and a length that transforms fast.
        let mut bins = vec![Complex64::default(); fast_length(n)];
        for (i, slot) in bins.iter_mut().enumerate().take(n) {
            let weight = 0.5 - 0.5 * (std::f64::consts::TAU * i as f64 / n as f64).cos();
            let value = answer(self)[first + i] / (power[i] + floor);
            *slot = Complex64::new(value.re.into(), value.im.into()) * weight;
        }
        FftPlanner::new()
            .plan_fft_inverse(bins.len())
            .process(&mut bins);
        let n_valid = (self.valid * bins.len() as f64) as usize;
        levels(&bins[..n_valid], self.length_s / bins.len() as f64, n_steps)
    }
}

/// Arrivals in one band.
struct Levels {
    /// Power of the strongest.
    top: f64,
    /// Power against lag, relative to it.
    relative: Vec<f64>,
}

/// How far an arrival has to stand out of what is there all the time, power.
const STANDS_OUT: f64 = 100.0;

/// Power relative to the strongest, from that one on, the largest in each step; `None` if nothing stands out.
fn levels(response: &[Complex64], sample_s: f64, n_steps: usize) -> Option<Levels> {
    let n = response.len();
    let mut powers: Vec<f64> = response.iter().map(|v| v.norm_sqr()).collect();
    let (main, top) = powers
        .iter()
        .copied()
        .enumerate()
        .max_by(|a, b| a.1.total_cmp(&b.1))?;
    let (_, median, _) = powers.select_nth_unstable_by(n / 2, f64::total_cmp);
    // The largest of so many values of noise is some twenty times their median.
    if top < STANDS_OUT * *median {
        return None;
    }
    let mut out = vec![0.0; n_steps];
    for (i, value) in response[main..].iter().enumerate() {
        let step = (i as f64 * sample_s / STEP_S).round() as usize;
        let Some(slot) = out.get_mut(step) else {
            break;
        };
        let power = value.norm_sqr() / top;
        if power > *slot {
            *slot = power;
        }
    }
    Some(Levels { top, relative: out })
}

/// How much of one band arrived.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BandGain {
    /// Middle of the band, Hz.
    pub frequency_hz: f64,
    /// Recorded over played, dB.
    pub gain_db: f64,
}

/// Frames of one block, and bins that make one band: a hundredth of the sample rate.
const BLOCK: usize = 1600;
const BINS: usize = 16;

/// Gain of the bands of a hundredth of the sample rate each that were played, formula (S15).
///
/// Each block counts in a band by the power that was played there and then, so that noise from before and after does not.
pub fn band_gains(
    played: &[f32],
    recorded: &[f32],
    follow: &Follow,
    sample_rate_hz: f64,
) -> Vec<BandGain> {
    let Some(global) = follow.delay_frames else {
        return vec![];
    };
    let plan = RealFftPlanner::<Single>::new().plan_fft_forward(BLOCK);
    let mut time = plan.make_input_vec();
    let mut scratch = plan.make_scratch_vec();
    // Raised cosine squared: its side lobes fall fast enough that a loud low wave is nothing at the top.
    let weights: Vec<Single> = (0..BLOCK)
        .map(|i| {
            let turn = std::f64::consts::TAU * (i as f64 + 0.5) / BLOCK as f64;
            (0.5 - 0.5 * turn.cos()).powi(2) as Single
        })
        .collect();
    let n_bands = BLOCK / 2 / BINS;
    let mut sums = vec![(0.0, 0.0); n_bands];
    let mut next_window = 0;
    let mut beyond = 0.0;
    let (mut x, mut y) = (plan.make_output_vec(), plan.make_output_vec());
    for start in (follow.sounding.0..follow.sounding.1).step_by(BLOCK / 2) {
        while let Some(window) = follow.windows.get(next_window)
            && window.middle() <= (start + BLOCK / 2) as f64
        {
            beyond = window.delay_frames.unwrap_or(beyond);
            next_window += 1;
        }
        let lag = (global + beyond).round() as isize;
        for (samples, lag, out) in [(played, 0, &mut x), (recorded, lag, &mut y)] {
            let there = part(samples, start as isize + lag, BLOCK);
            for ((slot, &sample), &weight) in time.iter_mut().zip(there.iter()).zip(&weights) {
                *slot = sample as Single * weight;
            }
            let done = plan.process_with_scratch(&mut time, out, &mut scratch);
            debug_assert!(done.is_ok(), "buffers come from the plan: {done:?}");
        }
        for (band, sum) in sums.iter_mut().enumerate() {
            let power = |bins: &[Complex<Single>]| {
                let here = bins[band * BINS..(band + 1) * BINS].iter();
                f64::from(here.map(|v| v.norm_sqr()).sum::<Single>())
            };
            let (px, py) = (power(&x), power(&y));
            sum.0 += px * px;
            sum.1 += px * py;
        }
    }
    let strongest = sums
        .iter()
        .map(|s| s.0)
        .fold(0.0, |m: f64, v| if v > m { v } else { m });
    sums.iter()
        .enumerate()
        .filter(|(_, s)| s.0 > PLAYED * PLAYED * strongest && s.0 > 0.0)
        .map(|(band, s)| BandGain {
            frequency_hz: (band as f64 + 0.5) * BINS as f64 * sample_rate_hz / BLOCK as f64,
            gain_db: 10.0 * (s.1 / s.0 + 1e-20).log10(),
        })
        .collect()
}
