//! What goes wrong with the method.

use farcone::bench::Mounting;
use farcone::finding::{Code, Verdict};
use farcone::quantity::Stated;
use farcone::session::Condition;

use crate::fault::{Expect, Fault};
use crate::scenario::{Scenario, What};

pub fn faults() -> Vec<Fault> {
    let usable = |code| Expect::named(code, Verdict::Usable);
    let redo = |code| Expect::named(code, Verdict::Redo);
    vec![
        Fault {
            name: "added mass too light",
            group: "method",
            inject: |scenario, strength, dice| {
                let drop = strength.pick(dice.between(0.06, 0.11), dice.between(0.01, 0.04));
                mass_for_drop(scenario, drop);
            },
            mild: usable(Code::MassShiftSmall),
            severe: redo(Code::MassShiftSmall),
        },
        Fault {
            name: "added mass too heavy",
            group: "method",
            inject: |scenario, strength, dice| {
                let drop = strength.pick(dice.between(0.40, 0.45), dice.between(0.50, 0.58));
                mass_for_drop(scenario, drop);
            },
            mild: usable(Code::MassShiftLarge),
            severe: usable(Code::MassShiftLarge),
        },
        Fault {
            name: "added mass forgotten",
            group: "method",
            inject: |scenario, _, dice| {
                let away = dice.between(-0.002, 0.002);
                for plan in scenario.of("added-mass") {
                    plan.what = What::Driver(Mounting::FreeAir);
                    plan.remount += usize::from(away > 0.0);
                }
            },
            mild: redo(Code::MassForgotten),
            severe: redo(Code::MassForgotten),
        },
    ]
}

/// A mass that lowers the resonance by this share, weighed right.
fn mass_for_drop(scenario: &mut Scenario, drop: f64) {
    let added_mass_kg = scenario.about.mms_kg * ((1.0 - drop).powi(-2) - 1.0);
    for plan in scenario.of("added-mass") {
        plan.what = What::Driver(Mounting::AddedMass { added_mass_kg });
        let mass_kg = Stated::within(added_mass_kg, 0.005 * added_mass_kg);
        plan.condition = Condition::AddedMass { mass_kg };
    }
}
