//! What goes wrong with the recording itself.

use std::sync::Arc;

use farcone::bench::{BenchTake, Spoil};
use farcone::finding::{Code, Verdict};

use crate::dice::Dice;
use crate::fault::{Expect, Fault};
use crate::scenario::{Scenario, Strength};

/// Bits of the files.
const BITS: u32 = 24;

fn fault(name: &'static str, code: Code, inject: fn(&mut Scenario, Strength, &mut Dice)) -> Fault {
    Fault::refused(name, "recording", code, inject)
}

pub fn faults() -> Vec<Fault> {
    let note = |code| Expect::named(code, Verdict::Good);
    let usable = |code| Expect::named(code, Verdict::Usable);
    vec![
        fault(
            "input clipped",
            Code::Clipped,
            |scenario, strength, dice| {
                let share = strength.pick(dice.between(0.85, 0.95), dice.between(0.3, 0.6));
                for plan in scenario.driver_takes() {
                    let peak = plan.peak_v() * plan.bench.source.gain;
                    plan.bench.source.clip_level = Some(share * peak * source_share(&plan.bench));
                }
            },
        ),
        Fault {
            mild: note(Code::Hum),
            severe: note(Code::Hum),
            ..fault("mains hum", Code::Hum, |scenario, strength, dice| {
                let peak = 10_f64.powf(
                    strength.pick(dice.between(-90.0, -80.0), dice.between(-70.0, -60.0)) / 20.0,
                );
                let mains_hz = if dice.between(0.0, 1.0) < 0.5 {
                    50.0
                } else {
                    60.0
                };
                for plan in scenario.plans.iter_mut() {
                    plan.bench.mains_hz = mains_hz;
                    plan.bench.source.hum_peak = vec![peak, 0.3 * peak, 0.5 * peak];
                    plan.bench.driver.hum_peak = vec![0.6 * peak, 0.2 * peak, 0.4 * peak];
                }
            })
        },
        fault(
            "frames lost",
            Code::FramesLost,
            |scenario, strength, dice| {
                let n_frames =
                    strength.pick(dice.between(60.0, 200.0), dice.between(500.0, 4000.0)) as usize;
                let at_s = while_it_sounds(scenario, dice);
                spoil(scenario, Spoil::LostFrames { at_s, n_frames });
            },
        ),
        fault(
            "frames repeated",
            Code::FramesLost,
            |scenario, strength, dice| {
                let n_frames =
                    strength.pick(dice.between(60.0, 200.0), dice.between(500.0, 4000.0)) as usize;
                let at_s = while_it_sounds(scenario, dice);
                spoil(scenario, Spoil::RepeatedFrames { at_s, n_frames });
            },
        ),
        fault(
            "blank stretch",
            Code::FramesLost,
            |scenario, strength, dice| {
                let length_s = strength.pick(dice.between(0.01, 0.03), dice.between(0.05, 0.3));
                let at_s = while_it_sounds(scenario, dice);
                spoil(scenario, Spoil::Blank { at_s, length_s });
            },
        ),
        fault(
            "level moved",
            Code::LevelMoved,
            |scenario, strength, dice| {
                let step_db = strength.pick(dice.between(1.0, 2.0), dice.between(-12.0, -4.0));
                let at_s = while_it_sounds(scenario, dice);
                spoil(scenario, Spoil::LevelStep { at_s, step_db });
            },
        ),
        fault(
            "automatic gain",
            Code::GainControl,
            |scenario, strength, dice| {
                // Before it turns down, a peak of −12 dBFS must not be clipped: that would be another fault.
                let most_db = strength.pick(dice.between(4.0, 6.0), dice.between(8.0, 10.5));
                let target_peak = 0.4 * scenario.plans[0].peak_v();
                let (attack_s, release_s) = (dice.between(0.01, 0.1), dice.between(0.3, 1.0));
                spoil(
                    scenario,
                    Spoil::AutomaticGain {
                        target_peak,
                        most_db,
                        attack_s,
                        release_s,
                        linked: true,
                    },
                );
            },
        ),
        fault("noise gate", Code::Gated, |scenario, strength, dice| {
            let depth_db = strength.pick(dice.between(8.0, 15.0), f64::INFINITY);
            let threshold_peak = dice.between(0.005, 0.02) * scenario.plans[0].peak_v();
            spoil(
                scenario,
                Spoil::Gate {
                    threshold_peak,
                    depth_db,
                },
            );
        }),
        fault(
            "channels mixed",
            Code::ChannelsMixed,
            |scenario, strength, dice| {
                let share = strength.pick(dice.between(0.1, 0.15), dice.between(0.3, 0.7));
                spoil(scenario, Spoil::Mixed { share });
            },
        ),
        Fault {
            mild: note(Code::DcOffset),
            severe: usable(Code::DcOffset),
            ..fault(
                "steady offset",
                Code::DcOffset,
                |scenario, strength, dice| {
                    let offset = strength.pick(dice.between(0.005, 0.03), dice.between(0.06, 0.2));
                    spoil(scenario, Spoil::Offset { offset });
                },
            )
        },
        Fault {
            mild: usable(Code::NoSilence),
            // Without silence the transform is tapered, which bends the lowest points.
            severe: Expect::with(
                Code::NoSilence,
                Verdict::Usable,
                &[
                    Code::CoilUnsure,
                    Code::PoorResidual,
                    Code::StartsTooHigh,
                    Code::ExtraLoop,
                ],
            ),
            ..fault("no silence", Code::NoSilence, |scenario, strength, dice| {
                // The silence of the setups is half a second before and a second after.
                let from_start_s = strength.pick(0.0, dice.between(0.48, 0.5));
                let from_end_s = dice.between(0.99, 1.0);
                spoil(
                    scenario,
                    Spoil::Cut {
                        from_start_s,
                        from_end_s,
                    },
                );
            })
        },
    ]
}

/// What the source's own impedance leaves of its voltage, at least.
fn source_share(bench: &farcone::bench::Bench) -> f64 {
    bench.sense_ohm / (bench.sense_ohm + bench.source_ohm)
}

/// Somewhere in the middle of the stimulus, s.
fn while_it_sounds(scenario: &Scenario, dice: &mut Dice) -> f64 {
    let plan = &scenario.plans[0];
    let sounds_s = plan.stimulus.len() as f64 / plan.rate_hz - 1.5;
    0.5 + dice.between(0.3, 0.85) * sounds_s
}

/// Does it to all takes of the driver.
fn spoil(scenario: &mut Scenario, spoil: Spoil) {
    for plan in scenario.driver_takes() {
        let spoil = spoil.clone();
        plan.spoil.push(Arc::new(move |take: &mut BenchTake, _| {
            *take = take.clone().spoiled(&spoil).rounded(BITS);
        }));
    }
}
