//! How long the period is in the recording, (O3).

use num_complex::Complex64;

use super::comb::Comb;
use super::transform::Transform;

/// Furthest that two clocks may be apart: crystals are within 100 ppm, and what is further off was converted to another rate.
const FURTHEST: f64 = 300e-6;
/// Band that is looked at first, Hz: half a period of a clock that is 300 ppm off is then still near half a period, and a
/// resonance or hum weighs little.
const BAND_HZ: (f64, f64) = (200.0, 2_000.0);
/// How alike two periods have to be to be two of one signal: noise as strong as the signal leaves a half.
const ALIKE: f64 = 0.5;

/// The period in frames of the recording; `None` if nothing repeats with it.
pub(super) fn find(samples: &[f32], nominal: f64, sample_rate_hz: f64) -> Option<f64> {
    let comb = Comb::of(samples, nominal);
    let mut transform = Transform::new(nominal.round() as usize);
    let n = transform.len();
    let bin = |hz: f64| ((hz * n as f64 / sample_rate_hz) as usize).min(n / 2);
    let (first, last) = (bin(BAND_HZ.0), bin(BAND_HZ.1));
    let starts: Vec<usize> = (0..)
        .map(|i| i * n / 2)
        .take_while(|start| start + n <= comb.samples.len())
        .collect();
    let mut before: Vec<Vec<Complex64>> = vec![];
    let mut shifts = vec![];
    for start in starts {
        let bins = transform.of(comb.samples[start..start + n].iter().copied());
        let bins = bins[first..last].to_vec();
        if let Some(earlier) = before.len().checked_sub(2) {
            let reach = FURTHEST * nominal + 1.0;
            let rounded = nominal - n as f64;
            if let Some(shift) = shift(&before[earlier], &bins, first, n, reach) {
                shifts.push(shift - rounded);
            }
        }
        before.push(bins);
    }
    let middle = shifts.len() / 2;
    if shifts.is_empty() {
        return None;
    }
    let (_, median, _) = shifts.select_nth_unstable_by(middle, f64::total_cmp);
    Some(nominal + *median)
}

/// By how many frames the later stretch is behind the earlier; `None` if they are not alike.
fn shift(
    earlier: &[Complex64],
    later: &[Complex64],
    first: usize,
    n: usize,
    reach: f64,
) -> Option<f64> {
    // Weights proportional to frequency make pink lines count alike.
    let cross: Vec<(f64, Complex64)> = earlier
        .iter()
        .zip(later)
        .enumerate()
        .map(|(i, (a, b))| {
            let k = (first + i) as f64;
            (k, b * a.conj() * k)
        })
        .collect();
    let power = |bins: &[Complex64]| -> f64 {
        let weighted = bins.iter().enumerate();
        weighted
            .map(|(i, bin)| (first + i) as f64 * bin.norm_sqr())
            .sum()
    };
    let all = (power(earlier) * power(later)).sqrt();
    let turn = std::f64::consts::TAU / n as f64;
    let at = |shift: f64| -> Complex64 {
        cross
            .iter()
            .map(|(k, c)| c * Complex64::from_polar(1.0, turn * k * shift))
            .sum()
    };
    // Steps of a frame: a twelfth of the narrowest wave.
    let steps = reach.ceil() as i32;
    let (mut best, value) = (-steps..=steps)
        .map(|step| (f64::from(step), at(f64::from(step)).re))
        .max_by(|a, b| a.1.total_cmp(&b.1))?;
    let alike = value > ALIKE * all;
    if !alike {
        return None;
    }
    for _ in 0..3 {
        let (mut slope, mut weight) = (0.0, 0.0);
        for (k, c) in &cross {
            let turned = c * Complex64::from_polar(1.0, turn * k * best);
            slope += turn * k * turned.im;
            weight += (turn * k).powi(2) * turned.re;
        }
        if weight > 0.0 {
            best -= slope / weight;
        }
    }
    Some(best)
}
