//! What was typed about a jig, and what had to be assumed: with the calibrations that are missing.

use super::SessionError;
use super::curves::Measured;
use super::session::{Condition, JigInput};
use super::typed::{Typed, TypedList, Which, filled};
use crate::finding::{Code, Finding, Severity};
use crate::jig::Wiring;
use crate::parameters::Role;
use crate::quantity::{Spread, Stated};

// Half-widths where a value came without one. Common practice, no source.
/// Resistors are sold with 1 %.
const RESISTOR: f64 = 0.01;
/// Typed lead resistance: a guess from length and gauge.
const LEAD: f64 = 0.2;
const INPUT_LOAD: f64 = 0.1;

// Assumed where nothing was typed. Common practice, no source.
/// Half a metre of thin wire and two clips, either side of none.
const LEAD_ASSUMED_OHM: f64 = 0.05;
/// Two inputs of one converter: 0.1 dB.
const GAIN_ASSUMED: f64 = 0.01;
/// One input that loads the source node first and the driver's side then, (O10): 50 ohm behind the source and 10 kilohm at the input
/// at the worst.
pub(super) const MOVED_ASSUMED: f64 = 0.003;
/// Line inputs have 10 kilohm or more; as a conductance either side of none.
const LOAD_ASSUMED_S: f64 = 1e-4;

/// Which calibrations there are, and what they leave to typed values.
struct Calibrated {
    same_node: bool,
    leads: bool,
    open: bool,
    /// Check resistors calibrate, and are not only read.
    by_check: bool,
    /// Open, short and a check resistor that calibrates: the sense resistor's value is not used.
    complete: bool,
}

impl Calibrated {
    fn of(jig: &JigInput, measured: &Measured) -> Self {
        let has =
            |pick: fn(&Condition) -> bool| measured.jig.iter().any(|group| pick(&group.condition));
        let same_node = has(|c| matches!(c, Condition::SameNode));
        let leads = has(|c| matches!(c, Condition::ShortedLeads));
        let open = has(|c| matches!(c, Condition::OpenLeads));
        let check = measured
            .jig
            .iter()
            .rev()
            .find_map(|group| match group.condition {
                Condition::CheckResistor { ohm } => Some(relative_doubt(ohm)),
                _ => None,
            });
        // With a same-node take either resistor can carry the scale: the better known one does.
        let better = check.is_some_and(|doubt| doubt <= relative_doubt(jig.sense_ohm));
        let by_check = check.is_some() && (!same_node || (leads && open && better));
        Self {
            same_node,
            leads,
            open,
            by_check,
            complete: by_check && leads && open,
        }
    }
}

fn relative_doubt(ohm: Stated) -> f64 {
    let (ohm, _) = ohm.or_half_width(RESISTOR * ohm.value);
    ohm.standard_uncertainty().unwrap_or(0.0) / ohm.value
}

pub(super) fn jig_values(
    jig: &JigInput,
    measured: &Measured,
    findings: &mut Vec<Finding>,
    list: &mut TypedList,
) -> Result<(), SessionError> {
    let there = Calibrated::of(jig, measured);
    let mut add = |which, name: &str, stated: Stated, advice, missing: Option<&str>| {
        let code = match which {
            Which::Gain => Code::ChannelsUncalibrated,
            _ => Code::ValueAssumed,
        };
        list.0.push(Typed {
            which,
            name: name.to_owned(),
            stated,
            role: Role::ThroughTheFit,
            advice,
            is_volume: false,
            missing: missing.map(|what| Finding::new(code, Severity::Note, what, advice)),
        });
    };
    let sense = filled(
        jig.sense_ohm,
        RESISTOR * jig.sense_ohm.value,
        "the sense resistor",
        "ohm",
        1.0,
        findings,
    );
    add(
        Which::Sense,
        "the sense resistor",
        if there.complete {
            exactly(sense.value)
        } else {
            sense
        },
        "measure the sense resistor better, or buy a closer tolerance",
        None,
    );

    let (lead, missing) = match jig.lead_ohm {
        Some(_) if there.leads => return Err(SessionError::LeadsTwice),
        Some(lead) => {
            let half_width = LEAD * lead.value;
            let lead = filled(
                lead,
                half_width,
                "the lead resistance",
                "ohm",
                1.0,
                findings,
            );
            (lead, None)
        }
        None if there.leads => (exactly(0.0), None),
        None => (Stated::within(0.0, LEAD_ASSUMED_OHM), Some(LEADS_MISSING)),
    };
    add(Which::Lead, "the leads", lead, LEAD_ADVICE, missing);

    // Open leads show what lies across the sense points; across-resistor channel 2 is not there.
    let load_measured = there.complete || (there.open && jig.wiring == Wiring::AcrossDriver);
    let (load, missing) = match jig.input_load_ohm[1] {
        _ if load_measured => (exactly(0.0), None),
        Some(ohm) => {
            let half_width = INPUT_LOAD * ohm.value;
            let ohm = filled(
                ohm,
                half_width,
                "the input resistance",
                "ohm",
                1.0,
                findings,
            );
            let load = Stated {
                value: 1.0 / ohm.value,
                spread: Spread::Standard(relative_doubt(ohm) / ohm.value),
            };
            (load, None)
        }
        None => (Stated::within(0.0, LOAD_ASSUMED_S), Some(LOAD_MISSING)),
    };
    let advice = match jig.wiring {
        Wiring::AcrossDriver => {
            "record a take with the leads open (--open-leads), or give the input's resistance (--input-load)"
        }
        Wiring::AcrossResistor => "give the input's resistance (--input-load), or use a line input",
    };
    add(
        Which::LoadSiemens,
        "the load of the input",
        load,
        advice,
        missing,
    );

    for (i, group) in measured.jig.iter().enumerate() {
        let Condition::CheckResistor { ohm } = group.condition else {
            continue;
        };
        let half_width = RESISTOR * ohm.value;
        let ohm = filled(ohm, half_width, "the check resistor", "ohm", 1.0, findings);
        let counts = if there.by_check {
            ohm
        } else {
            exactly(ohm.value)
        };
        add(
            Which::Check(i),
            "the check resistor",
            counts,
            "measure the check resistor better, or use a same-node take",
            None,
        );
    }
    let used = exactly(f64::from(u8::from(there.by_check)));
    add(
        Which::CheckUsed,
        "whether the check resistor calibrates",
        used,
        "",
        None,
    );
    let (gain, missing) = if there.same_node || there.by_check {
        (exactly(1.0), None)
    } else if measured.one_input_s.is_some() {
        (Stated::within(1.0, MOVED_ASSUMED), None)
    } else {
        (Stated::within(1.0, GAIN_ASSUMED), Some(CHANNELS_MISSING))
    };
    let (name, advice) = match measured.one_input_s {
        Some(_) => (
            "the load of the input, which moves with its clip",
            MOVED_ADVICE,
        ),
        None => ("the match of the inputs", GAIN_ADVICE),
    };
    add(Which::Gain, name, gain, advice, missing);
    if let Some(doubt_s) = measured.one_input_s {
        let delay = Stated {
            value: 0.0,
            spread: Spread::Standard(doubt_s),
        };
        add(
            Which::Delay,
            "the time between the two nodes",
            delay,
            "play and record with one device, leave the clip longer on each node, and bring it back to the source node",
            None,
        );
    }
    Ok(())
}

/// A value of the instrument's own, or one that nothing depends on.
fn exactly(value: f64) -> Stated {
    Stated {
        value,
        spread: Spread::Standard(0.0),
    }
}

const LEADS_MISSING: &str = "the leads were not measured: taken as none, within 0.05 ohm";
const LOAD_MISSING: &str =
    "what the input draws was not measured: taken as nothing, 10 kilohm at the worst";
const CHANNELS_MISSING: &str =
    "the inputs were not calibrated against each other: taken as alike within 1 %";
const LEAD_ADVICE: &str = "short the leads at the driver's end and record that (--shorted-leads), or give their resistance (--lead)";
const MOVED_ADVICE: &str = "record a known resistor in the driver's place the same way (--check-resistor), or use an input of high resistance";
const GAIN_ADVICE: &str = "record a take with both inputs on one node (--same-node)";
