//! What a take's condition makes legitimate.

use super::Condition;
use crate::faults::Expected;
use crate::jig::Wiring;

/// What a condition makes legitimate on a jig.
pub fn expected(condition: &Condition, wiring: Option<Wiring>) -> Expected {
    let across_driver = wiring == Some(Wiring::AcrossDriver);
    match condition {
        Condition::SameNode => Expected {
            alike: true,
            silent_driver: false,
        },
        Condition::OpenLeads => Expected {
            alike: across_driver,
            silent_driver: !across_driver,
        },
        Condition::ShortedLeads => Expected {
            alike: !across_driver,
            silent_driver: across_driver,
        },
        _ => Expected::default(),
    }
}
