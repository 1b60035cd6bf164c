//! What is wrong with a jig, from what its calibration takes read.

use num_complex::Complex64;

use super::jig_reading::{CheckReading, JigReading, Settled, settled};
use crate::faults::WRONG_WIRING_ADVICE;
use crate::finding::{Code, Finding, Severity};
use crate::jig::{Corrections, Jig, Wiring};
use crate::signal::ChannelRatio;

/// Inputs that differ by more than this have their knobs set differently (common practice, no source: 0.1 is 0.9 dB). A calibration
/// takes it out as long as nobody touches the knobs.
const UNEQUAL: f64 = 0.1;
/// Inputs that differ by more than this are worth a note: what is assumed of inputs that nothing has calibrated.
const UNLIKE: f64 = 0.01;
/// An input that loads the jig with less than this is no line input: those have 10 kilohm and more, instrument inputs far more,
/// microphone inputs with a supply about 2 kilohm (common practice, no source).
const LEAST_LOAD_OHM: f64 = 8_000.0;
/// Leads and clips of more than this are worth a note …
const LEADS_OHM: f64 = 0.3;
/// … or of more than this share of the driver's DC resistance (common practice, no source, both).
const LEADS_SHARE: f64 = 0.03;
/// Of more than this, or …
const LEADS_POOR_OHM: f64 = 1.0;
/// … than this share, the clips themselves are poor: a tenth of it, by which such contacts differ each time, is then a percent
/// of the driver's DC resistance (common practice, no source).
const LEADS_POOR_SHARE: f64 = 0.1;
/// Check and sense resistor closer than this factor look much alike in both wirings.
const INFORMATIVE: f64 = 2.0;
/// Beyond this factor the reading of a check resistor is another resistor's: the smallest step of the E12 series is 1.18.
const ANOTHER_RESISTOR: f64 = 1.15;
/// A reading within this share of R²/Z is that of the other wiring, beside what the resistors explain.
const OTHER_WIRING: f64 = 0.05;
/// Part of |H| on one node by which couplings turn its phase at the lowest frequency.
const CORNERS: f64 = 0.01;
/// Where crosstalk is looked for, Hz: where what leaks through capacitances is largest.
const HIGH_HZ: (f64, f64) = (2_000.0, 20_000.0);
/// A loop of leads has a microhenry per metre: nobody has ten metres of them (common practice, no source).
const LEADS_H: f64 = 10e-6;
/// What a loop of leads can be below zero by how calibrations err, henry, …
const LEADS_BELOW_H: f64 = 2e-6;
/// … and ohm.
const LEADS_BELOW_OHM: f64 = 0.02;
/// Leads and an input have some hundred picofarad: nobody has five nanofarad (common practice, no source).
const LEADS_F: f64 = 5e-9;
/// What they can be below zero by how calibrations err.
const LEADS_BELOW_F: f64 = 1e-9;
/// Standard uncertainties that a reading must lie beyond its limit.
const COVERAGE: f64 = 4.0;

/// What is known of a jig.
pub(super) struct Facts<'a> {
    pub reading: &'a JigReading,
    pub jig: Jig,
    pub corrections: &'a Corrections,
    pub same_node: Option<&'a ChannelRatio>,
    pub short: Option<&'a ChannelRatio>,
    pub open: Option<&'a ChannelRatio>,
    /// Each check resistor, ohm.
    pub checks_ohm: Vec<f64>,
    /// Channel 2 over channel 1, if a check resistor is what tells it.
    pub by_check: Option<Complex64>,
    /// Whether one input heard both nodes: it cannot differ from itself, so a check resistor tells of the resistors and the wiring.
    pub one_input: bool,
    /// The driver's DC resistance, roughly, ohm; `None` without a driver.
    pub re_ohm: Option<f64>,
    /// Whether the driver's curve is upside down; `None` without a driver.
    pub upside_down: Option<bool>,
}

pub(super) fn jig_findings(facts: &Facts<'_>) -> Vec<Finding> {
    let mut findings: Vec<Finding> = vec![];
    findings.extend(facts.unequal());
    findings.extend(facts.corners());
    findings.extend(facts.loads());
    findings.extend(facts.leads());
    findings.extend(facts.crosstalk());
    findings.extend(facts.uninformative());
    let off = facts.reading.checks.iter();
    findings.extend(off.filter_map(|check| facts.disagrees(check)));
    findings
}

impl Facts<'_> {
    fn unequal(&self) -> Option<Finding> {
        if self.one_input {
            return None;
        }
        let (ratio, about) = match (self.reading.channels, self.by_check) {
            (Some(ratio), _) => (ratio.norm(), "same-node"),
            (None, Some(ratio)) => (ratio.norm(), "check-resistor"),
            (None, None) => return None,
        };
        if about == "check-resistor"
            && let Some(finding) = self.other_wiring_by_check(ratio)
        {
            return Some(finding);
        }
        let off = ratio.ln().abs();
        if off < UNLIKE {
            return None;
        }
        let told = match about {
            "same-node" => "on the same node",
            _ => "of the same voltage, if both resistors and the wiring are what was said",
        };
        let message = format!("channel 2 shows {ratio:.3} times what channel 1 shows {told}");
        let finding = if off > UNEQUAL {
            Finding::new(
                Code::ChannelsUnequal,
                Severity::Caution,
                message,
                "set both gain knobs alike and make the same-node take again; if they stay, nobody may touch them from now on; \
                 without a same-node take look at both resistors' values as well",
            )
            .with_evidence(ratio, "1", Some(UNEQUAL.exp()))
        } else {
            Finding::new(
                Code::ChannelsUnequal,
                Severity::Note,
                format!("{message}; the calibration takes it out"),
                "nothing has to be done, as long as nobody touches the knobs",
            )
            .with_evidence(ratio, "1", Some(UNLIKE.exp()))
        };
        Some(finding.about(about))
    }

    /// A check resistor that alone calibrates the inputs makes them differ by R/Z (or Z/R) if the wiring is the other one.
    fn other_wiring_by_check(&self, ratio: f64) -> Option<Finding> {
        let check_ohm = *self.checks_ohm.last()?;
        let other = match self.jig.wiring {
            Wiring::AcrossDriver => self.jig.sense_ohm / check_ohm,
            Wiring::AcrossResistor => check_ohm / self.jig.sense_ohm,
        };
        let fits = (ratio / other).ln().abs() < UNEQUAL && other.ln().abs() > 2.0 * UNEQUAL;
        (fits && self.upside_down != Some(false)).then(|| {
            wrong_wiring(
                "the check resistor reads as it would in the other wiring",
                ratio,
            )
        })
    }

    fn corners(&self) -> Option<Finding> {
        let ratio = self.same_node?;
        let first_hz = *ratio.frequency.as_slice().first()?;
        let at = settled(ratio, (first_hz, 2.0 * first_hz), |f_hz, h| {
            h.im / h.norm() * f_hz / first_hz
        })?;
        at.beyond(CORNERS, COVERAGE).then(|| {
            Finding::new(
                Code::CornersDiffer,
                Severity::Note,
                format!(
                    "the two inputs cut off low frequencies differently, by {:.1} % at {first_hz:.0} Hz; the same-node take takes \
                     it out",
                    100.0 * at.value.abs()
                ),
                "nothing has to be done; two inputs of one kind would be alike",
            )
            .with_evidence(at.value.abs(), "1", Some(CORNERS))
            .about("same-node")
        })
    }

    fn loads(&self) -> Option<Finding> {
        let finding = |load_ohm: f64, told: &str, about: Option<&str>| {
            let finding = Finding::new(
                Code::InputLoads,
                Severity::Caution,
                format!("{told} {:.1} kilohm", load_ohm / 1000.0),
                "use line or instrument inputs and switch the supply for microphones off; what is measured or typed corrects what \
                 the load does, as long as nothing is changed",
            )
            .with_evidence(load_ohm, "Ohm", Some(LEAST_LOAD_OHM));
            match about {
                Some(take) => finding.about(take),
                None => finding,
            }
        };
        match self.reading.load_ohm {
            Some(load_ohm) if self.jig.wiring == Wiring::AcrossDriver => {
                // Where nothing calibrates the inputs, a percent between them looks like a load as well.
                let doubt = if self.reading.inputs_known {
                    0.0
                } else {
                    UNLIKE
                };
                let admittance = 1.0 / load_ohm - doubt / self.jig.sense_ohm;
                (admittance > 1.0 / LEAST_LOAD_OHM).then(|| {
                    let told = "while the leads are open something loads the jig with";
                    finding(load_ohm, told, Some("open-leads"))
                })
            }
            _ => (self.jig.load_ohm < LEAST_LOAD_OHM).then(|| {
                let told = "the input resistance that was typed is no line input's:";
                finding(self.jig.load_ohm, told, None)
            }),
        }
    }

    fn leads(&self) -> Option<Finding> {
        // In the wrong wiring neither the leads nor the driver read what they are.
        if self.upside_down == Some(true) {
            return None;
        }
        let ohm = self.reading.leads_ohm.unwrap_or(self.jig.lead_ohm);
        let share = self.re_ohm.map_or(0.0, |re_ohm| ohm / re_ohm);
        let (limit, poor) = if share / LEADS_SHARE > ohm / LEADS_OHM {
            (LEADS_SHARE * ohm / share, share > LEADS_POOR_SHARE)
        } else {
            (LEADS_OHM, ohm > LEADS_POOR_OHM)
        };
        (ohm > limit).then(|| {
            let of = if share > 0.0 {
                format!(", {:.0} % of the driver", 100.0 * share)
            } else {
                String::new()
            };
            let (severity, message, advice) = if poor {
                (
                    Severity::Caution,
                    format!("leads and clips have {ohm:.2} ohm{of}; they are taken off, but such contacts differ each time"),
                    "clean the clips and the terminals or use other ones, use shorter and thicker leads, and short the leads again",
                )
            } else {
                (
                    Severity::Note,
                    format!("leads and clips have {ohm:.2} ohm{of}; they are taken off"),
                    "nothing has to be done; shorter leads and clean clips have less",
                )
            };
            Finding::new(Code::LeadsLarge, severity, message, advice)
                .with_evidence(ohm, "Ohm", Some(limit))
        })
    }

    /// What neither leads nor an input can be.
    fn crosstalk(&self) -> Option<Finding> {
        let tau = std::f64::consts::TAU;
        let state = |f_hz| self.corrections.state(&self.jig, f_hz);
        let same_node = self.reading.channels.is_some();
        let across_driver = self.jig.wiring == Wiring::AcrossDriver;
        let outside = |at: Option<Settled>, low: f64, high: f64| {
            at.is_some_and(|at| {
                let doubt = COVERAGE * at.doubt;
                at.value - doubt > high || at.value + doubt < low
            })
        };
        // A difference in delay between the inputs turns full voltages, so those need a same-node take.
        let short = self.short.filter(|_| same_node || across_driver);
        let by_short = short.is_some_and(|ratio| {
            let henry = settled(ratio, HIGH_HZ, |f, _| state(f).leads_ohm.im / (tau * f));
            let ohm = settled(ratio, HIGH_HZ, |f, _| state(f).leads_ohm.re);
            outside(henry, -LEADS_BELOW_H, LEADS_H) || outside(ohm, -LEADS_BELOW_OHM, f64::INFINITY)
        });
        let open = self.open.filter(|_| same_node || !across_driver);
        let by_open = open.is_some_and(|ratio| {
            let farad = settled(ratio, HIGH_HZ, |f, _| state(f).admittance_s.im / (tau * f));
            let siemens = settled(ratio, HIGH_HZ, |f, _| state(f).admittance_s.re);
            let most = 1.0 / LEAST_LOAD_OHM;
            outside(farad, -LEADS_BELOW_F, LEADS_F)
                || (!across_driver && outside(siemens, -most, most))
        });
        let about = match (by_short, by_open) {
            (true, _) => "shorted-leads",
            (false, true) => "open-leads",
            (false, false) => return None,
        };
        let (severity, message, advice) = if self.corrections.is_complete() {
            (
                Severity::Note,
                "part of one channel leaks into the other; open leads, shorted leads and the check resistor take it out together",
                "nothing has to be done; leads that lie apart leak less",
            )
        } else {
            (
                Severity::Caution,
                "part of one channel leaks into the other: neither leads nor an input look like that",
                "keep the two inputs' leads apart and check that their grounds are connected; takes with open leads, shorted leads \
                 and a check resistor together take it out",
            )
        };
        Some(Finding::new(Code::Crosstalk, severity, message, advice).about(about))
    }

    fn uninformative(&self) -> Option<Finding> {
        let check_ohm = *self.checks_ohm.last()?;
        let factor = if check_ohm > self.jig.sense_ohm {
            check_ohm / self.jig.sense_ohm
        } else {
            self.jig.sense_ohm / check_ohm
        };
        (factor < INFORMATIVE).then(|| {
            Finding::new(
                Code::CheckUninformative,
                Severity::Note,
                format!(
                    "the check resistor of {check_ohm} ohm is too close to the sense resistor of {} ohm to tell the wiring; \
                     otherwise it serves",
                    self.jig.sense_ohm
                ),
                "next time use one of half the sense resistor or less, or of twice it or more",
            )
            .with_evidence(factor, "1", Some(INFORMATIVE))
            .about("check-resistor")
        })
    }

    fn disagrees(&self, check: &CheckReading) -> Option<Finding> {
        // An upside-down curve has said already why.
        if check.passes() != Some(false) || self.upside_down == Some(true) {
            return None;
        }
        let factor = check.read_ohm / check.stated_ohm;
        let other_ohm = self.jig.sense_ohm * self.jig.sense_ohm / check.stated_ohm;
        let told = format!(
            "the check resistor of {} ohm reads {:.2} ohm",
            check.stated_ohm, check.read_ohm
        );
        let other_wiring = (check.read_ohm / other_ohm).ln().abs() < check.allowed + OTHER_WIRING;
        if other_wiring && self.upside_down.is_none() {
            let told = format!("{told}, which it does in the other wiring");
            return Some(wrong_wiring(&told, factor).about(check.name.clone()));
        }
        // NaN and what is below zero are no resistor's.
        if factor > 0.0 && factor.ln().abs() > ANOTHER_RESISTOR.ln() {
            let fits_ohm = nearest_resistor(self.jig.sense_ohm / factor);
            let told = format!(
                "{told}: a sense resistor of {fits_ohm} ohm would fit, {} ohm was typed",
                self.jig.sense_ohm
            );
            return Some(sense_wrong(told, factor, ANOTHER_RESISTOR).about(check.name.clone()));
        }
        Some(
            Finding::new(
                Code::CheckResistorDisagrees,
                Severity::Caution,
                told,
                "check both resistors' values and the wiring that was chosen",
            )
            .with_evidence(check.off(), "1", Some(check.allowed))
            .about(check.name.clone()),
        )
    }
}

fn wrong_wiring(told: &str, factor: f64) -> Finding {
    Finding::new(
        Code::WrongWiring,
        Severity::Redo,
        format!("{told}: the jig is wired the other way than was said, or a resistor is not what was said"),
        WRONG_WIRING_ADVICE,
    )
    .with_evidence(factor, "1", None)
}

/// That the sense resistor is another than was typed.
pub(super) fn sense_wrong(told: String, factor: f64, limit: f64) -> Finding {
    Finding::new(
        Code::SenseWrong,
        Severity::Redo,
        told,
        "read the sense resistor's marking again or measure it, and type what it is; the takes themselves are good; if it is what was \
         typed, look at the other value in the same way",
    )
    .with_evidence(factor, "1", Some(limit))
}

/// The E24 series (IEC 60063).
const E24: [f64; 24] = [
    1.0, 1.1, 1.2, 1.3, 1.5, 1.6, 1.8, 2.0, 2.2, 2.4, 2.7, 3.0, 3.3, 3.6, 3.9, 4.3, 4.7, 5.1, 5.6,
    6.2, 6.8, 7.5, 8.2, 9.1,
];

/// The resistor on sale that is nearest, ohm.
pub(super) fn nearest_resistor(ohm: f64) -> f64 {
    let decade = 10.0_f64.powf(ohm.log10().floor());
    let on_sale = E24.iter().map(|v| v * decade).chain([10.0 * decade]);
    let near = on_sale.min_by(|a, b| (a / ohm).ln().abs().total_cmp(&(b / ohm).ln().abs()));
    // Without the last bits of the multiplication.
    near.map_or(ohm, |near| (near * 1e4).round() / 1e4)
}

#[cfg(test)]
mod tests {
    use super::nearest_resistor;

    #[test]
    fn resistors_on_sale() {
        for (ohm, nearest) in [
            (46.2, 47.0),
            (9.7, 10.0),
            (0.221, 0.22),
            (1.49, 1.5),
            (98.0, 100.0),
        ] {
            assert_eq!(nearest_resistor(ohm), nearest);
        }
    }
}
