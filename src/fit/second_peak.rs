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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bench::{ExtraResonance, Mounting, drivers};
    use crate::circuit::Circuit;
    use crate::quantity::FrequencyGrid;

    fn curve(number: usize, extra: Option<ExtraResonance>) -> ImpedanceCurve {
        let mut circuit = drivers()[number].circuit(&Mounting::FreeAir);
        if let Some(extra) = extra {
            circuit = circuit.with(extra);
        }
        let f_hz: Vec<f64> = (0..1200).map(|i| 8.0 * 1.006_f64.powi(i)).collect();
        let values = circuit.values();
        let z = f_hz
            .iter()
            .map(|&f| circuit.impedance(f, &values))
            .collect();
        ImpedanceCurve::new(FrequencyGrid::new(f_hz).unwrap(), z, None).unwrap()
    }

    #[test]
    fn what_rides_on_the_cone_is_no_second_resonance() {
        for (number, driver) in drivers().iter().enumerate() {
            for times in [2.5, 4.0] {
                let rider = ExtraResonance::Rider {
                    frequency_hz: times * driver.truth().fs_hz,
                    q: 20.0,
                    mass_ratio: 0.1,
                };
                let found = second_peak(&curve(number, Some(rider)));
                assert!(
                    found.is_none_or(|found| found.share < 0.15),
                    "{number} {found:?}"
                );
            }
        }
    }

    #[test]
    fn a_box_with_a_port_has_two_peaks_and_a_driver_one() {
        for number in 0..drivers().len() {
            assert_eq!(second_peak(&curve(number, None)), None, "{number}");
            let fs_hz = drivers()[number].truth().fs_hz;
            for (tuning, ql, stiffness_ratio) in [(1.0, 7.0, 1.5), (0.8, 10.0, 0.7)] {
                let port = ExtraResonance::VentedBox {
                    frequency_hz: tuning * fs_hz,
                    ql,
                    stiffness_ratio,
                };
                let found = second_peak(&curve(number, Some(port))).unwrap();
                println!("{number} {found:?}");
                assert!(found.share > 0.1);
            }
        }
    }
}
