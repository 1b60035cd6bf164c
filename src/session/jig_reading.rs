//! What the calibration takes alone say about a jig, before a driver hangs on it.

use num_complex::Complex64;

use super::SessionError;
use super::curves::{Measured, measure};
use super::session::{Condition, Session};
use super::typed::Which;
use super::typed::typed;
use crate::finding::{Code, Finding, Severity};
use crate::progress::Unwatched;
use crate::quantity::Stated;
use crate::signal::ChannelRatio;

/// Where calibrations are judged, Hz: above the corners of AC couplings, below what cables do.
const JUDGED_HZ: (f64, f64) = (100.0, 5_000.0);
/// Inputs that differ by more than this have their knobs set differently (common practice, no source: 0.1 is 0.9 dB). A calibration
/// takes it out as long as nobody touches the knobs.
const UNEQUAL: f64 = 0.1;
/// An input that loads the jig with less than this is no line input: those have 10 kilohm and more, instrument inputs far more,
/// microphone inputs with a supply about 2 kilohm (common practice, no source).
const LEAST_LOAD_OHM: f64 = 8_000.0;

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
    /// Whether a same-node take had matched the channels. Without one the check resistor calibrates them, and so reads right by
    /// itself.
    pub judged: bool,
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

fn allowed(check_ohm: Stated, sense_ohm: Option<Stated>) -> f64 {
    let doubt = |stated: Stated| stated.standard_uncertainty().unwrap_or(0.0) / stated.value;
    CHECK_OFF + CHECK_COVERAGE * doubt(check_ohm).hypot(sense_ohm.map_or(0.0, doubt))
}

fn disagrees(check: &CheckReading) -> Option<Finding> {
    (check.passes() == Some(false)).then(|| {
        Finding::new(
            Code::CheckResistorDisagrees,
            Severity::Caution,
            format!(
                "the check resistor of {} ohm reads {:.2} ohm",
                check.stated_ohm, check.read_ohm
            ),
            "check both resistors' values and the wiring that was chosen",
        )
        .with_evidence(check.off(), "1", Some(check.allowed))
        .about(check.name.clone())
    })
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
    /// Check resistors, in order; they only mean something once a same-node take has matched the channels.
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
    let mut reading = read(&measured, sense_ohm, &|which| typed.value(which));
    findings.append(&mut reading.findings);
    reading.findings = findings;
    Ok(reading)
}

pub(super) fn read(
    measured: &Measured,
    sense_ohm: Option<Stated>,
    value: &dyn Fn(Which) -> f64,
) -> JigReading {
    let mut reading = JigReading::default();
    let Some(wiring) = measured.wiring else {
        return reading;
    };
    let jig = measured.jig(wiring, value);
    let corrections = measured.corrections(value, false);
    for (_, group, ratio) in measured.ratios() {
        if group.condition == Condition::SameNode {
            reading.channels = middle(ratio, |_, h| h);
        }
    }
    for (i, group, ratio) in measured.ratios() {
        let state = |f_hz| corrections.state(&jig, f_hz);
        match group.condition {
            Condition::ShortedLeads => {
                reading.leads_ohm = middle(ratio, |f_hz, _| state(f_hz).leads_ohm).map(|z| z.re);
            }
            Condition::OpenLeads => {
                let stays = middle(ratio, |f_hz, _| state(f_hz).admittance_s);
                reading.load_ohm = stays.map(|y| 1.0 / y.re);
            }
            Condition::CheckResistor { ohm } => {
                let read = measured.check_readings(value);
                let read = read.into_iter().find(|(name, _)| *name == group.name);
                if let Some((name, read_ohm)) = read
                    && reading.checks.iter().all(|check| check.name != name)
                {
                    reading.checks.push(CheckReading {
                        name,
                        stated_ohm: value(Which::Check(i)),
                        read_ohm,
                        allowed: allowed(ohm, sense_ohm),
                        judged: reading.channels.is_some(),
                    });
                }
            }
            _ => {}
        }
    }
    reading.findings.extend(unequal(&reading));
    reading.findings.extend(loads(&reading));
    let off = reading.checks.iter().filter_map(disagrees);
    let off: Vec<Finding> = off.collect();
    reading.findings.extend(off);
    reading
}

/// The median of a function of frequency and ratio over the judged band, real and imaginary part apart.
fn middle(ratio: &ChannelRatio, of: impl Fn(f64, Complex64) -> Complex64) -> Option<Complex64> {
    let points = ratio.frequency.as_slice().iter().zip(&ratio.h);
    let (mut re, mut im): (Vec<f64>, Vec<f64>) = points
        .filter(|(f_hz, _)| (JUDGED_HZ.0..=JUDGED_HZ.1).contains(*f_hz))
        .map(|(f_hz, h)| of(*f_hz, *h))
        .filter(|z| z.is_finite())
        .map(|z| (z.re, z.im))
        .unzip();
    if re.is_empty() {
        return None;
    }
    let at = re.len() / 2;
    let (_, re, _) = re.select_nth_unstable_by(at, f64::total_cmp);
    let (_, im, _) = im.select_nth_unstable_by(at, f64::total_cmp);
    Some(Complex64::new(*re, *im))
}

fn unequal(reading: &JigReading) -> Option<Finding> {
    let ratio = reading.channels?.norm();
    ((ratio.ln()).abs() > UNEQUAL).then(|| {
        Finding::new(
            Code::ChannelsUnequal,
            Severity::Caution,
            format!("channel 2 shows {ratio:.3} times what channel 1 shows on the same node"),
            "set both gain knobs alike and make the same-node take again; if they stay, nobody may touch them from now on",
        )
        .with_evidence(ratio, "1", Some(UNEQUAL.exp()))
        .about("same-node")
    })
}

fn loads(reading: &JigReading) -> Option<Finding> {
    let load_ohm = reading.load_ohm?;
    (load_ohm.abs() < LEAST_LOAD_OHM).then(|| {
        Finding::new(
            Code::InputLoads,
            Severity::Caution,
            format!("something loads the jig with {:.1} kilohm while the leads are open", load_ohm / 1000.0),
            "use line or instrument inputs and switch the supply for microphones off; this take corrects what the load does, \
             as long as nothing is changed",
        )
        .with_evidence(load_ohm, "Ohm", Some(LEAST_LOAD_OHM))
        .about("open-leads")
    })
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
                allowed: allowed(stated, Some(Stated::within(47.0, 0.47))),
                judged,
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
