//! Several takes of one condition become one curve.

use num_complex::Complex64;

use super::ImpedanceCurve;
use crate::jig::CalibrationNoise;
use crate::quantity::{Covariance2, FrequencyGrid};

/// Two takes' points belong together if their frequencies agree this well; takes on shared bands agree exactly.
const SAME_FREQUENCY: f64 = 1e-9;
/// Stretch over which disagreement is judged, as a ratio to either side: a sixth of an octave. A single band is too
/// few numbers to judge by.
const HALF_STRETCH: f64 = 1.122_462_048_309_373;

/// A mean curve and how far its members scatter.
#[derive(Clone, Debug, PartialEq)]
pub struct Combined {
    /// Mean, weighted by covariance. Where the members scatter more than their noise explains, the covariance is
    /// widened by as much (the Birge ratio, Phys. Rev. 40, 1932, 207; from memory).
    pub curve: ImpedanceCurve,
    /// Scatter over what noise explains, as a variance, over all points; `None` for a single member.
    pub spread: Option<f64>,
}

/// A point gathered from the members.
struct Gathered {
    frequency_hz: f64,
    mean: Complex64,
    covariance: Covariance2,
    /// Σ|z − mean|² over variance, and its degrees of freedom.
    chi2: f64,
    freedom: f64,
}

/// Combines takes made on one jig: each with its own covariance, which averages out, and with what it shares with the others (the noise of
/// the calibration takes), which does not. `n_conditions` curves are to be fitted together that share it, so that each point gets it as
/// many times: no circuit then follows it, see `docs/jig.md`. Beside the mean stands what it holds of that noise. `None` without any curve.
pub fn combine_on_one_jig(
    members: &[(ImpedanceCurve, CalibrationNoise)],
    n_conditions: usize,
) -> Option<(Combined, CalibrationNoise)> {
    let own: Vec<ImpedanceCurve> = members.iter().map(|(curve, _)| curve.clone()).collect();
    let mut combined = combine(&own)?;
    let noises: Vec<&CalibrationNoise> = members.iter().map(|(_, noise)| noise).collect();
    let f_hz = combined.curve.frequency_hz();
    let noise = CalibrationNoise::gathered(&noises, f_hz, n_conditions as f64);
    if let Some(own) = combined.curve.covariance() {
        let points = own.iter().zip(f_hz);
        let all = points.map(|(own, &f_hz)| own.plus(&noise.covariance_at(f_hz)));
        combined.curve = combined.curve.with_covariance(all.collect());
    }
    Some((combined, noise))
}

/// Combines curves by their covariances; curves without covariance count alike. `None` without any curve.
pub fn combine(curves: &[ImpedanceCurve]) -> Option<Combined> {
    let (first, rest) = curves.split_first()?;
    if rest.is_empty() {
        return Some(Combined {
            curve: first.clone(),
            spread: None,
        });
    }
    let known = curves.iter().all(|curve| curve.covariance().is_some());
    let mut points: Vec<(f64, Complex64, Covariance2)> = vec![];
    for curve in curves {
        for (i, (&f, &z)) in curve.frequency_hz().iter().zip(curve.z_ohm()).enumerate() {
            let stated = curve.covariance().filter(|_| known).map(|list| list[i]);
            points.push((f, z, stated.unwrap_or(Covariance2::circular(z.norm_sqr()))));
        }
    }
    points.sort_by(|a, b| a.0.total_cmp(&b.0));
    let groups = points.chunk_by(|a, b| b.0 - a.0 <= SAME_FREQUENCY * a.0);
    let gathered: Vec<Gathered> = groups.map(gather).collect();
    let factors = widening(&gathered);
    let covariance = known.then(|| {
        gathered
            .iter()
            .zip(&factors)
            .map(|(point, &factor)| point.covariance.scaled(factor))
            .collect()
    });
    let frequency =
        FrequencyGrid::new(gathered.iter().map(|point| point.frequency_hz).collect()).ok()?;
    let curve = ImpedanceCurve::new(
        frequency,
        gathered.iter().map(|point| point.mean).collect(),
        covariance,
    )?;
    let (chi2, freedom) = gathered
        .iter()
        .fold((0.0, 0.0), |sum, p| (sum.0 + p.chi2, sum.1 + p.freedom));
    Some(Combined {
        curve,
        spread: (known && freedom > 0.0).then(|| chi2 / freedom),
    })
}

fn gather(group: &[(f64, Complex64, Covariance2)]) -> Gathered {
    let weight = |covariance: &Covariance2| 2.0 / covariance.trace();
    let total: f64 = group.iter().map(|point| weight(&point.2)).sum();
    let mean = group
        .iter()
        .map(|point| point.1 * weight(&point.2))
        .sum::<Complex64>()
        / total;
    let mut covariance = Covariance2::default();
    let mut chi2 = 0.0;
    for (_, z, own) in group {
        let part = weight(own) / total;
        covariance = covariance.plus(&own.scaled(part * part));
        chi2 += (z - mean).norm_sqr() * weight(own);
    }
    let freedom = 2.0 * (group.len() - 1) as f64;
    Gathered {
        frequency_hz: group[0].0,
        mean,
        covariance,
        chi2,
        freedom,
    }
}

/// Variance factors, at least 1, from the scatter around each point.
fn widening(gathered: &[Gathered]) -> Vec<f64> {
    let frequency = |i: usize| gathered[i].frequency_hz;
    (0..gathered.len())
        .map(|i| {
            let low =
                gathered.partition_point(|point| point.frequency_hz < frequency(i) / HALF_STRETCH);
            let high =
                gathered.partition_point(|point| point.frequency_hz <= frequency(i) * HALF_STRETCH);
            let (chi2, freedom) = gathered[low..high]
                .iter()
                .fold((0.0, 0.0), |sum, p| (sum.0 + p.chi2, sum.1 + p.freedom));
            let factor = chi2 / freedom;
            if factor > 1.0 { factor } else { 1.0 }
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn curve(offset: f64, variance: f64) -> ImpedanceCurve {
        let grid = FrequencyGrid::logarithmic(10.0, 100.0, 20).unwrap();
        let z = grid
            .as_slice()
            .iter()
            .map(|f| Complex64::new(5.0 + offset, f / 10.0))
            .collect();
        ImpedanceCurve::new(grid, z, Some(vec![Covariance2::circular(variance); 20])).unwrap()
    }

    #[test]
    fn a_surer_curve_weighs_more_and_agreement_is_not_widened() {
        const ROUNDING: f64 = 1e-12;
        let both = combine(&[curve(0.0, 1.0), curve(0.5, 0.25)]).unwrap();
        assert!(
            (both.curve.z_ohm()[3].re - 5.4).abs() < ROUNDING,
            "(1·5.0 + 4·5.5)/5"
        );
        assert!((both.curve.covariance().unwrap()[3].re_re - 0.2).abs() < ROUNDING);
        // Real parts differ by 0.5: Σ = 0.4²·1 + 0.1²·4 = 0.2 over two degrees of freedom.
        assert!((both.spread.unwrap() - 0.1).abs() < ROUNDING);
    }

    #[test]
    fn what_takes_share_does_not_average_out() {
        const ROUNDING: f64 = 1e-12;
        let member = |offset| {
            let curve = curve(offset, 1.0);
            let noise = CalibrationNoise::circular(curve.frequency_hz(), 4.0);
            (curve, noise)
        };
        let (both, noise) = combine_on_one_jig(&[member(0.0), member(0.1)], 3).unwrap();
        let got = both.curve.covariance().unwrap()[5].re_re;
        let f_hz = both.curve.frequency_hz()[5];
        assert!((noise.covariance_at(f_hz).re_re - 12.0).abs() < ROUNDING);
        assert!((got - (0.5 + 3.0 * 4.0)).abs() < ROUNDING, "{got}");
    }

    #[test]
    fn disagreement_widens() {
        let both = combine(&[curve(0.0, 1e-4), curve(0.5, 1e-4)]).unwrap();
        let expected = 2.0 * 0.25 * 0.25 / 1e-4 / 2.0;
        const ROUNDING: f64 = 1e-9;
        assert!((both.spread.unwrap() / expected - 1.0).abs() < ROUNDING);
        assert!(
            (both.curve.covariance().unwrap()[7].re_re / (0.5e-4 * expected) - 1.0).abs()
                < ROUNDING
        );
    }
}
