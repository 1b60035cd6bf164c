//! Mains hum: narrow lines at multiples of 50 or 60 Hz in the silence around the stimulus.
//!
//! A line that is there in the silence is none of the driver's: a resonance sounds only while it is driven, and rings off.

use std::f64::consts::TAU;
use std::ops::Range;

use super::extent::Extent;
use super::statistics::{mean, median};
use crate::finding::{Code, Finding, Severity};
use crate::recording::Take;
use crate::signal::Lines;

/// Mains frequencies of the world, Hz.
const NOMINAL_HZ: [f64; 2] = [50.0, 60.0];
/// How far grids stray, and a recorder's clock with them, Hz (common practice, no source).
const STRAY_HZ: f64 = 0.3;
/// Steps in which the mains frequency is looked for, Hz.
const STEP_HZ: f64 = 0.02;
/// Highest harmonic that is looked for: rectifiers hum up to 1 kHz.
const HIGHEST: u32 = 20;
/// Shortest silence, s: a line's surroundings then keep clear of the next line.
const SHORTEST_S: f64 = 0.3;
/// Longest silence that is looked at, s: beyond, a grid's own wander blurs the line.
const LONGEST_S: f64 = 2.0;
/// Without silence, this much at either end is looked at, s, and this share of its power has to be hum.
const END_S: f64 = 0.42;
const MOSTLY: f64 = 0.7;
/// Power of a line over that of its surroundings. Noise alone gets there once in e¹⁸; some thousand places are looked at.
const ABOVE_NOISE: f64 = 18.0;
/// No line below −130 dBFS counts: what lies below is the arithmetic of whoever made the samples, not an input.
const LEAST_POWER: f64 = 1e-13;
/// By how much a line may differ between the halves of a silence, dB: what rings off falls by more.
const STEADY_DB: f64 = 4.0;
/// Surroundings of a line, in widths 1/T of the window's resolution: beyond the main lobe of a raised cosine.
const AROUND: [f64; 7] = [3.0, 4.1, 5.2, 6.3, 7.4, 8.5, 9.6];
/// Rate at which lines up to 1.2 kHz are looked for, Hz; the mean over a few samples falls by 0.2 dB up to there.
const SLOW_HZ: f64 = 9600.0;

/// What hums.
#[derive(Clone, Debug, PartialEq)]
pub struct Hum {
    /// The mains frequency as the recording has it, Hz.
    pub mains_hz: f64,
    /// The lines' frequencies, ascending, Hz: multiples of the mains frequency.
    pub lines_hz: Vec<f64>,
    /// All lines together in the worse channel, RMS in dB relative to full scale.
    pub level_dbfs: f64,
}

/// Looks for hum in the silence before or after the stimulus; `None` if there is none, or no silence to see it in.
pub(super) fn hum_in_silence(take: &Take, extent: &Extent) -> Option<Hum> {
    let rate_hz = f64::from(take.sample_rate_hz());
    let long = |part: &Range<usize>| part.len() as f64 > SHORTEST_S * rate_hz;
    // Before the stimulus nothing has been driven yet. Hum that is loud against the stimulus leaves no silence; then the ends of
    // the recording are looked at, and little else than hum may be in them.
    let n = take.n_frames();
    let end = ((END_S * rate_hz) as usize).min(n);
    let silence = [extent.before.clone(), extent.after.clone()]
        .into_iter()
        .find(long);
    let ends = [0..end, n - end..n].into_iter().filter(long);
    match silence {
        Some(part) => hum_in(take, part).map(|(hum, _)| hum),
        None => ends
            .filter_map(|part| hum_in(take, part))
            .find(|(_, share)| *share > MOSTLY)
            .map(|(hum, _)| hum),
    }
}

/// The hum in a part of a recording, and its share of the power there in the worse channel.
fn hum_in(take: &Take, part: Range<usize>) -> Option<(Hum, f64)> {
    let rate_hz = f64::from(take.sample_rate_hz());
    let most = (LONGEST_S * rate_hz) as usize;
    let part = part.end - part.len().min(most)..part.end;
    let step = ((rate_hz / SLOW_HZ) as usize).max(1);
    let channels = [&take.source()[part.clone()], &take.driver()[part]]
        .map(|samples| samples.chunks_exact(step).map(mean).collect::<Vec<f64>>());
    let slow_hz = rate_hz / step as f64;
    let prepared = channels.each_ref().map(|samples| windowed(samples));
    let lines = prepared
        .each_ref()
        .map(|samples| Lines::of(samples, slow_hz));
    let found =
        NOMINAL_HZ.map(|nominal_hz| comb(&channels, (&prepared, &lines), slow_hz, nominal_hz));
    let [fifty, sixty] = found;
    // 300 Hz belongs to both: the one with more power is the mains.
    let best = match (fifty, sixty) {
        (Some(a), Some(b)) => Some(if a.power >= b.power { a } else { b }),
        (a, b) => a.or(b),
    }?;
    let powers = channels.each_ref().map(|samples| {
        let middle = samples.iter().sum::<f64>() / samples.len() as f64;
        samples.iter().map(|v| (v - middle).powi(2)).sum::<f64>() / samples.len() as f64
    });
    let whole = if powers[0] > powers[1] {
        powers[0]
    } else {
        powers[1]
    };
    let found = Hum {
        mains_hz: best.mains_hz,
        lines_hz: best
            .harmonics
            .iter()
            .map(|&k| f64::from(k) * best.mains_hz)
            .collect(),
        level_dbfs: 10.0 * best.power.log10(),
    };
    Some((found, best.power / whole))
}

/// The lines of one mains frequency.
struct Comb {
    mains_hz: f64,
    harmonics: Vec<u32>,
    /// Mean square of all lines in the worse channel.
    power: f64,
}

fn comb(
    channels: &[Vec<f64>; 2],
    (prepared, lines): (&[Vec<f64>; 2], &[Lines; 2]),
    rate_hz: f64,
    nominal_hz: f64,
) -> Option<Comb> {
    // Which harmonics are there at all, at the nominal frequency: the window is wide enough for what grids stray by.
    let exists = |k: u32| -> bool {
        let line_hz = f64::from(k) * nominal_hz;
        line_hz < 0.4 * rate_hz
            && channels
                .iter()
                .zip(lines)
                .any(|(raw, lines)| is_line(raw, lines, line_hz, f64::from(k), rate_hz))
    };
    let harmonics: Vec<u32> = (1..=HIGHEST).filter(|&k| exists(k)).collect();
    // Single lines at high multiples are somebody's switching supply, or shared by both mains frequencies.
    let own = |k: &u32| *k <= 3 || (f64::from(*k) * nominal_hz) % 300.0 != 0.0;
    let n_own = harmonics.iter().filter(|k| own(k)).count();
    if n_own == 0 || (harmonics.len() < 2 && harmonics.iter().all(|&k| k > 3)) {
        return None;
    }
    let power_at = |mains_hz: f64| -> [f64; 2] {
        [0, 1].map(|c: usize| {
            harmonics
                .iter()
                .map(|&k| line_power(&prepared[c], f64::from(k) * mains_hz, rate_hz))
                .sum()
        })
    };
    let n_steps = (STRAY_HZ / STEP_HZ) as i32;
    let (mains_hz, _) = (-n_steps..=n_steps)
        .map(|i| nominal_hz + f64::from(i) * STEP_HZ)
        .map(|mains_hz| (mains_hz, power_at(mains_hz).iter().sum::<f64>()))
        .max_by(|a, b| a.1.total_cmp(&b.1))?;
    let [a, b] = power_at(mains_hz);
    Some(Comb {
        mains_hz,
        harmonics,
        power: if a > b { a } else { b },
    })
}

/// Whether there is a steady line within what the mains strays, well above its surroundings.
fn is_line(raw: &[f64], lines: &Lines, line_hz: f64, order: f64, rate_hz: f64) -> bool {
    let width_hz = rate_hz / raw.len() as f64;
    let Some((at_hz, power)) = lines.strongest(line_hz, STRAY_HZ * order) else {
        return false;
    };
    let mut around: Vec<f64> = AROUND
        .iter()
        .flat_map(|widths| [at_hz - widths * width_hz, at_hz + widths * width_hz])
        .filter(|&hz| hz > width_hz)
        .map(|hz| lines.power(hz))
        .collect();
    // The median of an exponential distribution is ln 2 of its mean.
    let noise = median(&mut around).unwrap_or(f64::INFINITY) / std::f64::consts::LN_2;
    // Not a number is no line either.
    let above = power > ABOVE_NOISE * noise && power > LEAST_POWER;
    if !above {
        return false;
    }
    let (first, second) = raw.split_at(raw.len() / 2);
    let halves = [first, second].map(|half| line_power(&windowed(half), at_hz, rate_hz));
    (10.0 * (halves[1] / halves[0]).log10()).abs() < STEADY_DB
}

/// Samples without their mean under a raised cosine.
fn windowed(samples: &[f64]) -> Vec<f64> {
    let n = samples.len() as f64;
    let mean = samples.iter().sum::<f64>() / n;
    samples
        .iter()
        .enumerate()
        .map(|(i, &v)| (v - mean) * (0.5 - 0.5 * (TAU * (i as f64 + 0.5) / n).cos()))
        .collect()
}

/// Mean square of the wave of this frequency in windowed samples: 2·|Σ w·x·e^(−jωn)|²/(Σw)².
fn line_power(windowed_samples: &[f64], frequency_hz: f64, rate_hz: f64) -> f64 {
    let (sin, cos) = (TAU * frequency_hz / rate_hz).sin_cos();
    // The turning phasor is multiplied on: over 10⁵ samples that loses 11 digits of 16 at most.
    let (mut re, mut im, mut c, mut s) = (0.0, 0.0, 1.0, 0.0);
    for &v in windowed_samples {
        re += v * c;
        im -= v * s;
        (c, s) = (c * cos - s * sin, s * cos + c * sin);
    }
    let half_sum = 0.5 * windowed_samples.len() as f64;
    2.0 * (re * re + im * im) / (half_sum * half_sum)
}

/// The finding.
pub(super) fn hum(name: &str, hum: &Hum) -> Finding {
    let lines = match hum.lines_hz.len() {
        1 => String::new(),
        n => format!(" ({n} lines up to {:.0} Hz)", hum.lines_hz[n - 1]),
    };
    Finding::new(
        Code::Hum,
        Severity::Note,
        format!(
            "mains hum of {:.1} Hz at {:.0} dBFS is in the recording{lines}",
            hum.mains_hz, hum.level_dbfs
        ),
        "nothing has to be done; leads further from mains transformers and power supplies hum less",
    )
    .with_evidence(hum.mains_hz, "Hz", None)
    .about(name)
}
