//! More than one resonance: what a driver in a box with a port shows, and none in free air.

use crate::impedance::ImpedanceCurve;

/// Half the stretch over which the curve is smoothed, as a frequency ratio: a twenty-fourth of an octave. Narrower peaks are loops.
const HALF_STRETCH: f64 = 1.029_302_236_643_492;
/// Highest second peak, Hz: what looks like one above is the coil's or noise.
const HIGHEST_HZ: f64 = 4_000.0;
/// Standard uncertainties that a peak has to rise by.
const COVERAGE: f64 = 6.0;

/// A peak that is so many times narrower than the driver's own is a loop of something that rides on the cone, and no second resonance
/// of it: those of a box are about as broad as each other.
const NARROWER: f64 = 3.0;

/// A second peak of |Z|.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SecondPeak {
    /// The peaks, the higher first, Hz.
    pub peaks_hz: (f64, f64),
    /// How far the lower one rises above the dip between them, over how far the higher one rises above the lowest point.
    pub share: f64,
}

/// The most prominent peak beside the highest; `None` if there is none that noise could not make.
pub fn second_peak(curve: &ImpedanceCurve) -> Option<SecondPeak> {
    let f_hz = curve.frequency_hz();
    let near = f_hz.partition_point(|&f| f < HIGHEST_HZ);
    let (height, doubt) = smoothed(curve, near);
    // The coil makes the curve rise without end; a resonance comes down again before.
    let peaks = (1..near.saturating_sub(1))
        .filter(|&i| height[i] >= height[i - 1] && height[i] > height[i + 1]);
    let lowest =
        |range: std::ops::Range<usize>| height[range].iter().copied().min_by(f64::total_cmp);
    // A peak's rise is above the higher of the two dips that part it from higher ground or the curve's end.
    let rise = |i: usize| {
        let left = (0..i).rev().find(|&j| height[j] > height[i]);
        let right = (i + 1..near).find(|&j| height[j] > height[i]);
        let before = lowest(left.unwrap_or(0)..i)?;
        let after = lowest(i + 1..right.unwrap_or(near - 1) + 1)?;
        let dip = if before > after { before } else { after };
        Some((i, height[i] - dip))
    };
    let mut risen: Vec<(usize, f64)> = peaks
        .filter_map(rise)
        .filter(|(i, rise)| *rise > COVERAGE * doubt[*i])
        .collect();
    risen.sort_by(|a, b| b.1.total_cmp(&a.1));
    let (first, second) = (risen.first()?, risen.get(1)?);
    // Between the places where the peak has come down by half its rise, as a logarithm of frequency.
    let width = |(i, rise): &(usize, f64)| {
        let down = |j: &usize| height[*j] < height[*i] - 0.5 * rise;
        let below = (0..*i).rev().find(down).unwrap_or(0);
        let above = (*i..near).find(down).unwrap_or(near - 1);
        (f_hz[above] / f_hz[below]).ln()
    };
    if NARROWER * width(second) < width(first) {
        return None;
    }
    Some(SecondPeak {
        peaks_hz: (f_hz[first.0], f_hz[second.0]),
        share: second.1 / first.1,
    })
}

/// |Z| over short stretches, and its standard uncertainty.
fn smoothed(curve: &ImpedanceCurve, n: usize) -> (Vec<f64>, Vec<f64>) {
    let f_hz = curve.frequency_hz();
    (0..n)
        .map(|i| {
            let first = f_hz.partition_point(|&f| f < f_hz[i] / HALF_STRETCH);
            let last = f_hz.partition_point(|&f| f <= f_hz[i] * HALF_STRETCH);
            let (mut near, count): (Vec<f64>, _) = (
                curve.z_ohm()[first..last]
                    .iter()
                    .map(|z| z.norm())
                    .collect(),
                (last - first) as f64,
            );
            // The median, which hum cannot move.
            let middle = near.len() / 2;
            let (_, &mut median, _) = near.select_nth_unstable_by(middle, f64::total_cmp);
            let variance = curve.covariance().map_or(0.0, |list| {
                list[first..last]
                    .iter()
                    .map(|c| 0.5 * c.trace())
                    .sum::<f64>()
                    / count
            });
            (
                median,
                (std::f64::consts::FRAC_PI_2 * variance / count).sqrt(),
            )
        })
        .unzip()
}
