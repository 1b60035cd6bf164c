//! The meter's DC resistance against the fitted one.

use super::jig_findings::{nearest_resistor, sense_wrong};
use super::session::Session;
use crate::finding::{Code, Finding, Severity};
use crate::parameters::{Key, SmallSignal};

/// Meter and fit may differ by this many standard uncertainties of their difference …
const METER_COVERAGE: f64 = 3.0;
/// … and beyond this ratio something is plainly wrong: a resistor typed wrong, or another part in the driver's place.
const METER_WRONG: f64 = 1.2;
/// A cheap meter's half-width: 0.3 ohm and 1 % of the reading (common practice, no source).
const METER_HALF_WIDTH: (f64, f64) = (0.3, 0.01);
/// From this ratio on the sense resistor is taken to be another than was typed, where the inputs were not calibrated: knobs that
/// look alike do not differ by as much (common practice, no source).
const ANOTHER_RESISTOR: f64 = 1.5;

/// Whether a meter's reading agrees with the fitted DC resistance. `inputs_known`: a take has calibrated the inputs;
/// `sense_known`: a check resistor has shown that the sense resistor is what was typed.
pub(super) fn meter(
    session: &Session,
    result: &SmallSignal,
    inputs_known: bool,
    sense_known: bool,
) -> Option<Finding> {
    let meter = session.meter_re_ohm?;
    let re = result.get(Key::Re)?;
    let (meter, _) = meter.or_half_width(METER_HALF_WIDTH.0 + METER_HALF_WIDTH.1 * meter.value);
    let u = meter
        .standard_uncertainty()
        .unwrap_or(0.0)
        .hypot(re.standard_uncertainty.unwrap_or(0.0));
    let off = (re.value - meter.value).abs();
    let ratio = if re.value > meter.value {
        re.value / meter.value
    } else {
        meter.value / re.value
    };
    if off <= METER_COVERAGE * u {
        return None;
    }
    let limit = if inputs_known {
        METER_WRONG
    } else {
        ANOTHER_RESISTOR
    };
    if let Some(jig) = session.jig
        && !sense_known
        && ratio > limit
    {
        let fits_ohm = jig.sense_ohm.value * meter.value / re.value;
        return Some(sense_wrong(
            format!(
                "the meter reads {:.2} ohm, the takes say {:.2} ohm: a sense resistor of {} ohm would fit, {} ohm was typed",
                meter.value,
                re.value,
                nearest_resistor(fits_ohm),
                jig.sense_ohm.value
            ),
            ratio,
            limit,
        ));
    }
    let severity = if ratio > METER_WRONG {
        Severity::Redo
    } else {
        Severity::Caution
    };
    Some(
        Finding::new(
            Code::MeterDisagrees,
            severity,
            format!(
                "the meter reads {:.2} ohm, the takes say {:.2} ohm",
                meter.value, re.value
            ),
            "check the sense resistor's value and the wiring; short the meter's probes and take their reading off; \
             measure the driver cold",
        )
        .with_evidence(off, "Ohm", Some(METER_COVERAGE * u)),
    )
}
