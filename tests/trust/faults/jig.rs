//! What goes wrong with the jig: plugs, resistors, leads, and what hangs in the driver's place.

use farcone::bench::Crosstalk;
use farcone::finding::{Code, Verdict};
use farcone::jig::Wiring;
use farcone::quantity::Stated;
use farcone::session::Condition;

use crate::fault::{Expect, Fault};
use crate::scenario::{Scenario, What};

pub fn faults() -> Vec<Fault> {
    let usable = |code| Expect::named(code, Verdict::Usable);
    let redo = |code| Expect::named(code, Verdict::Redo);
    vec![
        Fault {
            name: "channels swapped",
            group: "jig",
            inject: |scenario, strength, _| {
                // Mild: with a same-node take to compare with; severe: without.
                if strength.pick(false, true) {
                    scenario.without("same-node");
                }
                scenario.spoil(|take, _| take.swap_channels());
            },
            mild: usable(Code::ChannelsSwapped),
            severe: usable(Code::ChannelsSwapped),
        },
        Fault {
            name: "one channel upside down",
            group: "jig",
            inject: |scenario, strength, _| {
                if strength.pick(false, true) {
                    scenario.without("same-node");
                }
                scenario.spoil(|take, _| take.invert_driver());
            },
            mild: usable(Code::ChannelInverted),
            severe: usable(Code::ChannelInverted),
        },
        Fault {
            name: "the other wiring said",
            group: "jig",
            inject: |scenario, strength, _| {
                if strength.pick(false, true) {
                    let ohm = check(scenario, 10.0);
                    scenario.add(
                        "check-resistor",
                        Condition::CheckResistor { ohm },
                        What::Resistor(ohm.value),
                    );
                }
                scenario.wiring = match scenario.wiring {
                    Wiring::AcrossDriver => Wiring::AcrossResistor,
                    Wiring::AcrossResistor => Wiring::AcrossDriver,
                };
            },
            mild: redo(Code::WrongWiring),
            severe: redo(Code::WrongWiring),
        },
        Fault {
            name: "sense resistor typed wrong, check resistor measured",
            group: "jig",
            inject: |scenario, strength, dice| {
                let ohm = check(scenario, dice.between(2.2, 4.0));
                scenario.add(
                    "check-resistor",
                    Condition::CheckResistor { ohm },
                    What::Resistor(ohm.value),
                );
                sense_typed(scenario, strength.pick(1.2, 10.0));
                scenario.meter_re_ohm = None;
            },
            mild: redo(Code::SenseWrong),
            severe: redo(Code::SenseWrong),
        },
        Fault {
            name: "sense resistor typed wrong, meter read",
            group: "jig",
            inject: |scenario, strength, dice| {
                let factor = strength.pick(dice.between(1.5, 2.2), 10.0);
                sense_typed(scenario, factor);
            },
            mild: redo(Code::SenseWrong),
            severe: redo(Code::SenseWrong),
        },
        Fault {
            name: "check resistor about as large as the sense resistor",
            group: "jig",
            inject: |scenario, strength, dice| {
                let ohm = check(
                    scenario,
                    strength.pick(dice.between(1.5, 1.9), dice.between(1.0, 1.1)),
                );
                scenario.add(
                    "check-resistor",
                    Condition::CheckResistor { ohm },
                    What::Resistor(ohm.value),
                );
            },
            mild: Expect::named(Code::CheckUninformative, Verdict::Good),
            severe: Expect::named(Code::CheckUninformative, Verdict::Good),
        },
        Fault {
            name: "inputs with different gains",
            group: "jig",
            inject: |scenario, strength, dice| {
                let gain = strength.pick(dice.between(1.12, 1.25), dice.between(1.6, 2.5));
                scenario.bench(|bench| bench.driver.gain *= gain);
            },
            mild: usable(Code::ChannelsUnequal),
            severe: usable(Code::ChannelsUnequal),
        },
        Fault {
            name: "AC couplings that differ, uncalibrated",
            group: "jig",
            inject: |scenario, strength, dice| {
                scenario.without("same-node");
                // As a share of the lowest frequency that is played.
                let share = strength.pick(dice.between(0.045, 0.055), dice.between(0.25, 0.35));
                let lowest_hz = (0.2 * scenario.about.fs_hz).clamp(5.0, 60.0);
                scenario.bench(|bench| bench.driver.coupling_hz = Some(2.0 + share * lowest_hz));
            },
            mild: Expect::with(
                Code::CornersDiffer,
                Verdict::Usable,
                &[Code::CoilUnsure, Code::PoorResidual],
            ),
            severe: redo(Code::CornersDiffer),
        },
        Fault {
            name: "an input that loads the jig",
            group: "jig",
            inject: |scenario, strength, dice| {
                scenario.without("check-resistor");
                scenario.add("open-leads", Condition::OpenLeads, What::Open);
                let ohm = strength.pick(dice.between(4e3, 7e3), dice.between(1e3, 2e3));
                scenario.bench(|bench| bench.driver.load_ohm = Some(ohm));
                scenario.input_load_ohm = Some(Stated::within(ohm, 0.1 * ohm));
            },
            mild: usable(Code::InputLoads),
            severe: usable(Code::InputLoads),
        },
        Fault {
            name: "poor clips and long leads",
            group: "jig",
            inject: |scenario, strength, dice| {
                let share = strength.pick(dice.between(0.12, 0.15), dice.between(0.3, 0.5));
                let ohm = share * scenario.about.re_ohm;
                scenario.bench(|bench| bench.lead_ohm = ohm);
                scenario.lead_ohm = None;
                scenario.add("shorted-leads", Condition::ShortedLeads, What::Shorted);
            },
            mild: usable(Code::LeadsLarge),
            severe: usable(Code::LeadsLarge),
        },
        Fault {
            name: "crosstalk between the inputs",
            group: "jig",
            inject: |scenario, strength, dice| {
                scenario.lead_ohm = None;
                scenario.add("shorted-leads", Condition::ShortedLeads, What::Shorted);
                scenario.add("open-leads", Condition::OpenLeads, What::Open);
                let share = strength.pick(dice.between(0.02, 0.03), dice.between(0.06, 0.1));
                let sign = dice.between(-1.0, 1.0).signum();
                scenario.bench(|bench| {
                    bench.crosstalk = Crosstalk {
                        into_driver: sign * share,
                        into_source: sign * share,
                        rising_at_hz: Some(10_000.0),
                    };
                });
            },
            mild: Expect::with(Code::Crosstalk, Verdict::Usable, &[Code::CoilUnsure]),
            severe: Expect::with(
                Code::Crosstalk,
                Verdict::Usable,
                &[Code::CoilUnsure, Code::AtBound, Code::PoorResidual],
            ),
        },
        Fault {
            name: "driver not connected",
            group: "jig",
            inject: |scenario, _, _| {
                for plan in scenario.of("free-air") {
                    plan.what = What::Open;
                }
            },
            mild: Expect::with(Code::DriverOpen, Verdict::Redo, &[Code::NoSignal]),
            severe: Expect::with(Code::DriverOpen, Verdict::Redo, &[Code::NoSignal]),
        },
        Fault {
            name: "driver shorted",
            group: "jig",
            inject: |scenario, _, _| {
                for plan in scenario.of("free-air") {
                    plan.what = What::Shorted;
                }
            },
            mild: redo(Code::DriverShorted),
            severe: redo(Code::DriverShorted),
        },
        Fault {
            name: "a resistor in the driver's place",
            group: "jig",
            inject: |scenario, strength, dice| {
                let ohm = strength.pick(dice.between(4.0, 16.0), dice.between(50.0, 100.0));
                for plan in scenario.driver_takes() {
                    plan.what = What::Resistor(ohm);
                }
            },
            mild: redo(Code::NoResonance),
            severe: redo(Code::NoResonance),
        },
        Fault {
            name: "a capacitor in series with the driver",
            group: "jig",
            inject: |scenario, strength, dice| {
                // Mild: as of a woofer's high-pass; severe: as of a tweeter's.
                let fs_hz = scenario.about.fs_hz;
                let reactance = strength.pick(dice.between(1.0, 2.0), dice.between(5.0, 15.0));
                let farad =
                    1.0 / (std::f64::consts::TAU * fs_hz * reactance * scenario.about.re_ohm);
                for plan in scenario.driver_takes() {
                    plan.bench.series_f = Some(farad);
                }
            },
            mild: redo(Code::SeriesCapacitor),
            severe: redo(Code::SeriesCapacitor),
        },
    ]
}

/// A check resistor so many times the sense resistor, or so many times less where that would be too small.
fn check(scenario: &Scenario, factor: f64) -> Stated {
    let sense_ohm = scenario.sense_ohm.value;
    let ohm = match scenario.wiring {
        Wiring::AcrossDriver => sense_ohm / factor,
        Wiring::AcrossResistor => sense_ohm * factor,
    };
    Stated::within(ohm, 0.005 * ohm)
}

/// Types the sense resistor this many times what it is.
fn sense_typed(scenario: &mut Scenario, factor: f64) {
    let ohm = scenario.sense_ohm.value * factor;
    scenario.sense_ohm = Stated::within(ohm, 0.01 * ohm);
}
