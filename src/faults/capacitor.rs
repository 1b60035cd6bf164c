//! A capacitor in series with the driver: towards low frequencies the impedance rises without end.

use std::f64::consts::{LN_2, TAU};

use crate::finding::{Code, Finding, Severity};
use crate::impedance::ImpedanceCurve;

/// The capacitor's reactance at the low end is this many times the lowest |Z|: a driver that starts above its resonance
/// falls by no more than Re/Qes from twice the resonance on, three times Re at a Qes of a third.
const REACTANCE: f64 = 3.0;
/// Over the lowest octave the reactance falls as 1/f within this share, wild points aside; near a resonance it falls faster.
const STEADY: f64 = 0.25;
/// Over it the reactance is larger than the resistance by this factor.
const REACTIVE: f64 = 2.0;

pub(super) fn series_capacitor(name: &str, curve: &ImpedanceCurve) -> Option<Finding> {
    let (f_hz, z_ohm) = (curve.frequency_hz(), curve.z_ohm());
    let n = f_hz.partition_point(|f| (f / f_hz[0]).ln() < LN_2);
    let lowest = z_ohm.iter().map(|z| z.norm()).min_by(f64::total_cmp)?;
    let mut farad: Vec<f64> = f_hz[..n]
        .iter()
        .zip(z_ohm)
        .map(|(f, z)| -1.0 / (TAU * f * z.im))
        .collect();
    let wild = n / 10;
    let resistive = z_ohm[..n].iter().filter(|z| -z.im < REACTIVE * z.re);
    let reactive = resistive.count() <= wild;
    let large = -z_ohm[0].im > REACTANCE * lowest;
    farad.sort_by(f64::total_cmp);
    let (first, middle, last) = (farad[wild], farad[n / 2], farad[n - 1 - wild]);
    let steady = last - first < STEADY * middle;
    (reactive && large && steady && middle > 0.0).then(|| {
        Finding::new(
            Code::SeriesCapacitor,
            Severity::Redo,
            format!(
                "towards low frequencies the impedance rises like that of a capacitor of {:.1} µF: a capacitor or a crossover is \
                 still in the path",
                1e6 * middle
            ),
            "clip directly to the driver's own terminals, behind capacitor and crossover, and unsolder one lead of whatever is \
             still connected to them",
        )
        .with_evidence(-z_ohm[0].im / lowest, "1", Some(REACTANCE))
        .about(name)
    })
}
