use super::*;
use crate::bench::drivers;
use crate::circuit::{Circuit, Load, driver};
use std::f64::consts::TAU;

const RATE_HZ: f64 = 48_000.0;

/// A chirp from 20 Hz to 5 kHz in a second, with silence behind.
fn chirp(peak_v: f64) -> Vec<f64> {
    let growth = (5_000.0_f64 / 20.0).ln();
    (0..60_000)
        .map(|i| {
            let t = f64::from(i) / RATE_HZ;
            let fade = if t < 0.05 { t / 0.05 } else { 1.0 };
            if t > 1.0 {
                return 0.0;
            }
            peak_v * fade * (TAU * 20.0 / growth * ((growth * t).exp() - 1.0)).sin()
        })
        .collect()
}

fn linear(number: usize) -> (NonlinearDriver, impl Circuit, Vec<f64>) {
    let like = NonlinearDriver::like(&drivers()[number], 0.0);
    let circuit = driver(CoilFamily::Lr2, None, Load::Free);
    let mut values = vec![like.re_ohm, like.le_h, like.l2_h, like.r2_ohm, like.bl_t_m];
    values.extend([like.mms_kg, 1.0 / like.stiffness_n_per_m, like.rms_kg_per_s]);
    (like, circuit, values)
}

/// Method: RK4 and the cubic between fine samples err by less than this for a woofer and a tweeter.
const METHOD: f64 = 1e-4;

#[test]
fn a_linear_one_is_what_the_linear_bench_records() {
    let stimulus = chirp(0.3);
    for number in [1, 3, 8] {
        for (wiring, sense_ohm) in [(Wiring::AcrossDriver, 47.0), (Wiring::AcrossResistor, 1.5)] {
            let mut bench = Bench::new(wiring, sense_ohm);
            bench.source_ohm = 3.0;
            bench.driver.coupling_hz = Some(2.0);
            let (like, circuit, values) = linear(number);
            let element = Element::Driver {
                circuit: &circuit,
                values: &values,
            };
            let exact = bench.record(&element, &stimulus, RATE_HZ, 1).unwrap();
            let stepped = bench
                .record_nonlinear(&like, &stimulus, RATE_HZ, 1)
                .unwrap();
            for (a, b) in [
                (&exact.source, &stepped.source),
                (&exact.driver, &stepped.driver),
            ] {
                let off: f64 = a.iter().zip(b).map(|(a, b)| f64::from(a - b).powi(2)).sum();
                let all: f64 = a.iter().map(|a| f64::from(*a).powi(2)).sum();
                assert!(
                    (off / all).sqrt() < METHOD,
                    "{number} {wiring:?}: {}",
                    (off / all).sqrt()
                );
            }
        }
    }
}

/// Amplitude of a frequency in a whole number of its periods.
fn amplitude(samples: &[f32], f_hz: f64) -> Complex64 {
    let n = samples.len() as f64;
    let turn = |i: usize| Complex64::cis(-TAU * f_hz * i as f64 / RATE_HZ);
    let sum: Complex64 = samples
        .iter()
        .enumerate()
        .map(|(i, v)| turn(i) * f64::from(*v))
        .sum();
    sum * (2.0 / n)
}

/// Share by which the spring stiffens at the peak of the excursion.
const BEND: f64 = 2e-3;

/// First order of perturbation: a cubic spring K·k2·x³ under x = X·cos ωt pushes with K·k2·X³/4 at 3ω; what that moves is linear.
/// Its next order is the share by which the excursion changes with the stiffness: BEND times a Q of 15, thrice for the cube, at most.
#[test]
fn a_weak_cubic_spring_makes_the_third_harmonic_of_first_order() {
    let (mut like, circuit, values) = linear(8);
    let (f_hz, peak_v) = (60.0, 0.5);
    let mut bench = Bench::new(Wiring::AcrossDriver, 47.0);
    bench.source_ohm = 3.0;
    let stimulus: Vec<f64> = (0..144_000)
        .map(|i| {
            let t = f64::from(i) / RATE_HZ;
            peak_v * (1.0 - (-t / 0.2).exp()) * (TAU * f_hz * t).sin()
        })
        .collect();
    let mechanical = |f: f64| {
        let w = TAU * f;
        Complex64::new(
            like.rms_kg_per_s,
            w * like.mms_kg - like.stiffness_n_per_m / w,
        )
    };
    let electrical = |f: f64| {
        let motional = like.bl_t_m.powi(2) / mechanical(f);
        circuit.impedance(f, &values) - motional + 50.0
    };
    let current = peak_v / (circuit.impedance(f_hz, &values) + 50.0).norm();
    let excursion = like.bl_t_m * current / mechanical(f_hz).norm() / (TAU * f_hz);
    like.stiffness_bend[1] = BEND / excursion.powi(2);
    let force = like.stiffness_n_per_m * BEND * excursion / 4.0;
    let f3 = 3.0 * f_hz;
    let speed = force / (mechanical(f3) + like.bl_t_m.powi(2) / electrical(f3)).norm();
    let expected = 50.0 * like.bl_t_m * speed / electrical(f3).norm();
    let take = bench
        .record_nonlinear(&like, &stimulus, RATE_HZ, 1)
        .unwrap();
    let steady = &take.driver[96_000..];
    let found = amplitude(steady, f3).norm();
    let even = amplitude(steady, 2.0 * f_hz).norm();
    assert!((found / expected - 1.0).abs() < 0.05, "{found} {expected}");
    assert!(
        even < 0.01 * found,
        "an odd force makes no even harmonic: {even}"
    );
}

/// What goes into the terminals is heat in the coil or in what moves; rubbing and hitting only take more.
#[test]
fn nothing_gives_energy_back() {
    let stimulus = chirp(0.5);
    let bench = Bench::new(Wiring::AcrossDriver, 47.0);
    let (like, ..) = linear(8);
    let moved = |driver: &NonlinearDriver| {
        let take = bench
            .record_nonlinear(driver, &stimulus, RATE_HZ, 1)
            .unwrap();
        let (mut into, mut heat) = (0.0, 0.0);
        for (a, b) in take.source.iter().zip(&take.driver) {
            let (a, b) = (f64::from(*a), f64::from(*b));
            let i = (a - b) / bench.sense_ohm;
            into += b * i;
            heat += like.re_ohm * i * i;
        }
        assert!(into > heat, "{into} {heat}");
        (into - heat) / into
    };
    let plain = moved(&like);
    let rub = Rub {
        from_m: f64::NEG_INFINITY,
        friction_n: 2e-3,
        roughness: 0.5,
        grain_m: 2e-5,
        speed_m_per_s: 5e-4,
    };
    let buzz = Buzz {
        mass_kg: 1e-4,
        held_n: 5e-5,
        contact_n_per_m: 1e5,
        contact_kg_per_s: 0.5,
    };
    let stop = Stop {
        at_m: 2e-5,
        stiffness_n_per_m: 3e4,
        damping_kg_per_s: 3.0,
    };
    for (name, driver) in [
        (
            "rub",
            NonlinearDriver {
                rub: Some(rub),
                ..like
            },
        ),
        (
            "buzz",
            NonlinearDriver {
                buzz: Some(buzz),
                ..like
            },
        ),
        (
            "stop",
            NonlinearDriver {
                stop: Some(stop),
                ..like
            },
        ),
    ] {
        let share = moved(&driver);
        println!("{name}: {share:.4}, plain {plain:.4}");
        assert!(
            (share - plain).abs() > 1e-4,
            "{name} does nothing: {share} {plain}"
        );
    }
}
