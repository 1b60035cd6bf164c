//! The virtual bench's linear parts, held against Kirchhoff's laws solved the long way.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::print_stdout,
    reason = "a test fails by panicking, and prints the figures it measured"
)]

use std::f64::consts::{PI, TAU};
use std::time::Instant;

use farcone::Complex64;
use farcone::bench::{Bench, BenchTake, Channel, Element, Mounting, Wiring, demo_driver, drivers};
use farcone::circuit::Circuit;

const RATE_HZ: f64 = 48_000.0;

/// Method: f32 samples round to 3e-8 of themselves, and the pulse below is down to a fifth at 10 kHz; the decay that is
/// cut off behind it is below that.
const SINGLE_PRECISION: f64 = 2e-6;

/// Rounding: one f32 sample, relative to the largest.
const SAMPLE: f64 = 1.2e-7;

const WIRINGS: [Wiring; 2] = [Wiring::AcrossDriver, Wiring::AcrossResistor];

/// Near-impulse: a Gaussian of 1.5 samples, half a second into `seconds` of silence.
fn pulse(seconds: f64) -> Vec<f64> {
    let n_samples = (seconds * RATE_HZ) as usize;
    (0..n_samples)
        .map(|index| {
            let from_centre = (index as f64 - 0.5 * RATE_HZ) / 1.5;
            (-0.5 * from_centre * from_centre).exp()
        })
        .collect()
}

/// A sweep from 10 Hz to 20 kHz that fills its time, with a fade at its end.
fn sweep(seconds: f64) -> Vec<f64> {
    let n_samples = (seconds * RATE_HZ) as usize;
    let rate = seconds / 2_000.0_f64.ln();
    (0..n_samples)
        .map(|index| {
            let t_s = index as f64 / RATE_HZ;
            let fade = ((seconds - t_s) / 0.01).min(1.0);
            0.3 * fade * (TAU * 10.0 * rate * ((t_s / rate).exp() - 1.0)).sin()
        })
        .collect()
}

/// The Fourier sum at one frequency, the slow way.
fn fourier(samples: impl Iterator<Item = f64>, frequency_hz: f64) -> Complex64 {
    let turn = Complex64::cis(-TAU * frequency_hz / RATE_HZ);
    let mut phasor = Complex64::ONE;
    let mut sum = Complex64::ZERO;
    for (index, sample) in samples.enumerate() {
        if index % 1_024 == 0 {
            phasor = Complex64::cis(-TAU * frequency_hz / RATE_HZ * index as f64);
        }
        sum += phasor * sample;
        phasor *= turn;
    }
    sum
}

fn response(take: &BenchTake, stimulus: &[f64], frequency_hz: f64) -> [Complex64; 2] {
    let played = fourier(stimulus.iter().copied(), frequency_hz);
    [&take.source, &take.driver]
        .map(|channel| fourier(channel.iter().map(|&s| f64::from(s)), frequency_hz) / played)
}

/// Node voltages for a source of one volt: the nodal equations of the two nodes, by Cramer's rule, from impedances.
fn nodal(bench: &Bench, element_ohm: Complex64) -> [Complex64; 2] {
    let source_ohm = bench.source_ohm;
    let element = 1.0 / (element_ohm + bench.lead_ohm);
    let sense = Complex64::from(1.0 / bench.sense_ohm);
    let (between, foot) = match bench.wiring {
        Wiring::AcrossDriver => (sense, element),
        _ => (element, sense),
    };
    let load = |channel: &Channel| channel.load_ohm.map_or(0.0, f64::recip);
    // (1/Zs + Y1 + Yb)·V1 − Yb·V2 = E/Zs;  −Yb·V1 + (Yb + Yf + Y2)·V2 = 0
    let a = between + load(&bench.source) + 1.0 / source_ohm;
    let d = between + foot + load(&bench.driver);
    let determinant = a * d - between * between;
    [
        d / source_ohm / determinant,
        between / source_ohm / determinant,
    ]
}

fn high_pass(corner_hz: f64, frequency_hz: f64) -> Complex64 {
    1.0 / Complex64::new(1.0, -corner_hz / frequency_hz)
}

/// A bench with every linear imperfection at once.
fn imperfect(wiring: Wiring) -> Bench {
    let sense_ohm = if wiring == Wiring::AcrossDriver {
        47.0
    } else {
        1.5
    };
    let mut bench = Bench::new(wiring, sense_ohm);
    bench.source_ohm = 3.3;
    bench.lead_ohm = 0.12;
    bench.skew_samples = 0.37;
    bench.source = Channel {
        gain: 0.8,
        coupling_hz: Some(3.0),
        load_ohm: Some(10e3),
        ..Channel::default()
    };
    bench.driver = Channel {
        gain: 0.83,
        coupling_hz: Some(4.0),
        load_ohm: Some(7e3),
        ..Channel::default()
    };
    bench
}

#[test]
fn takes_match_the_circuit_at_every_frequency() {
    let stimulus = pulse(5.0);
    let frequencies: Vec<f64> = (0..30)
        .map(|i| 7.0 * 1_450.0_f64.powf(f64::from(i) / 29.0))
        .collect();
    let mut worst = 0.0_f64;
    for wiring in WIRINGS {
        let bench = imperfect(wiring);
        for driver in [&drivers()[0], demo_driver(), &drivers()[5], &drivers()[9]] {
            let (circuit, values) = driver.set_up(&Mounting::FreeAir);
            let element = Element::Driver {
                circuit: &circuit,
                values: &values,
            };
            let take = bench.record(&element, &stimulus, RATE_HZ, 0).unwrap();
            for &f_hz in &frequencies {
                let [v_1, v_2] = nodal(&bench, circuit.impedance(f_hz, &values));
                let late = Complex64::cis(-TAU * f_hz * 0.37 / RATE_HZ);
                let expected = [
                    v_1 * 0.8 * high_pass(3.0, f_hz),
                    v_2 * 0.83 * high_pass(4.0, f_hz) * late,
                ];
                for (got, expected) in response(&take, &stimulus, f_hz).iter().zip(expected) {
                    let error = (got - expected).norm() / expected.norm();
                    worst = worst.max(error);
                    assert!(
                        error <= SINGLE_PRECISION,
                        "{wiring:?}, {}, {f_hz} Hz: {got}, expected {expected}",
                        driver.label
                    );
                }
            }
        }
    }
    println!("worst relative error of a channel: {worst:.1e}");
}

/// On an ideal bench the impedance comes back from the definition of the wiring.
#[test]
fn the_wirings_are_what_they_say() {
    let stimulus = pulse(5.0);
    let (circuit, values) = demo_driver().set_up(&Mounting::AddedMass {
        added_mass_kg: 2e-3,
    });
    let element = Element::Driver {
        circuit: &circuit,
        values: &values,
    };
    for f_hz in [20.0, 75.0, 95.0, 1_000.0, 9_000.0] {
        let truth = circuit.impedance(f_hz, &values);
        for wiring in WIRINGS {
            let take = Bench::new(wiring, 10.0)
                .record(&element, &stimulus, RATE_HZ, 0)
                .unwrap();
            let [v_1, v_2] = response(&take, &stimulus, f_hz);
            let ratio = v_2 / v_1;
            let z_ohm = match wiring {
                Wiring::AcrossDriver => 10.0 * ratio / (1.0 - ratio),
                _ => 10.0 * (1.0 / ratio - 1.0),
            };
            // Z = R·H/(1 − H) and its like magnify an error of H by up to (1 + Z/R)(1 + R/Z), below 10 here.
            assert!(
                (z_ohm - truth).norm() <= 10.0 * SINGLE_PRECISION * truth.norm(),
                "{z_ohm} {truth}"
            );
        }
    }
}

#[test]
fn other_elements_are_what_they_say() {
    let stimulus = pulse(1.0);
    for wiring in WIRINGS {
        let mut bench = Bench::new(wiring, 22.0);
        bench.lead_ohm = 0.5;
        let ratio = |bench: &Bench, element: Element<'_>| {
            let take = bench.record(&element, &stimulus, RATE_HZ, 0).unwrap();
            let [v_1, v_2] = response(&take, &stimulus, 440.0);
            v_2 / v_1
        };
        let expected = |element_ohm: f64| match wiring {
            Wiring::AcrossDriver => element_ohm / (22.0 + element_ohm),
            _ => 22.0 / (22.0 + element_ohm),
        };
        let check = ratio(&bench, Element::Resistor(10.0));
        assert!(
            (check - expected(10.5)).norm() <= SINGLE_PRECISION,
            "{check}"
        );
        let shorted = ratio(&bench, Element::Shorted);
        assert!(
            (shorted - expected(0.5)).norm() <= SINGLE_PRECISION,
            "{shorted}"
        );
        let open = ratio(&bench, Element::Open);
        let nothing = if wiring == Wiring::AcrossDriver {
            1.0
        } else {
            0.0
        };
        assert!((open - nothing).norm() <= SINGLE_PRECISION, "{open}");
        bench.lead_ohm = 0.0;
        let perfect_short = ratio(&bench, Element::Shorted);
        assert!(
            (perfect_short - expected(0.0)).norm() <= SINGLE_PRECISION,
            "{perfect_short}"
        );
        // Open terminals show what the input draws.
        bench.driver.load_ohm = Some(10e3);
        let loaded = ratio(&bench, Element::Open);
        let drawn = if wiring == Wiring::AcrossDriver {
            10e3 / (10e3 + 22.0)
        } else {
            0.0
        };
        assert!((loaded - drawn).norm() <= SINGLE_PRECISION, "{loaded}");
    }
}

#[test]
fn same_node_gives_identical_channels() {
    for wiring in WIRINGS {
        let mut bench = Bench::new(wiring, 47.0);
        bench.source_ohm = 10.0;
        bench.source.load_ohm = Some(5e3);
        bench.driver.load_ohm = Some(20e3);
        let stimulus = sweep(1.0);
        let take = bench
            .record(&Element::SameNode, &stimulus, RATE_HZ, 0)
            .unwrap();
        assert_eq!(take.source, take.driver);
        // Both inputs load the source: 5 and 20 kilohm side by side are 4 kilohm.
        for (&recorded, played) in take.source.iter().zip(&stimulus) {
            assert!((f64::from(recorded) - played * 4e3 / 4.01e3).abs() <= SAMPLE);
        }
    }
}

/// More silence behind the stimulus must not change the take: nothing that rings on comes round to the beginning. The
/// driver rings longest of all, and the coupling corner is low.
#[test]
fn nothing_wraps_round() {
    let driver = drivers().last().unwrap();
    let (circuit, values) = driver.set_up(&Mounting::FreeAir);
    let element = Element::Driver {
        circuit: &circuit,
        values: &values,
    };
    let mut bench = Bench::new(Wiring::AcrossDriver, 47.0);
    bench.driver.coupling_hz = Some(1.0);
    let fs_hz = driver.truth().fs_hz;
    let mut stimulus: Vec<f64> = (0..96_000)
        .map(|i| {
            let (from_start, from_end) = (f64::from(i), f64::from(95_999 - i));
            // Smooth ends keep the spectrum clear of half the sample rate, where no sampled response is causal.
            let fade = (from_start.min(from_end) / 2_400.0).min(1.0);
            0.5 * (0.5 - 0.5 * (PI * fade).cos()) * (TAU * fs_hz * from_start / RATE_HZ).sin()
        })
        .collect();
    let short = bench.record(&element, &stimulus, RATE_HZ, 0).unwrap();
    stimulus.resize(stimulus.len() * 12, 0.0);
    let long = bench.record(&element, &stimulus, RATE_HZ, 0).unwrap();
    for (a, b) in short.driver.iter().zip(&long.driver) {
        assert!(f64::from((a - b).abs()) <= SAMPLE, "{a} {b}");
    }
    // And it starts from rest.
    println!("first sample {:.1e}", short.driver[0]);
    assert!(short.driver[0].abs() <= SAMPLE as f32);
}

#[test]
fn whole_samples_of_skew_shift_the_channel() {
    let mut bench = Bench::new(Wiring::AcrossDriver, 47.0);
    let stimulus = pulse(1.0);
    let aligned = bench
        .record(&Element::SameNode, &stimulus, RATE_HZ, 0)
        .unwrap();
    bench.skew_samples = 3.0;
    let skewed = bench
        .record(&Element::SameNode, &stimulus, RATE_HZ, 0)
        .unwrap();
    assert_eq!(aligned.source, skewed.source);
    for (early, late) in aligned.driver.iter().zip(&skewed.driver[3..]) {
        assert!(f64::from((early - late).abs()) <= SAMPLE);
    }
}

#[test]
fn drift_leads_from_one_resistance_to_the_other() {
    let stimulus = sweep(2.0);
    let mut bench = Bench::new(Wiring::AcrossDriver, 10.0);
    let (circuit, mut values) = demo_driver().set_up(&Mounting::FreeAir);
    let take = |bench: &Bench, values: &[f64]| {
        let element = Element::Driver {
            circuit: &circuit,
            values,
        };
        bench
            .record(&element, &stimulus, RATE_HZ, 0)
            .unwrap()
            .driver
    };
    let cold = take(&bench, &values);
    bench.re_drift = 0.02;
    let drifting = take(&bench, &values);
    bench.re_drift = 0.0;
    values[0] *= 1.02;
    let warm = take(&bench, &values);
    let n_steps = (cold.len() - 1) as f64;
    let mut moved = 0.0_f64;
    for (index, drifted) in drifting.iter().enumerate() {
        let (cold, warm) = (f64::from(cold[index]), f64::from(warm[index]));
        let expected = cold + (warm - cold) * index as f64 / n_steps;
        assert!((f64::from(*drifted) - expected).abs() <= SAMPLE, "{index}");
        moved = moved.max((f64::from(*drifted) - cold).abs());
    }
    assert!(
        moved > 1e-4,
        "the drift must be heard, but moved a sample by {moved} at most"
    );
}

/// Prints how long a take takes to make. No limit: machines differ.
#[test]
fn speed_of_a_ten_second_take() {
    let stimulus = sweep(10.0);
    let (circuit, values) = demo_driver().set_up(&Mounting::FreeAir);
    let element = Element::Driver {
        circuit: &circuit,
        values: &values,
    };
    for (text, bench) in [
        ("ideal", Bench::new(Wiring::AcrossDriver, 47.0)),
        ("imperfect", imperfect(Wiring::AcrossDriver)),
    ] {
        bench.record(&element, &stimulus, RATE_HZ, 0).unwrap();
        let begin = Instant::now();
        bench.record(&element, &stimulus, RATE_HZ, 0).unwrap();
        println!(
            "{text}: 10 s at 48 kHz in {:.0} ms",
            begin.elapsed().as_secs_f64() * 1e3
        );
    }
}
