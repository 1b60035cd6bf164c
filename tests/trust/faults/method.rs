//! What goes wrong with the method.

use std::sync::Arc;

use farcone::Complex64;
use farcone::bench::{InventedDriver, Mounting, Noise, drivers};
use farcone::circuit::Circuit;
use farcone::finding::{Code, Verdict};
use farcone::quantity::Stated;
use farcone::session::{Condition, Cone};

use crate::circuits::Curve;
use crate::dice::Dice;
use crate::fault::{Expect, Fault};
use crate::scenario::{
    RHO_C2_PA, Scenario, Setup, Strength, What, good_mass_kg, good_volume_m3, invented,
    sweep_between,
};

pub fn faults() -> Vec<Fault> {
    let usable = |code| Expect::named(code, Verdict::Usable);
    let redo = |code| Expect::named(code, Verdict::Redo);
    vec![
        Fault {
            name: "stimulus starts too high",
            group: "method",
            inject: |scenario, strength, dice| {
                let start = strength.pick(dice.between(0.64, 0.7), dice.between(1.5, 2.5));
                starts_at(scenario, start);
                // So that what the fade leaves below drowns.
                for plan in &mut scenario.plans {
                    plan.bench.source.noise = Noise::Rms(3e-4);
                    plan.bench.driver.noise = Noise::Rms(3e-4);
                }
            },
            mild: Expect::with(Code::StartsTooHigh, Verdict::Usable, &[Code::CoilUnsure]),
            severe: Expect::with(
                Code::StartsTooHigh,
                Verdict::Redo,
                &[Code::NoResonance, Code::MeterDisagrees],
            ),
        },
        Fault {
            name: "added mass too light",
            group: "method",
            inject: |scenario, strength, dice| {
                let drop = strength.pick(dice.between(0.06, 0.11), dice.between(0.015, 0.04));
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
            severe: Expect::with(
                Code::MassShiftLarge,
                Verdict::Usable,
                &[Code::StartsTooHigh],
            ),
        },
        Fault {
            name: "added mass forgotten",
            group: "method",
            inject: |scenario, _, _| {
                scenario.weighed();
                for plan in scenario.of("added-mass") {
                    plan.what = What::Driver(Mounting::FreeAir);
                }
            },
            mild: Expect::with(Code::MassForgotten, Verdict::Redo, &[Code::NotIdentifiable]),
            severe: Expect::with(Code::MassForgotten, Verdict::Redo, &[Code::NotIdentifiable]),
        },
        Fault {
            name: "added mass loose on the cone",
            group: "method",
            inject: |scenario, strength, dice| {
                let above = strength.pick(dice.between(2.0, 2.4), dice.between(1.3, 1.6));
                loose(scenario, above);
            },
            mild: Expect::with(
                Code::MassFormulasDisagree,
                Verdict::Redo,
                &[
                    Code::PoorResidual,
                    Code::CoilUnsure,
                    Code::ExtraLoop,
                    Code::CoilWarmed,
                ],
            ),
            severe: Expect::with(
                Code::MassFormulasDisagree,
                Verdict::Redo,
                &[
                    Code::MassShiftSmall,
                    Code::PoorResidual,
                    Code::CoilUnsure,
                    Code::ExtraLoop,
                    Code::SecondResonance,
                    Code::CoilWarmed,
                    Code::Implausible,
                ],
            ),
        },
        Fault {
            name: "mass and test box contradict each other",
            group: "method",
            inject: |scenario, strength, dice| {
                scenario.weighed();
                // The cone is measured well, or its doubt would cover everything.
                let diameter_m = 2.0 * (scenario.about.sd_m2 / std::f64::consts::PI).sqrt();
                scenario.cone = Some(Cone::Diameter(Stated::within(
                    diameter_m,
                    0.002 * diameter_m,
                )));
                let off = strength.pick(dice.between(1.15, 1.2), dice.between(1.4, 1.6));
                let volume_m3 = good_volume_m3(&scenario.about);
                let said_m3 = volume_m3 * off.powf(dice.sign());
                let volume = Stated::within(said_m3, 0.01 * said_m3);
                scenario.add(
                    "test-box",
                    Condition::TestBox { volume_m3: volume },
                    What::Driver(boxed(volume_m3, 0.0)),
                );
            },
            mild: usable(Code::MassFormulasDisagree),
            severe: Expect::with(
                Code::MassFormulasDisagree,
                Verdict::Usable,
                &[Code::PoorResidual, Code::CoilUnsure],
            ),
        },
        Fault {
            name: "test box leaks",
            group: "method",
            inject: |scenario, strength, dice| {
                let ql = strength.pick(dice.between(15.0, 30.0), dice.between(2.5, 5.0));
                in_a_box(scenario, 1.6, 1.0 / ql);
            },
            mild: Expect::with(Code::BoxLeaks, Verdict::Usable, &[Code::NotIdentifiable]),
            severe: Expect::with(
                Code::BoxLeaks,
                Verdict::Redo,
                &[Code::BoxSize, Code::PoorResidual, Code::NotIdentifiable],
            ),
        },
        Fault {
            name: "test box too large",
            group: "method",
            inject: |scenario, strength, dice| {
                let ratio = strength.pick(dice.between(1.12, 1.18), dice.between(1.015, 1.04));
                in_a_box(scenario, ratio, 0.0);
            },
            mild: usable(Code::BoxSize),
            severe: redo(Code::MassShiftSmall),
        },
        Fault {
            name: "test box too small",
            group: "method",
            inject: |scenario, strength, dice| {
                let ratio = strength.pick(dice.between(2.8, 3.2), dice.between(3.8, 4.5));
                in_a_box(scenario, ratio, 0.0);
            },
            mild: usable(Code::BoxSize),
            severe: usable(Code::BoxSize),
        },
        Fault {
            name: "loaded take of another driver",
            group: "method",
            inject: |scenario, strength, dice| {
                scenario.weighed();
                let other = another(scenario, strength, dice);
                let model = invented(other).1;
                for plan in scenario.of("added-mass") {
                    plan.model = Arc::clone(&model);
                }
            },
            mild: Expect::with(Code::DriversDiffer, Verdict::Redo, ANOTHER),
            severe: Expect::with(Code::DriversDiffer, Verdict::Redo, ANOTHER),
        },
        Fault {
            name: "free-air takes of two drivers",
            group: "method",
            inject: |scenario, strength, dice| {
                let other = another(scenario, strength, dice);
                let model = invented(other).1;
                if let Some(plan) = scenario.of("free-air").nth(1) {
                    plan.model = model;
                }
            },
            mild: Expect::with(Code::TakesDiffer, Verdict::Redo, ANOTHER),
            severe: Expect::with(Code::TakesDiffer, Verdict::Redo, ANOTHER),
        },
    ]
}

/// What two drivers in one session bring about besides.
const ANOTHER: &[Code] = &[
    Code::MassShiftSmall,
    Code::MassForgotten,
    Code::PoorResidual,
    Code::CoilUnsure,
    Code::NotIdentifiable,
    Code::NotConverged,
    Code::Implausible,
    Code::StartsTooHigh,
    Code::MeterDisagrees,
    Code::SenseWrong,
    Code::CoilWarmed,
    Code::DriversDiffer,
    Code::TakesDiffer,
    Code::SecondResonance,
    Code::ExtraLoop,
];

/// Another driver: the nearest in resonance, or one of at least an octave away.
fn another(scenario: &Scenario, strength: Strength, dice: &mut Dice) -> &'static InventedDriver {
    let away = |driver: &InventedDriver| (driver.truth().fs_hz / scenario.about.fs_hz).log2().abs();
    let same = |driver: &&InventedDriver| away(driver) < 1e-6;
    match strength {
        Strength::Mild => drivers()
            .iter()
            .filter(|driver| !same(driver))
            .min_by(|a, b| away(a).total_cmp(&away(b)))
            .unwrap(),
        Strength::Severe => {
            let far: Vec<&InventedDriver> = drivers()
                .iter()
                .filter(|driver| (1.0..3.6).contains(&away(driver)))
                .collect();
            far[dice.below(far.len())]
        }
    }
}

fn starts_at(scenario: &mut Scenario, of_fs: f64) {
    let fs_hz = scenario.about.fs_hz;
    for plan in &mut scenario.plans {
        let setup = Setup {
            rate_hz: plan.rate_hz,
            ..Setup::usual(scenario.wiring, 0)
        };
        plan.stimulus = Arc::new(sweep_between(&setup, of_fs * fs_hz, 20_000.0));
    }
}

/// A mass that lowers the resonance by this share, weighed right.
fn mass_for_drop(scenario: &mut Scenario, drop: f64) {
    scenario.weighed();
    let added_mass_kg = scenario.about.mms_kg * ((1.0 - drop).powi(-2) - 1.0);
    for plan in scenario.of("added-mass") {
        plan.what = What::Driver(Mounting::AddedMass { added_mass_kg });
        let mass_kg = Stated::within(added_mass_kg, 0.005 * added_mass_kg);
        plan.condition = Condition::AddedMass { mass_kg };
    }
}

fn boxed(volume_m3: f64, inverse_ql: f64) -> Mounting {
    Mounting::TestBox {
        volume_m3,
        rho_c2_pa: RHO_C2_PA,
        air_load_kg: 0.0,
        inverse_ql,
    }
}

/// A test box in place of the mass, its volume told right.
fn in_a_box(scenario: &mut Scenario, ratio: f64, inverse_ql: f64) {
    scenario.without("added-mass");
    scenario.without("test-box");
    let volume_m3 = scenario.about.vas_m3 / (ratio * ratio - 1.0);
    let condition = Condition::TestBox {
        volume_m3: Stated::within(volume_m3, 0.02 * volume_m3),
    };
    scenario.add(
        "test-box",
        condition,
        What::Driver(boxed(volume_m3, inverse_ql)),
    );
}

/// The mass sits on something soft: with the cone held it would resonate `above` times the loaded resonance, with a Q of 8.
fn loose(scenario: &mut Scenario, above: f64) {
    scenario.weighed();
    let about = scenario.about;
    let mass_kg = good_mass_kg(&about);
    let own_hz = above * 0.75 * about.fs_hz;
    const Q: f64 = 8.0;
    for plan in scenario.of("added-mass") {
        let model = Arc::clone(&plan.model);
        plan.model = Arc::new(move |_, remount, level_v| {
            let with =
                |added_mass_kg| model(&Mounting::AddedMass { added_mass_kg }, remount, level_v);
            let free = model(&Mounting::FreeAir, remount, level_v);
            // A tonne on the cone leaves the coil alone.
            let (firm, held) = (with(mass_kg), with(1e3));
            let curve = Curve::new(move |f_hz| {
                let coil = held.0.impedance(f_hz, &held.1);
                let by_free = 1.0 / (free.0.impedance(f_hz, &free.1) - coil);
                let by_firm = 1.0 / (firm.0.impedance(f_hz, &firm.1) - coil);
                let y = f_hz / own_hz;
                let carried = Complex64::new(1.0, y / Q) / Complex64::new(1.0 - y * y, y / Q);
                coil + 1.0 / (by_free + (by_firm - by_free) * carried)
            });
            (Arc::new(curve) as Arc<dyn Circuit>, vec![])
        });
    }
}
