//! A jig that is wired the other way shows R²/Z in place of Z: the resonance is a dip.

use super::shape::Shape;
use crate::finding::{Code, Finding, Severity};
use crate::impedance::ImpedanceCurve;

/// A dip and the hill behind it must stand out by this much, in ln |Z|: a tenth, as a resonance must.
const STANDS_OUT: f64 = 0.1;
/// The hill behind the dip is as high as the low end of the curve within this, in ln |Z|: both are R²/Re, and a stimulus that begins
/// at a fifth of the resonance sees up to half of it taken off.
const AS_HIGH: f64 = 0.7;
/// Points at the upper end that do not count as a hill.
const AT_THE_END: usize = 5;

/// What to do about a jig that is not wired as was said. What has no flag in it has to make sense without the rest.
pub const WRONG_WIRING_ADVICE: &str = "check that the clips sit as in the drawing: input 1 on the source node, input 2 between \
     resistor and driver, ground at the far end, and that the resistor's value is typed right; then make the takes again. Or keep \
     them and say how the jig is wired: --wiring across-driver if ground is at the driver's minus, --wiring across-resistor if it is \
     at the resistor's foot";

/// Whether the curve is that of a driver upside down: from the low end on first a dip, then a hill about as high as the low end, then
/// a fall where a coil would rise. A driver shows a peak first, and rises at the end.
pub(super) fn wrong_wiring(name: &str, curve: &ImpedanceCurve, shape: &Shape) -> Option<Finding> {
    let dip = shape.dip().filter(|dip| dip.rise > STANDS_OUT)?;
    let peak_first = shape
        .peak()
        .is_some_and(|peak| peak.rise > STANDS_OUT && peak.at < dip.at);
    let n = curve.n_points();
    let hill = shape.largest_from(dip.at)?;
    let same_height = (shape.at(hill) - shape.at(0)).abs() < AS_HIGH;
    let falls = shape.at(n - 1) < shape.at(hill) && hill + AT_THE_END < n;
    // Above the hill the coil turns the phase of R²/Z below zero, and a driver's own above.
    let phase = curve.z_ohm()[hill..].iter().map(|z| z.arg()).sum::<f64>();
    (!peak_first && same_height && falls && phase < 0.0).then(|| {
        Finding::new(
            Code::WrongWiring,
            Severity::Redo,
            format!(
                "the curve is upside down: it dips at {:.0} Hz, where a driver's resonance is a peak; the jig is wired the other way \
                 than was said",
                curve.frequency_hz()[dip.at]
            ),
            WRONG_WIRING_ADVICE,
        )
        .with_evidence(dip.rise.exp(), "1", Some(STANDS_OUT.exp()))
        .about(name)
    })
}
