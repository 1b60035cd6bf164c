//! Plugs, knobs and files that are simply wrong.

use std::sync::Arc;

use farcone::bench::{BenchTake, Element, Noise};
use farcone::finding::{Code, Verdict};

use crate::dice::Dice;
use crate::fault::{Expect, Fault};
use crate::scenario::{Plan, Scenario, Strength, What};

fn redo(name: &'static str, code: Code, inject: fn(&mut Scenario, Strength, &mut Dice)) -> Fault {
    Fault::refused(name, "recording", code, inject)
}

pub fn faults() -> Vec<Fault> {
    vec![
        Fault {
            mild: Expect::with(
                Code::TooQuiet,
                Verdict::Usable,
                &[Code::Noisy, Code::NoSilence],
            ),
            severe: Expect::with(
                Code::TooQuiet,
                Verdict::Redo,
                &[
                    Code::Noisy,
                    Code::NoSignal,
                    Code::DeadChannel,
                    Code::DriverOpen,
                    Code::DriverShorted,
                    Code::NoSilence,
                ],
            ),
            ..redo(
                "recorded too quietly",
                Code::TooQuiet,
                |scenario, strength, dice| {
                    // Steps of a file of 16 bits between nothing and the source's peak.
                    let steps = strength.pick(dice.between(12.0, 18.0), dice.between(1.2, 2.5));
                    for plan in &mut scenario.plans {
                        let gain = steps / 32_768.0 / plan.peak_v() / source_share(plan);
                        for channel in [&mut plan.bench.source, &mut plan.bench.driver] {
                            channel.gain *= gain;
                            channel.bits = Some(16);
                        }
                    }
                },
            )
        },
        Fault {
            mild: Expect::with(Code::Noisy, Verdict::Usable, &[Code::NoSilence]),
            severe: Expect::with(
                Code::Noisy,
                Verdict::Redo,
                &[
                    Code::NoSignal,
                    Code::MeterDisagrees,
                    Code::NotIdentifiable,
                    Code::NoResonance,
                    Code::GainControl,
                    Code::Clipped,
                    Code::NoSilence,
                    Code::TakesDiffer,
                    Code::WrongWiring,
                ],
            ),
            ..redo("noisy input", Code::Noisy, |scenario, strength, dice| {
                let more = strength.pick(dice.between(0.035, 0.05), dice.between(0.35, 0.5));
                noise(scenario, more);
            })
        },
        redo(
            "one input silent",
            Code::DeadChannel,
            |scenario, strength, _| {
                // Its last bits still move, or not even they.
                let left = strength.pick(2e-5, 0.0);
                scenario.spoil(move |take, _| {
                    take.driver.iter_mut().for_each(|v| *v = v.signum() * left);
                });
            },
        ),
        redo(
            "both channels are one input",
            Code::IdenticalChannels,
            |scenario, _, _| {
                scenario.spoil(|take, _| take.driver.clone_from(&take.source));
            },
        ),
        Fault {
            mild: Expect::with(Code::PlaybackCopied, Verdict::Redo, COPIED),
            severe: Expect::with(Code::PlaybackCopied, Verdict::Redo, COPIED),
            ..redo(
                "a copy of what was played",
                Code::PlaybackCopied,
                |scenario, strength, dice| {
                    scenario.played = true;
                    let gain = strength.pick(dice.between(0.3, 0.6) as f32, 1.0);
                    for plan in &mut scenario.plans {
                        let stimulus = Arc::clone(&plan.stimulus);
                        plan.spoil.push(Arc::new(move |take: &mut BenchTake, _| {
                            for (sample, played) in take.source.iter_mut().zip(stimulus.iter()) {
                                *sample = gain * *played as f32;
                            }
                        }));
                    }
                },
            )
        },
        Fault {
            mild: Expect::with(Code::WrongRate, Verdict::Redo, &[Code::MeterDisagrees]),
            severe: Expect::with(Code::WrongRate, Verdict::Redo, &[Code::MeterDisagrees]),
            ..redo(
                "another sample rate in the header",
                Code::WrongRate,
                |scenario, strength, _| {
                    scenario.played = true;
                    for plan in &mut scenario.plans {
                        // 44.1 kHz and 48 kHz taken for each other; or a clock that is off by half a percent.
                        let rate_hz = plan.rate_hz;
                        let wrong_hz = if (rate_hz - 48_000.0).abs() < 1.0 {
                            44_100.0
                        } else {
                            48_000.0
                        };
                        plan.header_hz = Some(strength.pick(1.005 * rate_hz, wrong_hz) as u32);
                    }
                },
            )
        },
        redo(
            "input fed back to the output",
            Code::MonitoringOn,
            |scenario, strength, dice| {
                scenario.played = true;
                let gain = strength.pick(dice.between(0.06, 0.1), dice.between(0.3, 0.5));
                let delay_s = dice.between(0.004, 0.03);
                scenario.spoil(move |take, _| {
                    let delay = (delay_s * take.sample_rate_hz) as usize;
                    for channel in [&mut take.source, &mut take.driver] {
                        for i in delay..channel.len() {
                            channel[i] += gain as f32 * channel[i - delay];
                        }
                    }
                });
            },
        ),
        // The empty top of the band is what a codec leaves as well.
        Fault {
            mild: Expect::with(Code::Resampled, Verdict::Redo, &[Code::LossyCoding]),
            severe: Expect::with(Code::Resampled, Verdict::Redo, &[Code::LossyCoding]),
            ..redo(
                "something converts the rate on the way",
                Code::Resampled,
                |scenario, strength, _| {
                    scenario.played = true;
                    // Of what is played up to 20 kHz.
                    let end_hz = strength.pick(17_000.0, 11_000.0);
                    scenario.spoil(move |take, _| {
                        let end = end_hz / take.sample_rate_hz;
                        for channel in [&mut take.source, &mut take.driver] {
                            *channel = low_passed(channel, end);
                        }
                    });
                },
            )
        },
        redo(
            "clip comes off during a take",
            Code::ContactLost,
            |scenario, strength, dice| {
                let at = dice.between(0.35, 0.6);
                let lasts_s = strength.pick(dice.between(0.3, 0.5), 60.0);
                let n = scenario.of("free-air").count();
                let which = dice.below(n);
                if let Some(plan) = scenario.of("free-air").nth(which) {
                    plan.recorder = Some(Arc::new(move |plan: &Plan| loose(plan, at, lasts_s)));
                }
            },
        ),
    ]
}

const COPIED: &[Code] = &[
    Code::MeterDisagrees,
    Code::ChannelsUnequal,
    Code::WrongWiring,
    Code::SenseWrong,
    Code::ChannelsSwapped,
];

/// What the source's own impedance leaves of its voltage, at least.
fn source_share(plan: &Plan) -> f64 {
    plan.bench.sense_ohm / (plan.bench.sense_ohm + plan.bench.source_ohm)
}

/// White noise on both inputs so that the ratio is known to this part, roughly, where a sweep has it in a band of a hundredth.
fn noise(scenario: &mut Scenario, part: f64) {
    for plan in &mut scenario.plans {
        let driver = plan.peak_v() * source_share(plan) * plan.bench.driver.gain;
        let share = match plan.what {
            What::Driver(_) => 0.15,
            _ => 1.0,
        };
        for channel in [&mut plan.bench.source, &mut plan.bench.driver] {
            channel.noise = Noise::Rms(part * 6.0 * share * driver);
        }
    }
}

/// The filter of a converter of rates that ends at this share of the sample rate: a sinc under a Blackman window.
fn low_passed(samples: &[f32], end: f64) -> Vec<f32> {
    use std::f64::consts::PI;
    const HALF: i32 = 80;
    let taps: Vec<f32> = (-HALF..=HALF)
        .map(|i| {
            let (i, n) = (f64::from(i), f64::from(2 * HALF));
            let sinc = if i == 0.0 {
                2.0 * end
            } else {
                (2.0 * PI * end * i).sin() / (PI * i)
            };
            let turn = 2.0 * PI * (i + f64::from(HALF)) / n;
            (sinc * (0.42 - 0.5 * turn.cos() + 0.08 * (2.0 * turn).cos())) as f32
        })
        .collect();
    let at = |i: usize, k: usize| samples.get((i + HALF as usize).checked_sub(k)?).copied();
    (0..samples.len())
        .map(|i| {
            let parts = taps.iter().enumerate();
            parts.map(|(k, tap)| tap * at(i, k).unwrap_or(0.0)).sum()
        })
        .collect()
}

/// The driver's leads come off.
fn loose(plan: &Plan, at: f64, lasts_s: f64) -> BenchTake {
    let mut take = plan.on_the_bench();
    let open = plan
        .bench
        .record(&Element::Open, &plan.stimulus, plan.rate_hz, plan.seed)
        .unwrap();
    let n = take.source.len();
    let from = (at * n as f64) as usize;
    let to = (from + (lasts_s * plan.rate_hz) as usize).min(n);
    take.lose_contact(&open, std::slice::from_ref(&(from..to)));
    take
}
