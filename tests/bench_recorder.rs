//! The virtual bench's recorder: noise, hum, clipping, rounding; and what the bench refuses.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::print_stdout,
    reason = "a test fails by panicking, and prints the figures it measured"
)]

use std::f64::consts::{FRAC_1_SQRT_2, TAU};

use farcone::bench::{
    Bench, BenchError, BenchTake, Channel, Element, Mounting, Noise, Wiring, demo_driver,
};
use farcone::circuit::PlainCoil;

const RATE_HZ: f64 = 48_000.0;
const N_SAMPLES: usize = 480_000;

/// Rounding: one f32 sample below full scale, and the transform.
const SAMPLE: f64 = 1.2e-7;

/// Statistical: the RMS of N normal samples scatters by 1/√(2N); five times that.
fn five_sigma() -> f64 {
    5.0 / (2.0 * N_SAMPLES as f64).sqrt()
}

fn bench() -> Bench {
    Bench::new(Wiring::AcrossDriver, 10.0)
}

fn sine(peak: f64, n_samples: usize) -> Vec<f64> {
    (0..n_samples)
        .map(|i| peak * (TAU * 997.0 * i as f64 / RATE_HZ).sin())
        .collect()
}

fn record(bench: &Bench, stimulus: &[f64], seed: u64) -> BenchTake {
    bench
        .record(&Element::Resistor(10.0), stimulus, RATE_HZ, seed)
        .unwrap()
}

fn rms(samples: &[f32]) -> f64 {
    (samples.iter().map(|&s| f64::from(s).powi(2)).sum::<f64>() / samples.len() as f64).sqrt()
}

#[test]
fn noise_has_the_stated_level_and_each_channel_its_own() {
    let mut bench = bench();
    bench.source.noise = Noise::Rms(1e-3);
    bench.driver.noise = Noise::Rms(2e-3);
    let take = record(&bench, &vec![0.0; N_SAMPLES], 7);
    assert!((rms(&take.source) / 1e-3 - 1.0).abs() <= five_sigma());
    assert!((rms(&take.driver) / 2e-3 - 1.0).abs() <= five_sigma());
    let products = take
        .source
        .iter()
        .zip(&take.driver)
        .map(|(&a, &b)| f64::from(a) * f64::from(b));
    let correlation = products.sum::<f64>() / N_SAMPLES as f64 / 2e-6;
    assert!(
        correlation.abs() <= 5.0 / (N_SAMPLES as f64).sqrt(),
        "{correlation}"
    );
}

#[test]
fn noise_below_the_signal_knows_when_the_signal_plays() {
    let mut bench = bench();
    bench.driver.noise = Noise::BelowSignalDb(40.0);
    let mut stimulus = vec![0.0; N_SAMPLES];
    stimulus.extend(sine(0.5, N_SAMPLES));
    let take = record(&bench, &stimulus, 7);
    // Ten ohm over ten ohm halve the signal; 40 dB below it is a hundredth.
    let expected = 0.5 * 0.5 * FRAC_1_SQRT_2 * 0.01;
    let noise = rms(&take.driver[..N_SAMPLES - 100]);
    assert!(
        (noise / expected - 1.0).abs() <= five_sigma(),
        "{noise} {expected}"
    );
    assert_eq!(
        rms(&take.source[..N_SAMPLES / 2]).max(SAMPLE),
        SAMPLE,
        "channel 1 is silent"
    );
}

#[test]
fn seeds_decide_everything() {
    let mut bench = bench();
    bench.source.noise = Noise::Rms(1e-4);
    bench.driver.noise = Noise::BelowSignalDb(60.0);
    bench.source.hum_peak = vec![1e-3];
    let stimulus = sine(0.5, 4_800);
    assert_eq!(record(&bench, &stimulus, 1), record(&bench, &stimulus, 1));
    assert_ne!(record(&bench, &stimulus, 1), record(&bench, &stimulus, 2));
}

/// Peak value of a sine in a recording of whole periods.
fn peak_at(samples: &[f32], frequency_hz: f64) -> f64 {
    let (mut re, mut im) = (0.0, 0.0);
    for (index, &sample) in samples.iter().enumerate() {
        let (sin, cos) = (TAU * frequency_hz * index as f64 / RATE_HZ).sin_cos();
        re += f64::from(sample) * cos;
        im += f64::from(sample) * sin;
    }
    2.0 * re.hypot(im) / samples.len() as f64
}

#[test]
fn hum_has_the_stated_peaks() {
    let mut bench = bench();
    bench.mains_hz = 60.0;
    bench.source.hum_peak = vec![3e-3, 0.0, 1e-3];
    bench.driver.hum_peak = vec![5e-3];
    let take = record(&bench, &vec![0.0; 48_000], 3);
    for (f_hz, source, driver) in [
        (60.0, 3e-3, 5e-3),
        (120.0, 0.0, 0.0),
        (180.0, 1e-3, 0.0),
        (50.0, 0.0, 0.0),
    ] {
        assert!(
            (peak_at(&take.source, f_hz) - source).abs() <= SAMPLE,
            "{f_hz}"
        );
        assert!(
            (peak_at(&take.driver, f_hz) - driver).abs() <= SAMPLE,
            "{f_hz}"
        );
    }
}

#[test]
fn clipping_cuts_at_its_level_and_nowhere_else() {
    let mut bench = bench();
    let stimulus = sine(0.9, 4_800);
    let clean = record(&bench, &stimulus, 0);
    bench.source.clip_level = Some(0.5);
    let clipped = record(&bench, &stimulus, 0);
    assert_eq!(clean.driver, clipped.driver);
    let expected: Vec<f32> = clean.source.iter().map(|s| s.clamp(-0.5, 0.5)).collect();
    assert_eq!(clipped.source, expected);
    assert!(clipped.source.contains(&0.5) && clipped.source.contains(&-0.5));
}

#[test]
fn bits_round_to_the_nearest_step_and_cut_off_at_full_scale() {
    let mut bench = bench();
    let stimulus = sine(1.2, 4_800);
    let exact = record(&bench, &stimulus, 0);
    for bits in [8, 16, 24] {
        bench.driver = Channel {
            bits: Some(bits),
            ..Channel::default()
        };
        bench.source = Channel {
            bits: Some(bits),
            ..Channel::default()
        };
        let take = record(&bench, &stimulus, 0);
        let steps = 2.0_f64.powi(bits as i32 - 1);
        for (&rounded, &exact) in take.driver.iter().zip(&exact.driver) {
            let count = f64::from(rounded) * steps;
            assert_eq!(count, count.round(), "whole steps of {bits} bits");
            assert!((f64::from(rounded - exact)).abs() <= 0.5 / steps + SAMPLE);
        }
        let largest = take.source.iter().fold(f32::MIN, |a, &b| a.max(b));
        let smallest = take.source.iter().fold(f32::MAX, |a, &b| a.min(b));
        assert_eq!(
            (f64::from(largest), f64::from(smallest)),
            (1.0 - 1.0 / steps, -1.0)
        );
    }
}

#[test]
fn nonsense_is_refused() {
    let stimulus = sine(0.5, 480);
    let refused = |bench: &Bench, element: &Element<'_>, stimulus: &[f64], rate_hz: f64| {
        bench.record(element, stimulus, rate_hz, 0).unwrap_err()
    };
    let resistor = Element::Resistor(10.0);
    assert_eq!(
        refused(&bench(), &resistor, &[], RATE_HZ),
        BenchError::EmptyStimulus
    );
    let not_finite = refused(&bench(), &resistor, &[0.0, f64::INFINITY], RATE_HZ);
    assert_eq!(
        not_finite,
        BenchError::NotFinite {
            position: 1,
            value: f64::INFINITY
        }
    );
    let setting = |error: BenchError| match error {
        BenchError::Setting { setting, .. } => setting,
        other => panic!("{other}"),
    };
    assert_eq!(
        setting(refused(&bench(), &resistor, &stimulus, 0.0)),
        "sample_rate_hz"
    );
    let zero = Element::Resistor(0.0);
    assert!(setting(refused(&bench(), &zero, &stimulus, RATE_HZ)).contains("resistor"));
    type Spoil = fn(&mut Bench);
    let spoilt: [(&str, Spoil); 11] = [
        ("sense_ohm", |b| b.sense_ohm = 0.0),
        ("source_ohm", |b| b.source_ohm = -1.0),
        ("lead_ohm", |b| b.lead_ohm = f64::NAN),
        ("skew_samples", |b| b.skew_samples = f64::INFINITY),
        ("mains_hz", |b| b.mains_hz = -50.0),
        ("gain", |b| b.source.gain = f64::NAN),
        ("coupling_hz", |b| b.driver.coupling_hz = Some(0.0)),
        ("load_ohm", |b| b.driver.load_ohm = Some(-1.0)),
        ("clip_level", |b| b.source.clip_level = Some(0.0)),
        ("noise rms", |b| b.source.noise = Noise::Rms(-1.0)),
        ("bits", |b| b.driver.bits = Some(1)),
    ];
    for (name, spoil) in spoilt {
        let mut bench = bench();
        spoil(&mut bench);
        assert_eq!(
            setting(refused(&bench, &resistor, &stimulus, RATE_HZ)),
            name
        );
    }
    let (circuit, values) = demo_driver().set_up(&Mounting::FreeAir);
    let short = Element::Driver {
        circuit: &circuit,
        values: &values[1..],
    };
    let counted = refused(&bench(), &short, &stimulus, RATE_HZ);
    assert_eq!(
        counted,
        BenchError::ValueCount {
            expected: values.len(),
            found: values.len() - 1
        }
    );
    let mut drifting = bench();
    drifting.re_drift = 0.1;
    assert_eq!(
        refused(&drifting, &resistor, &stimulus, RATE_HZ),
        BenchError::NothingDrifts
    );
    let coil = Element::Driver {
        circuit: &PlainCoil,
        values: &[1e-3],
    };
    assert_eq!(
        refused(&drifting, &coil, &stimulus, RATE_HZ),
        BenchError::NothingDrifts
    );
}
