//! Takes whose channels are swapped or upside down are turned back, and that is said.

use super::expected::expected;
use super::session::{Condition, Data, SessionTake};
use crate::faults::Orientation;
use crate::finding::{Code, Finding, Severity};
use crate::jig::Wiring;

/// What became of it.
pub(super) struct Turned {
    pub findings: Vec<Finding>,
    /// A same-node take shows that both inputs hear.
    pub inputs_work: bool,
}

/// Channel 2 over channel 1 on one node, above which both inputs work.
const WORKS: f64 = 0.01;

/// How one take looks; `None` where either way looks alike.
struct Seen {
    swapped: Option<bool>,
    inverted: Option<bool>,
}

/// Turns the takes back. `swap` says whether somebody said that they are swapped. Takes that look alike either way follow the
/// others: somebody who plugs inputs wrongly does it for the whole bench.
pub(super) fn turn(takes: &mut [SessionTake], wiring: Option<Wiring>, swap: bool) -> Turned {
    let mut seen: Vec<Option<Seen>> = vec![];
    let mut inputs = None;
    for take in takes.iter_mut() {
        if let Data::Recording(recording) = &mut take.data {
            if swap {
                recording.swap();
            }
            if take.condition == Condition::SameNode {
                inputs = Orientation::of(recording).map(|seen| seen.ratio);
            }
        }
    }
    for take in takes.iter() {
        let expected = expected(&take.condition, wiring);
        let orientation = match &take.data {
            Data::Recording(recording) => Orientation::of(recording),
            Data::OneInput(_) | Data::Table(_) => None,
        };
        seen.push(orientation.map(|o| Seen {
            swapped: o.swapped(expected, inputs),
            inverted: o.inverted(expected),
        }));
    }
    let mostly = |of: fn(&Seen) -> Option<bool>| {
        let said: Vec<bool> = seen.iter().flatten().filter_map(of).collect();
        2 * said.iter().filter(|is| **is).count() > said.len()
    };
    let usual = (mostly(|seen| seen.swapped), mostly(|seen| seen.inverted));
    let (mut swapped, mut inverted) = (vec![], vec![]);
    for (take, seen) in takes.iter_mut().zip(seen) {
        let (Data::Recording(recording), Some(seen)) = (&mut take.data, seen) else {
            continue;
        };
        if seen.swapped.unwrap_or(usual.0) {
            recording.swap();
            swapped.push(take.name.clone());
        }
        if seen.inverted.unwrap_or(usual.1) {
            recording.invert_driver();
            inverted.push(take.name.clone());
        }
    }
    let mut findings = vec![];
    if !swapped.is_empty() {
        let advice = if swap {
            "nothing has to be done for this result; next time do not have the channels exchanged (--swap-channels)"
        } else {
            "nothing has to be done for this result; next time plug source and driver channel as drawn (or say --swap-channels)"
        };
        findings.push(Finding::new(
            Code::ChannelsSwapped,
            Severity::Caution,
            format!(
                "the two channels are the wrong way round in {}: they were turned back",
                list(&swapped)
            ),
            advice,
        ));
    }
    if !inverted.is_empty() {
        findings.push(Finding::new(
            Code::ChannelInverted,
            Severity::Caution,
            format!(
                "one channel is upside down in {}: it was turned back",
                list(&inverted)
            ),
            "nothing has to be done for this result; one input's plug, cable or adapter has its poles reversed",
        ));
    }
    Turned {
        findings,
        inputs_work: inputs.is_some_and(|ratio| ratio > WORKS),
    }
}

/// That a channel 2 which holds nothing is the driver's doing, where a same-node take has shown that the input works.
pub(super) fn blamed_on_driver(finding: Finding, wiring: Option<Wiring>) -> Finding {
    let (code, message, advice) = match wiring {
        Some(Wiring::AcrossResistor) => (
            Code::DriverOpen,
            "no current flows through the driver: it is not connected",
            "check both clips at the driver's terminals, then record again",
        ),
        Some(Wiring::AcrossDriver) => (
            Code::DriverShorted,
            "there is no voltage across the driver: it is shorted",
            "look for touching clips or leads at the driver's terminals, then record again",
        ),
        None => return finding,
    };
    let blamed = Finding::new(code, Severity::Redo, message, advice);
    Finding {
        take: finding.take,
        evidence: finding.evidence,
        ..blamed
    }
}

fn list(names: &[String]) -> String {
    match names {
        [one] => one.clone(),
        [one, two] => format!("{one} and {two}"),
        [one, rest @ ..] => format!("{one} and {} other takes", rest.len()),
        [] => String::new(),
    }
}
