//! What an impedance curve shows before a circuit is fitted to it.

use super::capacitor::series_capacitor;
use super::shape::Shape;
use super::wrong_wiring::wrong_wiring;
use crate::finding::{Code, Finding, Severity};
use crate::impedance::ImpedanceCurve;

/// No driver's impedance is above this in the middle of the curve; an open pair of leads is (common practice, no
/// source: headphone drivers reach 600 ohm).
const OPEN_OHM: f64 = 2000.0;
/// No driver's impedance is below this in the middle of the curve; touching clips are (common practice, no source: the lowest
/// rated are of 1 ohm, and clips and leads have less than 0.3 ohm).
const SHORTED_OHM: f64 = 0.3;
/// A curve that low is still a driver's, perhaps on a resistor typed wrong, if it has a resonance: ln |Z| of a tenth …
const RESONATES: f64 = 0.1;
/// … beyond this many standard uncertainties of ln |Z|: noise alone makes peaks of four, on some hundred points.
const BEYOND_NOISE: f64 = 8.0;

/// Findings about one driver curve; the first that explains it stands alone.
pub fn curve_findings(name: &str, curve: &ImpedanceCurve) -> Vec<Finding> {
    let mut magnitudes: Vec<f64> = curve.z_ohm().iter().map(|z| z.norm()).collect();
    let middle = magnitudes.len() / 2;
    let (_, median, _) = magnitudes.select_nth_unstable_by(middle, f64::total_cmp);
    let shape = Shape::of(curve);
    let found = open(name, *median)
        .or_else(|| series_capacitor(name, curve))
        .or_else(|| shorted(name, *median, curve, &shape))
        .or_else(|| wrong_wiring(name, curve, &shape));
    found.into_iter().collect()
}

fn open(name: &str, median_ohm: f64) -> Option<Finding> {
    (median_ohm > OPEN_OHM).then(|| {
        Finding::new(
            Code::DriverOpen,
            Severity::Redo,
            format!("the impedance is about {median_ohm:.0} ohm: no driver is connected"),
            "check both clips at the driver's terminals, then record again",
        )
        .with_evidence(median_ohm, "Ohm", Some(OPEN_OHM))
        .about(name)
    })
}

fn shorted(name: &str, median_ohm: f64, curve: &ImpedanceCurve, shape: &Shape) -> Option<Finding> {
    let noise = curve.covariance().map_or(0.0, |list| {
        let mut noise: Vec<f64> = list.iter().map(|c| c.trace().sqrt()).collect();
        let middle = noise.len() / 2;
        let (_, median, _) = noise.select_nth_unstable_by(middle, f64::total_cmp);
        *median / median_ohm
    });
    let rise = RESONATES + BEYOND_NOISE * noise;
    let resonates = shape.peak().is_some_and(|peak| peak.rise > rise);
    (median_ohm < SHORTED_OHM && !resonates).then(|| {
        Finding::new(
            Code::DriverShorted,
            Severity::Redo,
            format!("the impedance is about {median_ohm:.2} ohm: the driver is shorted"),
            "look for touching clips or leads at the driver's terminals, then record again",
        )
        .with_evidence(median_ohm, "Ohm", Some(SHORTED_OHM))
        .about(name)
    })
}
