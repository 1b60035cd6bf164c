//! The noise floor beside what sounds, moment by moment: what lies under and between, away from the strongest wave and its harmonics.

use std::ops::Range;

use realfft::RealFftPlanner;

/// Length of a frame, s: at least this, and a power of two.
const FRAME_S: f64 = 0.035;
/// Shape of the Kaiser window: side lobes 150 dB down, below what 24 bits hold, with a main lobe of 7 bins to either side.
const KAISER: f64 = 20.0;
/// Share of the power that the strongest wave has to hold: noise and multisines leave no room for a floor between their waves.
const ALONE: f64 = 0.8;
/// Bands, and how far they reach: above 0.43 of the rate converters' filters take the noise, and above 19.5 kHz some shape it.
const N_BANDS: usize = 24;
const TOP_SHARE: f64 = 0.43;
const TOP_HZ: f64 = 19_500.0;
/// Lowest band begins here, Hz.
const LOW_HZ: f64 = 120.0;
/// Bins to either side of the strongest that belong to it, besides what a sweep moves on within two frames.
const OWN_BINS: usize = 10;
/// Harmonics that are left out.
const N_HARMONICS: usize = 10;
/// Between these frequencies the strongest wave may lie, Hz and share of the rate: below, its harmonics fill the bands.
const RIDGE_FROM_HZ: f64 = 400.0;
const RIDGE_TO: f64 = 0.4;
/// Bins that a band has to hold before its median is one.
const FEWEST_BINS: usize = 12;
/// What counts as near: from 0.7 to 1.4 of the frequency.
const NEAR: (f64, f64) = (0.7, 1.4);

/// Frames under the stimulus that are looked at, about: enough for medians over parts of it.
const MOST_SOUNDING: usize = 120;

/// One moment.
#[derive(Clone, Debug, PartialEq)]
pub struct FloorFrame {
    /// First frame of the recording in it.
    pub start: usize,
    /// How many.
    pub n_frames: usize,
    /// Frequency of the strongest wave in the source channel, Hz; `None` outside the sounding part.
    pub strongest_hz: Option<f64>,
    /// Noise close to that wave, source and driver, as the variance of white noise of this density; `None` where it cannot be told.
    pub near: [Option<f64>; 2],
    /// The same of each band; `None` where the wave or its harmonics fill it.
    pub bands: [Vec<Option<f64>>; 2],
}

/// The noise floor of a recording.
///
/// Floors are medians over bins, so that single lines do not count, as the variance (full scale squared) that white noise of the
/// same density would have. Bands are equally wide, from 120 Hz to 0.43 of the rate or 19.5 kHz.
pub fn noise_floor(
    source: &[f32],
    driver: &[f32],
    sample_rate_hz: f64,
    sounding: &Range<usize>,
) -> Vec<FloorFrame> {
    let mut size = 256;
    while (size as f64) < FRAME_S * sample_rate_hz {
        size *= 2;
    }
    let hop = size / 2;
    if source.len() < size {
        return vec![];
    }
    let window = kaiser(size);
    let norm: f64 = window.iter().map(|w| w * w).sum();
    let plan = RealFftPlanner::<f64>::new().plan_fft_forward(size);
    let (mut time, mut scratch, mut spectrum) = (
        vec![0.0; size],
        plan.make_scratch_vec(),
        plan.make_output_vec(),
    );
    let mut power = |samples: &[f32]| -> Vec<f64> {
        for ((slot, &v), w) in time.iter_mut().zip(samples).zip(&window) {
            *slot = f64::from(v) * w;
        }
        let done = plan.process_with_scratch(&mut time, &mut spectrum, &mut scratch);
        debug_assert!(done.is_ok(), "buffers come from the plan: {done:?}");
        spectrum.iter().map(|x| x.norm_sqr() / norm).collect()
    };
    let bin_hz = sample_rate_hz / size as f64;
    let strongest = |spectrum: &[f64]| {
        let from = (20.0 / bin_hz).ceil() as usize;
        spectrum
            .iter()
            .enumerate()
            .skip(from)
            .max_by(|a, b| a.1.total_cmp(b.1))
            .map_or(0, |(bin, _)| bin)
    };
    let n_steps = (source.len() - size) / hop + 1;
    let sounds = |start: usize| start + size > sounding.start && start < sounding.end;
    // Silences are looked at frame by frame, the stimulus only as often as it takes.
    let n_sounding = (0..n_steps).filter(|i| sounds(i * hop)).count();
    let stride = (n_sounding / MOST_SOUNDING).max(1);
    let starts: Vec<usize> = (0..n_steps)
        .filter(|i| i.is_multiple_of(stride) || !sounds(i * hop))
        .map(|i| i * hop)
        .collect();
    let spectra: Vec<[Vec<f64>; 2]> = starts
        .iter()
        .map(|&start| [source, driver].map(|channel| power(&channel[start..start + size])))
        .collect();
    let ridges: Vec<usize> = spectra.iter().map(|pair| strongest(&pair[0])).collect();
    starts
        .iter()
        .enumerate()
        .map(|(i, &start)| {
            let quiet = !sounds(start);
            let (last, next) = (i.saturating_sub(1), (i + 1).min(ridges.len() - 1));
            let hops = ((starts[next] - starts[last]) / hop).max(1);
            // By how much it moves on within two hops.
            let moves = (2 * ridges[last].abs_diff(ridges[next])).div_ceil(hops.max(2));
            let own = Own::new(
                if quiet { None } else { Some(ridges[i]) },
                OWN_BINS + moves,
                &spectra[i][0],
                bin_hz,
                sample_rate_hz,
            );
            FloorFrame {
                start,
                n_frames: size,
                strongest_hz: own.bin.map(|bin| bin as f64 * bin_hz),
                near: [0, 1].map(|c: usize| own.near(&spectra[i][c], bin_hz, sample_rate_hz)),
                bands: [0, 1].map(|c: usize| own.bands(&spectra[i][c], bin_hz, sample_rate_hz)),
            }
        })
        .collect()
}

/// Bins that belong to the strongest wave.
struct Own {
    bin: Option<usize>,
    reach: usize,
    /// Whether anything but the wave can be told at all.
    tellable: bool,
    /// Bins of the wave and of its harmonics.
    mask: Vec<bool>,
}

impl Own {
    fn new(bin: Option<usize>, reach: usize, source: &[f64], bin_hz: f64, rate_hz: f64) -> Self {
        let mut mask = vec![false; source.len()];
        let tellable = bin.is_none_or(|bin| {
            let own_power: f64 = source[bin.saturating_sub(reach)..]
                .iter()
                .take(2 * reach + 1)
                .sum();
            own_power > ALONE * source.iter().sum::<f64>()
                && (RIDGE_FROM_HZ..RIDGE_TO * rate_hz).contains(&(bin as f64 * bin_hz))
        });
        if let Some(bin) = bin.filter(|_| tellable) {
            for m in 1..=N_HARMONICS {
                let reach = (reach as f64 * (m as f64).sqrt()) as usize;
                let end = (m * bin + reach + 1).min(mask.len());
                mask[(m * bin).saturating_sub(reach).min(end)..end].fill(true);
            }
        }
        Self {
            bin,
            reach,
            tellable,
            mask,
        }
    }

    fn near(&self, spectrum: &[f64], bin_hz: f64, rate_hz: f64) -> Option<f64> {
        let bin = self.bin.filter(|_| self.tellable)?;
        let from = (NEAR.0 * bin as f64) as usize;
        let to = ((NEAR.1 * bin as f64) as usize).min((TOP_SHARE * rate_hz / bin_hz) as usize);
        let mut bins: Vec<f64> = (from.max(4)..to)
            .filter(|k| k.abs_diff(bin) > self.reach)
            .map(|k| spectrum[k])
            .collect();
        floor_of(&mut bins)
    }

    fn bands(&self, spectrum: &[f64], bin_hz: f64, rate_hz: f64) -> Vec<Option<f64>> {
        if !self.tellable {
            return vec![None; N_BANDS];
        }
        let top_hz = if TOP_SHARE * rate_hz < TOP_HZ {
            TOP_SHARE * rate_hz
        } else {
            TOP_HZ
        };
        let edge =
            |i: usize| ((LOW_HZ + (top_hz - LOW_HZ) * i as f64 / N_BANDS as f64) / bin_hz) as usize;
        (0..N_BANDS)
            .map(|i| {
                let mut bins: Vec<f64> = (edge(i)..edge(i + 1))
                    .filter(|&k| !self.mask[k])
                    .map(|k| spectrum[k])
                    .collect();
                floor_of(&mut bins)
            })
            .collect()
    }
}

/// The mean that exponentially distributed powers with this median have.
fn floor_of(bins: &mut [f64]) -> Option<f64> {
    if bins.len() < FEWEST_BINS {
        return None;
    }
    let middle = bins.len() / 2;
    let (_, median, _) = bins.select_nth_unstable_by(middle, f64::total_cmp);
    Some(*median / std::f64::consts::LN_2)
}

/// Kaiser's window (from memory): I0(β·√(1 − x²))/I0(β), x from −1 to 1.
pub(super) fn kaiser(n: usize) -> Vec<f64> {
    let scale = bessel_i0(KAISER);
    (0..n)
        .map(|i| {
            let x = 2.0 * (i as f64 + 0.5) / n as f64 - 1.0;
            bessel_i0(KAISER * (1.0 - x * x).sqrt()) / scale
        })
        .collect()
}

/// Modified Bessel function of order 0: Σ (x²/4)^k/(k!)².
fn bessel_i0(x: f64) -> f64 {
    let quarter = 0.25 * x * x;
    let (mut term, mut sum, mut k) = (1.0, 1.0, 1.0);
    while term > f64::EPSILON * sum {
        term *= quarter / (k * k);
        sum += term;
        k += 1.0;
    }
    sum
}

#[cfg(test)]
mod tests {
    use super::*;

    /// I0(1) = 1.2660658778, I0(20) = 4.3558282560e7 (Abramowitz and Stegun, table 9.8, as recomputed in Python).
    #[test]
    fn bessel() {
        const ROUNDING: f64 = 1e-9;
        assert!((bessel_i0(1.0) / 1.266_065_877_8 - 1.0).abs() < ROUNDING);
        assert!((bessel_i0(20.0) / 4.355_828_256_0e7 - 1.0).abs() < ROUNDING);
    }

    /// A wave of −6 dBFS over noise of −100 dBFS: the floor is the noise, beside the wave and far from it.
    #[test]
    fn a_loud_wave_does_not_leak() {
        let rate_hz = 48_000.0;
        let mut state = 1_u64;
        let mut noise = || {
            // The sum of twelve uniform numbers has variance 1.
            let sum: f64 = (0..12)
                .map(|_| {
                    state = state
                        .wrapping_mul(6_364_136_223_846_793_005)
                        .wrapping_add(1);
                    (state >> 11) as f64 / (1_u64 << 53) as f64
                })
                .sum();
            1e-5 * (sum - 6.0)
        };
        let samples: Vec<f32> = (0..48_000)
            .map(|i| (0.5 * (0.2 * f64::from(i)).sin() + noise()) as f32)
            .collect();
        let frames = noise_floor(&samples, &samples, rate_hz, &(0..48_000));
        let mean = |values: Vec<f64>| values.iter().sum::<f64>() / values.len() as f64;
        let near = mean(frames.iter().filter_map(|frame| frame.near[0]).collect());
        let far = mean(
            frames
                .iter()
                .filter_map(|frame| frame.bands[0][20])
                .collect(),
        );
        // Of some hundred frames with a few bins each beside the wave.
        const STATISTICAL: f64 = 0.2;
        assert!((near / 1e-10 - 1.0).abs() < STATISTICAL, "{near:e}");
        assert!((far / 1e-10 - 1.0).abs() < STATISTICAL, "{far:e}");
    }
}
