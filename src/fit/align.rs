//! Takes of one condition whose resonances moved between them, moved to where they are on average.
//!
//! A resonance of Qms 15 that moves by 2 % changes the impedance near its top by half. The mean of such curves is flatter than each of
//! them and no driver's, and its fit has too low a Qms. Differences that a resonance explains are therefore taken out first, (F8).

use num_complex::Complex64;

use super::glance::{Resonance, resonance};
use crate::impedance::{ImpedanceCurve, combine, combine_on_one_jig};
use crate::jig::CalibrationNoise;

/// Scatter of the takes over their noise, as a variance, from which a resonance has moved: below, what the glance errs by is more than
/// what alignment mends, and the noise is all there is. A resonance of Qms 5 that moves by 0.1 % gives a hundred at 60 dB.
const MOVED: f64 = 30.0;

/// One curve of a condition's takes: the mean of the takes with their resonances aligned, (F8), as unsure as the takes differ without that;
/// and the noise of the calibration takes in it. `None` without any curve.
///
/// The members are what [`combine_on_one_jig`] takes.
pub fn mean_curve(
    members: &[(ImpedanceCurve, CalibrationNoise)],
    n_conditions: usize,
) -> Option<(ImpedanceCurve, CalibrationNoise)> {
    let (combined, noise) = combine_on_one_jig(members, n_conditions)?;
    let apart = combined.curve;
    if combined.spread.is_none_or(|spread| spread < MOVED) {
        return Some((apart, noise));
    }
    let curves: Vec<ImpedanceCurve> = members.iter().map(|(curve, _)| curve.clone()).collect();
    let together = combine(&aligned(&curves))?.curve;
    Some((apart.with_impedances(together.z_ohm().to_vec()), noise))
}

/// The curves with their resonances where they are on average: geometric means of fs, Qms and the peak's height. Covariances stay. The
/// curves as they are if one shows no resonance or there is nothing to align.
///
/// Errors of the glance at each curve cancel to first order in the mean of the curves, and so does what it overlooks in all of them alike.
fn aligned(curves: &[ImpedanceCurve]) -> Vec<ImpedanceCurve> {
    let seen: Option<Vec<Resonance>> = curves.iter().map(resonance).collect();
    let Some(seen) = seen.filter(|seen| seen.len() > 1) else {
        return curves.to_vec();
    };
    let own: Vec<Motional> = seen.iter().map(Motional::of).collect();
    let mean = |of: fn(&Motional) -> f64| {
        let sum: f64 = own.iter().map(|m| of(m).ln()).sum();
        (sum / own.len() as f64).exp()
    };
    let middle = Motional {
        fs_hz: mean(|m| m.fs_hz),
        qms: mean(|m| m.qms),
        res_ohm: mean(|m| m.res_ohm),
    };
    let moved = |(curve, own): (&ImpedanceCurve, &Motional)| {
        let points = curve.frequency_hz().iter().zip(curve.z_ohm());
        let z_ohm = points.map(|(&f, z)| z - own.ohm(f) + middle.ohm(f));
        curve.with_impedances(z_ohm.collect())
    };
    curves.iter().zip(&own).map(moved).collect()
}

/// The motional branch of a driver.
struct Motional {
    fs_hz: f64,
    qms: f64,
    res_ohm: f64,
}

impl Motional {
    fn of(seen: &Resonance) -> Self {
        Self {
            fs_hz: seen.fs_hz,
            qms: seen.qms,
            res_ohm: seen.re_ohm * (seen.r0 - 1.0),
        }
    }

    fn ohm(&self, f_hz: f64) -> Complex64 {
        let x = f_hz / self.fs_hz;
        self.res_ohm / Complex64::new(1.0, self.qms * (x - 1.0 / x))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::FrequencyGrid;

    fn curve(fs_hz: f64, qms: f64) -> ImpedanceCurve {
        let motional = Motional {
            fs_hz,
            qms,
            res_ohm: 60.0,
        };
        let grid = FrequencyGrid::logarithmic(10.0, 2_000.0, 900).unwrap();
        let f_hz = grid.as_slice().iter();
        let z_ohm = f_hz.map(|&f| Complex64::new(6.0, 0.005 * f) + motional.ohm(f));
        ImpedanceCurve::new(grid.clone(), z_ohm.collect(), None).unwrap()
    }

    /// Largest difference of two curves near the peak over the peak's height.
    fn apart(a: &ImpedanceCurve, b: &ImpedanceCurve) -> f64 {
        let pairs = a.z_ohm().iter().zip(b.z_ohm());
        pairs
            .map(|(a, b)| (a - b).norm() / 60.0)
            .max_by(f64::total_cmp)
            .unwrap()
    }

    #[test]
    fn moved_takes_come_together_at_the_mean() {
        let takes = [curve(49.0, 12.0), curve(50.0, 12.5), curve(51.5, 11.5)];
        let mean_fs = (49.0_f64 * 50.0 * 51.5).cbrt();
        let mean_qms = (12.0_f64 * 12.5 * 11.5).cbrt();
        let truth = curve(mean_fs, mean_qms);
        let mean = |curves: &[ImpedanceCurve]| combine(curves).unwrap().curve;
        let before = apart(&mean(&takes), &truth);
        let after = apart(&mean(&aligned(&takes)), &truth);
        assert!(before > 0.1, "{before}");
        // A glance at these has Qms and the height 2 % too low, and so takes out all but an eighth.
        assert!(after < before / 5.0, "{after}");
    }

    #[test]
    fn alike_or_alone_nothing_moves() {
        let takes = [curve(50.0, 10.0), curve(50.0, 10.0)];
        for (before, after) in takes.iter().zip(aligned(&takes)) {
            // Rounding.
            assert!(apart(before, &after) < 1e-12);
        }
        assert_eq!(aligned(&takes[..1]), takes[..1]);
    }
}
