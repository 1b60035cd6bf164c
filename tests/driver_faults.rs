//! What is wrong with a driver, as its takes and curves show it: what touches the cone, and more than one resonance.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::print_stdout,
    reason = "a test fails by panicking and prints the figures it measured"
)]

use farcone::bench::{
    Bench, BenchTake, Buzz, Element, ExtraResonance, Mounting, Noise, NonlinearDriver, Rub, Stop,
    Wiring, drivers,
};
use farcone::circuit::Circuit;
use farcone::faults::touching;
use farcone::fit::second_peak;
use farcone::impedance::ImpedanceCurve;
use farcone::quantity::FrequencyGrid;
use farcone::recording::Take;
use farcone::signal::{Envelope, Leftover, SynchronizedSweep, leftover};

fn sweep(duration_s: f64, level_dbfs: f64, rate_hz: f64, fs_hz: f64) -> Vec<f64> {
    let envelope = Envelope {
        sample_rate_hz: rate_hz,
        level_dbfs,
        ..Envelope::default()
    };
    SynchronizedSweep {
        start_hz: (0.2 * fs_hz).clamp(5.0, 60.0),
        duration_s,
        envelope,
        ..SynchronizedSweep::default()
    }
    .samples()
    .unwrap()
}

fn bench(across_driver: bool, noise_dbfs: f64, bits: u32) -> Bench {
    let mut bench = if across_driver {
        Bench::new(Wiring::AcrossDriver, 47.0)
    } else {
        Bench::new(Wiring::AcrossResistor, 1.5)
    };
    bench.source_ohm = if across_driver { 10.0 } else { 0.2 };
    for channel in [&mut bench.source, &mut bench.driver] {
        channel.coupling_hz = Some(2.0);
        channel.noise = Noise::Rms(10.0_f64.powf(noise_dbfs / 20.0));
        channel.bits = Some(bits);
    }
    bench
}

fn as_take(made: BenchTake) -> Take {
    Take::new(made.sample_rate_hz as u32, made.source, made.driver).unwrap()
}

#[test]
#[cfg_attr(debug_assertions, ignore = "minutes without optimisation")]
fn clean_sweeps_are_left_alone() {
    let mut found = vec![];
    let (mut index, mut judged) = (0, 0);
    for driver in drivers() {
        for across_driver in [true, false] {
            let rate_hz = [44_100.0, 48_000.0, 96_000.0][index % 3];
            let duration_s = [2.0, 3.0, 5.0][(index / 2) % 3];
            let level_dbfs = [-40.0, -25.0, -12.0, -6.0][(index / 3) % 4];
            let noise_dbfs = [-100.0, -90.0, -80.0][(index / 5) % 3];
            let mut bench = bench(across_driver, noise_dbfs, [16, 24][(index / 7) % 2]);
            if index % 4 == 1 {
                bench.driver.hum_peak = vec![3e-4, 1e-4, 1e-4];
            }
            index += 1;
            let (circuit, values) = driver.set_up(&Mounting::FreeAir);
            let element = Element::Driver {
                circuit: &circuit,
                values: &values,
            };
            let stimulus = sweep(duration_s, level_dbfs, rate_hz, driver.truth().fs_hz);
            let take = as_take(
                bench
                    .record(&element, &stimulus, rate_hz, index as u64)
                    .unwrap(),
            );
            let windows = leftover(take.source(), take.driver(), rate_hz);
            judged += windows.len();
            let most = |of: fn(&Leftover) -> f64| windows.iter().map(of).fold(0.0, f64::max);
            let floor = windows.iter().map(|w| w.floor).fold(0.0, f64::max);
            println!(
                "{:13} {across_driver:5} {duration_s:4} s {level_dbfs:5} {noise_dbfs:5} {:4} windows, harmonic {:.5} irregular {:.5} floor {floor:.5}",
                driver.label,
                windows.len(),
                most(|w| w.harmonic),
                most(|w| w.irregular)
            );
            found.extend(touching(driver.label, &take));
        }
    }
    assert!(found.is_empty(), "{found:#?}");
    assert!(judged > 1_000, "nothing was judged: {judged}");
}

/// Everything that can touch or bend, on a small full-range driver; tests/trust has others.
#[test]
#[cfg_attr(debug_assertions, ignore = "minutes without optimisation")]
fn what_touches_and_what_bends_are_told_apart() {
    let mut wrong = vec![];
    {
        let driver = &drivers()[3];
        let fs_hz = driver.truth().fs_hz;
        let plain = NonlinearDriver::like(driver, 0.0);
        let stimulus = sweep(3.0, -12.0, 48_000.0, fs_hz);
        // The current at the resonance is about 0.25 V over 57 ohm and the driver's own.
        let motional = plain.bl_t_m.powi(2) / plain.rms_kg_per_s;
        let speed = 0.25 / (57.0 + plain.re_ohm + motional) * plain.bl_t_m / plain.rms_kg_per_s;
        let excursion_m = speed / (std::f64::consts::TAU * fs_hz);
        let force = plain.rms_kg_per_s * speed;
        let rub = |share: f64| Rub {
            from_m: 0.3 * excursion_m,
            friction_n: share * force,
            roughness: 0.8,
            grain_m: 0.1 * excursion_m,
            speed_m_per_s: 0.02 * speed,
        };
        let buzz = |share: f64| Buzz {
            mass_kg: share * plain.mms_kg,
            held_n: 0.3 * share * plain.mms_kg * speed * std::f64::consts::TAU * fs_hz,
            contact_n_per_m: share * plain.mms_kg * (std::f64::consts::TAU * 2_000.0).powi(2),
            contact_kg_per_s: 0.2 * share * plain.mms_kg * std::f64::consts::TAU * 2_000.0,
        };
        let stop = Stop {
            at_m: 0.7 * excursion_m,
            stiffness_n_per_m: 30.0 * plain.stiffness_n_per_m,
            damping_kg_per_s: plain.rms_kg_per_s,
        };
        let bend = |share: f64| NonlinearDriver {
            stiffness_bend: [0.0, share / excursion_m.powi(2)],
            ..plain
        };
        for (name, touched, expected) in [
            ("nothing", plain, None),
            (
                "rub 10 %",
                NonlinearDriver {
                    rub: Some(rub(0.1)),
                    ..plain
                },
                Some("rubs"),
            ),
            (
                "rub 60 %",
                NonlinearDriver {
                    rub: Some(rub(0.6)),
                    ..plain
                },
                Some("rubs"),
            ),
            (
                "buzz 1 %",
                NonlinearDriver {
                    buzz: Some(buzz(0.01)),
                    ..plain
                },
                Some("rubs"),
            ),
            (
                "buzz 5 %",
                NonlinearDriver {
                    buzz: Some(buzz(0.05)),
                    ..plain
                },
                Some("rubs"),
            ),
            (
                "stop",
                NonlinearDriver {
                    stop: Some(stop),
                    ..plain
                },
                Some("rubs"),
            ),
            ("spring bends a little", bend(0.05), None),
            ("spring bends", bend(1.0), Some("distorts")),
            ("spring bends far", bend(4.0), Some("distorts")),
        ] {
            let made = bench(true, -94.0, 24);
            let take = made
                .record_nonlinear(&touched, &stimulus, 48_000.0, 1)
                .unwrap();
            let take = as_take(take);
            let windows = leftover(take.source(), take.driver(), 48_000.0);
            let most = |of: fn(&Leftover) -> f64| windows.iter().map(of).fold(0.0, f64::max);
            let message = touching(name, &take).map(|finding| finding.message);
            println!(
                "{:13} {name:22} harmonic {:.5} irregular {:.5} {message:?}",
                driver.label,
                most(|w| w.harmonic),
                most(|w| w.irregular)
            );
            let said = expected.is_none_or(|word: &str| {
                message
                    .as_ref()
                    .is_some_and(|message| message.contains(word))
            });
            if !said || expected.is_none() != message.is_none() {
                wrong.push(format!("{} {name}: {message:?}", driver.label));
            }
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}

fn curve(number: usize, extra: Option<ExtraResonance>) -> ImpedanceCurve {
    let mut circuit = drivers()[number].circuit(&Mounting::FreeAir);
    if let Some(extra) = extra {
        circuit = circuit.with(extra);
    }
    let f_hz: Vec<f64> = (0..1200).map(|i| 8.0 * 1.006_f64.powi(i)).collect();
    let values = circuit.values();
    let z = f_hz
        .iter()
        .map(|&f| circuit.impedance(f, &values))
        .collect();
    ImpedanceCurve::new(FrequencyGrid::new(f_hz).unwrap(), z, None).unwrap()
}

#[test]
fn what_rides_on_the_cone_is_no_second_resonance() {
    for (number, driver) in drivers().iter().enumerate() {
        for times in [2.5, 4.0] {
            let rider = ExtraResonance::Rider {
                frequency_hz: times * driver.truth().fs_hz,
                q: 20.0,
                mass_ratio: 0.1,
            };
            let found = second_peak(&curve(number, Some(rider)));
            assert!(
                found.is_none_or(|found| found.share < 0.15),
                "{number} {found:?}"
            );
        }
    }
}

#[test]
fn a_box_with_a_port_has_two_peaks_and_a_driver_one() {
    for number in 0..drivers().len() {
        assert_eq!(second_peak(&curve(number, None)), None, "{number}");
        let fs_hz = drivers()[number].truth().fs_hz;
        for (tuning, ql, stiffness_ratio) in [(1.0, 7.0, 1.5), (0.8, 10.0, 0.7)] {
            let port = ExtraResonance::VentedBox {
                frequency_hz: tuning * fs_hz,
                ql,
                stiffness_ratio,
            };
            let found = second_peak(&curve(number, Some(port))).unwrap();
            println!("{number} {found:?}");
            assert!(found.share > 0.1);
        }
    }
}
