//! What the calibration takes alone say about a jig, before a driver hangs on it.

use num_complex::Complex64;

use super::SessionError;
use super::curves::{Measured, measure};
use super::jig_findings::{Facts, jig_findings};
use super::session::{Condition, Session};
use super::typed::Which;
use super::typed::typed;
use super::typed_jig::MOVED_ASSUMED;
use crate::faults::curve_findings;
use crate::finding::{Code, Finding};
use crate::fit::Observation;
use crate::impedance::ImpedanceCurve;
use crate::jig::{Jig, Wiring};
use crate::progress::Unwatched;
use crate::quantity::Stated;
use crate::signal::ChannelRatio;

/// Where calibrations are judged, Hz: above the corners of AC couplings, below what cables do.
const JUDGED_HZ: (f64, f64) = (100.0, 5_000.0);
/// A known resistor as the jig reads it.
#[derive(Clone, Debug, PartialEq)]
pub struct CheckReading {
    /// Name of its takes.
    pub name: String,
    /// What it was said to be, ohm.
    pub stated_ohm: f64,
    /// What it reads, ohm.
    pub read_ohm: f64,
    /// By how much it may be off, relative: what resistors and jig explain.
    pub allowed: f64,
    /// Whether the channels are matched without it, by a same-node take or because one input is both. Else the check resistor
    /// calibrates them, and so reads right by itself.
    pub judged: bool,
    /// Whether one input heard both nodes.
    pub one_input: bool,
}

impl CheckReading {
    /// By how much it is off, relative.
    pub fn off(&self) -> f64 {
        self.read_ohm / self.stated_ohm - 1.0
    }

    /// Whether it reads what it should; `None` where nothing can tell.
    pub fn passes(&self) -> Option<bool> {
        self.judged.then(|| self.off().abs() <= self.allowed)
    }
}

/// What a check resistor may be off on a jig that is as described, relative, beyond what the resistors explain …
const CHECK_OFF: f64 = 0.02;
/// … which is this many standard uncertainties of the two: resistors of 5 % are no fault.
const CHECK_COVERAGE: f64 = 2.0;

fn allowed(check_ohm: Stated, sense_ohm: Option<Stated>, moved: f64) -> f64 {
    let doubt = |stated: Stated| stated.standard_uncertainty().unwrap_or(0.0) / stated.value;
    let resistors = doubt(check_ohm).hypot(sense_ohm.map_or(0.0, doubt));
    CHECK_OFF + CHECK_COVERAGE * resistors.hypot(moved)
}

/// What the load of one input that moves with its clip (O10) makes of a resistance, relative standard uncertainty: |dZ/Z| is
/// |dH/H|/(1 − H).
fn moved_doubt(jig: &Jig, check_ohm: f64) -> f64 {
    let beside_ohm = match jig.wiring {
        Wiring::AcrossDriver => jig.sense_ohm,
        Wiring::AcrossResistor => check_ohm,
    };
    let of_ratio = Stated::within(1.0, MOVED_ASSUMED).standard_uncertainty();
    of_ratio.unwrap_or(0.0) * (jig.sense_ohm + check_ohm) / beside_ohm
}

/// What the calibration takes say.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct JigReading {
    /// Channel 2 over channel 1 on one node; `None` without a same-node take.
    pub channels: Option<Complex64>,
    /// Loop resistance of the leads, ohm; `None` without a shorted-leads take.
    pub leads_ohm: Option<f64>,
    /// What stays connected when the leads are open, ohm; `None` without an open-leads take.
    pub load_ohm: Option<f64>,
    /// Whether a take calibrated the inputs against each other.
    pub inputs_known: bool,
    /// Check resistors, in order.
    pub checks: Vec<CheckReading>,
    /// What is wrong.
    pub findings: Vec<Finding>,
}

/// Reads the calibration takes of a session; takes of a driver are passed over.
///
/// # Errors
/// [`SessionError`] where the session contradicts itself.
pub fn read_jig(mut session: Session) -> Result<JigReading, SessionError> {
    session.takes.retain(|take| take.condition.is_calibration());
    let (air, _) = session.air.resolve()?;
    let mut findings = vec![];
    let measured = measure(&mut session, &mut findings, &mut Unwatched)?;
    let typed = typed(&session, &measured, &air, &mut vec![])?;
    let sense_ohm = session.jig.map(|jig| jig.sense_ohm);
    let mut reading = read(&measured, sense_ohm, &|which| typed.value(which), None);
    findings.append(&mut reading.findings);
    reading.findings = findings;
    Ok(reading)
}

pub(super) fn read(
    measured: &Measured,
    sense_ohm: Option<Stated>,
    value: &dyn Fn(Which) -> f64,
    driver: Option<&Observation>,
) -> JigReading {
    let mut reading = JigReading::default();
    let Some(wiring) = measured.wiring else {
        return reading;
    };
    let jig = measured.jig(wiring, value);
    let corrections = measured.corrections(value, false);
    let one_input = measured.one_input_s.is_some();
    let mut same_node = None;
    for (_, group, ratio) in measured.ratios() {
        if group.condition == Condition::SameNode {
            same_node = Some(ratio);
            reading.channels = middle(ratio, |_, h| h);
        }
    }
    let state = |f_hz| corrections.state(&jig, f_hz);
    let (mut short, mut open, mut by_check) = (None, None, None);
    let mut checks_ohm = vec![];
    for (i, group, ratio) in measured.ratios() {
        match group.condition {
            Condition::ShortedLeads => {
                short = Some(ratio);
                reading.leads_ohm = middle(ratio, |f_hz, _| state(f_hz).leads_ohm).map(|z| z.re);
            }
            Condition::OpenLeads => {
                open = Some(ratio);
                let stays = middle(ratio, |f_hz, _| state(f_hz).admittance_s);
                reading.load_ohm = stays.map(|y| 1.0 / y.re);
            }
            Condition::CheckResistor { ohm } => {
                checks_ohm.push(ohm.value);
                by_check = middle(ratio, |f_hz, _| state(f_hz).channels);
                let read = measured.check_readings(value);
                let read = read.into_iter().find(|(name, _)| *name == group.name);
                if let Some((name, read_ohm)) = read
                    && reading.checks.iter().all(|check| check.name != name)
                {
                    let stated_ohm = value(Which::Check(i));
                    let moved = match one_input {
                        true => moved_doubt(&jig, stated_ohm),
                        false => 0.0,
                    };
                    reading.checks.push(CheckReading {
                        name,
                        stated_ohm,
                        read_ohm,
                        allowed: allowed(ohm, sense_ohm, moved),
                        judged: one_input || reading.channels.is_some(),
                        one_input,
                    });
                }
            }
            _ => {}
        }
    }
    reading.inputs_known = reading.channels.is_some() || by_check.is_some();
    let facts = Facts {
        reading: &reading,
        jig,
        corrections: &corrections,
        same_node,
        short,
        open,
        checks_ohm,
        by_check,
        one_input,
        re_ohm: driver.and_then(|driver| lowest_ohm(&driver.curve)),
        upside_down: driver.map(|driver| {
            let found = curve_findings(&driver.name, &driver.curve);
            found
                .iter()
                .any(|finding| finding.code == Code::WrongWiring)
        }),
    };
    reading.findings = jig_findings(&facts);
    reading
}

/// About the DC resistance: the lowest tenth of the real parts.
fn lowest_ohm(curve: &ImpedanceCurve) -> Option<f64> {
    let mut real: Vec<f64> = curve.z_ohm().iter().map(|z| z.re).collect();
    let at = real.len() / 10;
    let (_, low, _) = real.select_nth_unstable_by(at, f64::total_cmp);
    (*low > 0.0).then_some(*low)
}

/// The median of a function of frequency and ratio over the judged band, real and imaginary part apart.
fn middle(ratio: &ChannelRatio, of: impl Fn(f64, Complex64) -> Complex64) -> Option<Complex64> {
    let part = |pick: fn(Complex64) -> f64| {
        settled(ratio, JUDGED_HZ, |f_hz, h| pick(of(f_hz, h))).map(|settled| settled.value)
    };
    Some(Complex64::new(part(|z| z.re)?, part(|z| z.im)?))
}

/// A median over a band with its standard uncertainty.
#[derive(Clone, Copy, Debug)]
pub(super) struct Settled {
    pub value: f64,
    pub doubt: f64,
}

impl Settled {
    /// Whether its size is beyond a limit by so many standard uncertainties.
    pub fn beyond(&self, limit: f64, coverage: f64) -> bool {
        self.value.abs() > limit + coverage * self.doubt
    }
}

/// A normal sample's standard deviation over the median of its distances from the median.
const MAD_TO_SIGMA: f64 = 1.4826;
/// Standard deviation of a median over that of a mean.
const MEDIAN_LOSS: f64 = 1.2533;

/// The median of a function of frequency and ratio over a band; its doubt is from the scatter around it.
pub(super) fn settled(
    ratio: &ChannelRatio,
    band_hz: (f64, f64),
    of: impl Fn(f64, Complex64) -> f64,
) -> Option<Settled> {
    let points = ratio.frequency.as_slice().iter().zip(&ratio.h);
    let mut list: Vec<f64> = points
        .filter(|(f_hz, _)| (band_hz.0..=band_hz.1).contains(*f_hz))
        .map(|(f_hz, h)| of(*f_hz, *h))
        .filter(|v| v.is_finite())
        .collect();
    let value = median(&mut list)?;
    let mut off: Vec<f64> = list.iter().map(|v| (v - value).abs()).collect();
    let spread = MAD_TO_SIGMA * median(&mut off)?;
    Some(Settled {
        value,
        doubt: MEDIAN_LOSS * spread / (list.len() as f64).sqrt(),
    })
}

fn median(list: &mut [f64]) -> Option<f64> {
    if list.is_empty() {
        return None;
    }
    let at = list.len() / 2;
    let (_, middle, _) = list.select_nth_unstable_by(at, f64::total_cmp);
    Some(*middle)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_check_resistor_is_judged_by_what_the_resistors_explain() {
        let check = |read_ohm, half_width, judged| {
            let stated = Stated::within(22.0, half_width);
            CheckReading {
                name: "check-resistor".to_owned(),
                stated_ohm: stated.value,
                read_ohm,
                allowed: allowed(stated, Some(Stated::within(47.0, 0.47)), 0.0),
                judged,
                one_input: false,
            }
        };
        // 1 % each: 2 % and twice √2·1 %/√3 are 3.6 %.
        assert_eq!(check(22.7, 0.22, true).passes(), Some(true));
        assert_eq!(check(22.9, 0.22, true).passes(), Some(false));
        // 5 %: 2 % and twice 2.9 % are 7.9 %.
        assert_eq!(check(23.5, 1.1, true).passes(), Some(true));
        // The wrong wiring reads 47²/22 ohm.
        assert_eq!(check(100.4, 1.1, true).passes(), Some(false));
        assert_eq!(check(100.4, 1.1, false).passes(), None);
    }
}
