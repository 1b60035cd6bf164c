//! The invented sound card: a take without faults is the bench's own, and each fault does what its formula says.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::print_stdout,
    reason = "a test fails by panicking, and prints the figures it measured"
)]

mod common;

use std::f64::consts::{PI, TAU};
use std::time::Instant;

use farcone::bench::{
    Arrangement, Bench, BenchCard, CardFaults, DirectMonitor, Element, Inputs, LevelStep,
    LostFrames, MicrophoneBias, Mounting, Noise, SoftSuspension, Wiring, demo_driver, drivers,
};
use farcone::capture::{CaptureError, Live, Playback, Recorded, SoundCard, Unmonitored};
use farcone::progress::{Continue, Unwatched};
use farcone::recording::Take;
use farcone::session::{Condition, Data, analyse};

const RATE_HZ: u32 = 48_000;
const OUT_V: f64 = 1.4;
const IN_V: f64 = 2.0;
const LATENCY: usize = 1_234;
const TAIL: usize = 24_000;

/// Rounding: some f32 samples on the way, relative to full scale.
const SAMPLE: f64 = 5e-7;

const WIRINGS: [Wiring; 2] = [Wiring::AcrossDriver, Wiring::AcrossResistor];

fn card(bench: Bench) -> BenchCard {
    BenchCard::new(bench, demo_driver(), RATE_HZ, OUT_V, IN_V, 7)
}

fn bench(wiring: Wiring) -> Bench {
    Bench::new(
        wiring,
        if wiring == Wiring::AcrossDriver {
            47.0
        } else {
            1.5
        },
    )
}

/// A tone with smooth ends, full scale ±1.
fn tone(f_hz: f64, level: f64, seconds: f64) -> Vec<f64> {
    let n = (seconds * f64::from(RATE_HZ)) as usize;
    (0..n)
        .map(|i| {
            let (i, from_end) = (i as f64, (n - 1 - i) as f64);
            let fade = (if i < from_end { i } else { from_end } / 4_800.0).clamp(0.0, 1.0);
            level
                * (0.5 - 0.5 * (PI * fade).cos())
                * (TAU * f_hz * i / f64::from(RATE_HZ) + 0.3).sin()
        })
        .collect()
}

fn play(card: &mut BenchCard, stimulus: &[f64]) -> Recorded {
    let playback = Playback::new(stimulus, RATE_HZ, 0.0).unwrap();
    card.record(&playback, &mut Unmonitored).unwrap()
}

fn silence(card: &mut BenchCard, seconds: f64) -> Take {
    let playback = Playback::silence(seconds, RATE_HZ);
    card.record(&playback, &mut Unmonitored).unwrap().take
}

/// The source's voltage in a take without faults.
fn emf_v(stimulus: &[f64]) -> Vec<f64> {
    let mut emf = vec![0.0; LATENCY];
    emf.extend(stimulus.iter().map(|v| f64::from(*v as f32) * OUT_V));
    emf.resize(LATENCY + stimulus.len() + TAIL, 0.0);
    emf
}

fn assert_near(got: &[f32], expected: impl IntoIterator<Item = f64>, tolerance: f64, what: &str) {
    let expected: Vec<f64> = expected.into_iter().collect();
    assert_eq!(got.len(), expected.len(), "{what}");
    for (i, (got, expected)) in got.iter().zip(&expected).enumerate() {
        assert!(
            (f64::from(*got) - expected).abs() <= tolerance,
            "{what}, sample {i}: {got}, expected {expected}"
        );
    }
}

fn scaled(samples: &[f32], factor: f64) -> impl Iterator<Item = f64> {
    samples.iter().map(move |v| f64::from(*v) * factor)
}

fn peak(samples: &[f32]) -> f64 {
    samples.iter().fold(0.0, |peak: f64, v| {
        if f64::from(v.abs()) > peak {
            f64::from(v.abs())
        } else {
            peak
        }
    })
}

#[test]
fn a_take_is_the_benchs_own() {
    let stimulus = tone(300.0, 0.2, 0.5);
    let driver = demo_driver();
    for wiring in WIRINGS {
        let mut bench = bench(wiring);
        bench.source_ohm = 2.0;
        bench.lead_ohm = 0.1;
        bench.re_drift = 0.01;
        let mounting = Mounting::AddedMass {
            added_mass_kg: 2e-3,
        };
        let (circuit, values) = driver.set_up(&mounting);
        for (arrangement, element) in [
            (
                Arrangement::Driver(mounting),
                Element::Driver {
                    circuit: &circuit,
                    values: &values,
                },
            ),
            (Arrangement::Resistor(22.0), Element::Resistor(22.0)),
            (Arrangement::Shorted, Element::Shorted),
            (Arrangement::Open, Element::Open),
            (Arrangement::SameNode, Element::SameNode),
        ] {
            let mut card = card(bench.clone());
            card.arrange(arrangement);
            let take = play(&mut card, &stimulus).take;
            let mut plain = bench.clone();
            if !matches!(arrangement, Arrangement::Driver(_)) {
                plain.re_drift = 0.0;
            }
            let expected = plain
                .record(&element, &emf_v(&stimulus), f64::from(RATE_HZ), 0)
                .unwrap();
            for (got, expected) in [
                (take.source(), &expected.source),
                (take.driver(), &expected.driver),
            ] {
                let what = format!("{wiring:?} {arrangement:?}");
                assert_near(got, scaled(expected, 1.0 / IN_V), SAMPLE, &what);
            }
            assert_eq!(take.sample_rate_hz(), RATE_HZ);
        }
    }
}

#[test]
fn equal_calls_give_equal_takes_and_each_take_its_own_noise() {
    let mut noisy = bench(Wiring::AcrossDriver);
    noisy.source.noise = Noise::Rms(1e-4);
    let [mut a, mut b] = [card(noisy.clone()), card(noisy)];
    let first = silence(&mut a, 0.2);
    assert_eq!(first, silence(&mut b, 0.2));
    assert_ne!(first, silence(&mut a, 0.2));
    assert_eq!(a.n_takes(), 2);
}

#[test]
fn the_monitor_sees_the_peaks_of_the_take_and_may_stop_it() {
    let mut card = card(bench(Wiring::AcrossDriver));
    card.arrange(Arrangement::Driver(Mounting::FreeAir));
    let stimulus = tone(500.0, 0.15, 0.51);
    let playback = Playback::new(&stimulus, RATE_HZ, 0.0).unwrap();
    let mut seen: Vec<Live> = vec![];
    let mut watch = |live: &Live| {
        seen.push(*live);
        Continue::Yes
    };
    let take = card.record(&playback, &mut watch).unwrap().take;
    assert_eq!(seen.len(), take.n_frames().div_ceil(2_400));
    for (live, (source, driver)) in seen
        .iter()
        .zip(take.source().chunks(2_400).zip(take.driver().chunks(2_400)))
    {
        for (reported, samples) in live.peak_dbfs.iter().zip([source, driver]) {
            let linear = 10.0_f64.powf(reported.unwrap() / 20.0);
            assert!((linear - peak(samples)).abs() < SAMPLE);
        }
    }
    let last = seen.last().unwrap();
    assert_eq!(last.elapsed_s, last.total_s);
    assert_eq!(last.total_s, take.duration_s());
    let mut n_calls = 0;
    let mut stop = |_: &Live| {
        n_calls += 1;
        if n_calls == 3 {
            Continue::No
        } else {
            Continue::Yes
        }
    };
    assert!(matches!(
        card.record(&playback, &mut stop),
        Err(CaptureError::Stopped)
    ));
    assert_eq!(n_calls, 3);
}

#[test]
fn another_rate_or_nonsense_is_refused() {
    let mut good = card(bench(Wiring::AcrossDriver));
    assert!(matches!(
        good.record(&Playback::silence(0.1, 44_100), &mut Unmonitored),
        Err(CaptureError::Rate { .. })
    ));
    let mut bad = BenchCard::new(
        bench(Wiring::AcrossDriver),
        demo_driver(),
        RATE_HZ,
        f64::NAN,
        1.0,
        0,
    );
    let error = bad
        .record(&Playback::silence(0.1, RATE_HZ), &mut Unmonitored)
        .unwrap_err();
    assert!(error.to_string().contains("full_scale_out_v"), "{error}");
}

/// Below 1, what goes round is a geometric train: source[n] = Σ Lᵏ·s[n − k·d].
#[test]
fn direct_monitoring_gives_a_train_of_echoes() {
    let stimulus = tone(200.0, 0.1, 0.3);
    let mut card = card(bench(Wiring::AcrossDriver));
    card.arrange(Arrangement::Driver(Mounting::FreeAir));
    let (gain, delay) = (1.0, 480);
    card.faults.direct_monitor = Some(DirectMonitor {
        gain,
        delay_frames: delay,
    });
    let take = play(&mut card, &stimulus).take;
    // The source has no impedance, so once round is the ratio of the full scales.
    let once_round = gain * OUT_V / IN_V;
    let emf = emf_v(&stimulus);
    let expected = (0..emf.len()).map(|n| {
        (0..=n / delay)
            .map(|k| once_round.powi(k as i32) * emf[n - k * delay] / IN_V)
            .sum()
    });
    // Method: the loop has noise of 1e-6 of its own, that goes round too: 1e-6/(1 − L) at 5 standard deviations.
    assert_near(take.source(), expected, 2e-5, "echoes");
}

#[test]
fn above_one_it_howls_even_in_silence() {
    let mut card = card(bench(Wiring::AcrossDriver));
    card.arrange(Arrangement::Driver(Mounting::FreeAir));
    let quiet = silence(&mut card, 2.0);
    assert_eq!(peak(quiet.source()), 0.0);
    card.faults.direct_monitor = Some(DirectMonitor {
        gain: 3.0,
        delay_frames: 300,
    });
    let take = silence(&mut card, 2.0);
    // The output is at its own full scale, 1.4 V of the input's 2 V.
    let end = &take.source()[take.n_frames() - 4_800..];
    println!("howl: {}", peak(end));
    assert!((peak(end) - OUT_V / IN_V).abs() < 0.01);
    let rms = (end.iter().map(|v| f64::from(v * v)).sum::<f64>() / 4_800.0).sqrt();
    assert!(rms > 0.5 * OUT_V / IN_V, "{rms}");
}

/// Kirchhoff at two nodes by Cramer's rule, conductances in siemens and currents in ampere, with a source of 1/`source`.
fn two_nodes(source: f64, between: f64, foot: f64, loads: [f64; 2], into_a: [f64; 2]) -> [f64; 2] {
    let (a, d) = (source + between + loads[0], between + foot + loads[1]);
    let determinant = a * d - between * between;
    [
        (into_a[0] * d + into_a[1] * between) / determinant,
        (into_a[1] * a + into_a[0] * between) / determinant,
    ]
}

#[test]
fn microphone_inputs_load_the_jig_and_put_dc_on_it() {
    let (source_ohm, element_ohm, lead_ohm) = (33.0, 10.0, 0.2);
    let stimulus = tone(1_000.0, 0.2, 0.3);
    let bias = MicrophoneBias {
        ohm: 2_000.0,
        open_v: 2.5,
    };
    for wiring in WIRINGS {
        let mut bench = bench(wiring);
        bench.source_ohm = source_ohm;
        bench.lead_ohm = lead_ohm;
        bench.driver.load_ohm = Some(10_000.0);
        let element = 1.0 / (element_ohm + lead_ohm);
        let sense = 1.0 / bench.sense_ohm;
        let (between, foot) = if wiring == Wiring::AcrossDriver {
            (sense, element)
        } else {
            (element, sense)
        };
        let loads = [1.0 / 2_000.0, 1.0 / 2_000.0 + 1.0 / 10_000.0];
        let solve = |into_a| two_nodes(1.0 / source_ohm, between, foot, loads, into_a);
        let signal = solve([1.0 / source_ohm, 0.0]);
        let dc = solve([2.5 / 2_000.0; 2]);
        let mut card = card(bench);
        card.arrange(Arrangement::Resistor(element_ohm));
        card.faults.microphone_bias = Some(bias);
        let take = play(&mut card, &stimulus).take;
        let emf = emf_v(&stimulus);
        for (got, i) in [(take.source(), 0), (take.driver(), 1)] {
            let expected = emf.iter().map(|e| (e * signal[i] + dc[i]) / IN_V);
            assert_near(got, expected, SAMPLE, &format!("{wiring:?} channel {i}"));
        }
        assert!(dc[1] > 1e-3, "the DC must be seen: {dc:?}");
        // An input that is coupled by a capacitor does not pass it on.
        card.bench.source.coupling_hz = Some(3.0);
        let coupled = silence(&mut card, 0.1);
        assert_eq!(peak(coupled.source()), 0.0);
        assert!(peak(coupled.driver()) > 0.0);
    }
    // On one node: both supplies push into the source's impedance and each other.
    let mut bench = bench(Wiring::AcrossDriver);
    bench.source_ohm = source_ohm;
    let mut card = card(bench);
    card.arrange(Arrangement::SameNode);
    card.faults.microphone_bias = Some(bias);
    let expected = 2.0 * 2.5 / 2_000.0 / (1.0 / source_ohm + 2.0 / 2_000.0) / IN_V;
    let take = silence(&mut card, 0.1);
    assert!((peak(take.source()) - expected).abs() < SAMPLE);
    assert_eq!(take.source(), take.driver());
}

#[test]
fn a_weak_output_clips_its_current() {
    let stimulus = tone(400.0, 0.5, 0.3);
    for wiring in WIRINGS {
        let bench = bench(wiring);
        let sense_ohm = bench.sense_ohm;
        let loop_ohm = sense_ohm + 8.0;
        let most_a = 0.4 * 0.5 * OUT_V / loop_ohm;
        let mut card = card(bench);
        card.faults.most_output_a = Some(most_a);
        // A resistor's current follows its voltage, which is then simply cut off.
        card.arrange(Arrangement::Resistor(8.0));
        let take = play(&mut card, &stimulus).take;
        let limit_v = most_a * loop_ohm;
        let emf = emf_v(&stimulus);
        let clipped = emf.iter().map(|e| e.clamp(-limit_v, limit_v) / IN_V);
        assert_near(take.source(), clipped, SAMPLE, &format!("{wiring:?}"));
        // A driver's current, coil and resonance included, stays below the limit too.
        for f_hz in [95.0, 400.0, 8_000.0] {
            card.arrange(Arrangement::Driver(Mounting::FreeAir));
            let limit = |card: &mut BenchCard, most_a| {
                card.faults.most_output_a = most_a;
                let take = play(card, &tone(f_hz, 0.5, 0.3)).take;
                let current = take.source().iter().zip(take.driver()).map(|(s, d)| {
                    let across = if wiring == Wiring::AcrossDriver {
                        s - d
                    } else {
                        *d
                    };
                    across * (IN_V / sense_ohm) as f32
                });
                peak(&current.collect::<Vec<f32>>())
            };
            let free_a = limit(&mut card, None);
            let limit_a = 0.4 * free_a;
            let limited_a = limit(&mut card, Some(limit_a));
            println!(
                "{wiring:?} {f_hz} Hz: limit {limit_a:.5} A, reached {:.4} of it",
                limited_a / limit_a
            );
            // Method: NEAR_ENOUGH is 1 %.
            assert!(limited_a <= 1.011 * limit_a);
            assert!(limited_a >= 0.8 * limit_a);
        }
    }
}

#[test]
fn knobs_plugs_and_missing_inputs() {
    let stimulus = tone(300.0, 0.2, 0.3);
    let plain = {
        let mut card = card(bench(Wiring::AcrossDriver));
        card.arrange(Arrangement::Resistor(8.0));
        play(&mut card, &stimulus).take
    };
    let with = |faults: CardFaults| {
        let mut card = card(bench(Wiring::AcrossDriver));
        card.arrange(Arrangement::Resistor(8.0));
        card.faults = faults;
        card.record(
            &Playback::new(&stimulus, RATE_HZ, 0.0).unwrap(),
            &mut Unmonitored,
        )
    };
    let turned = with(CardFaults {
        knobs: [1.0, 2.5],
        ..CardFaults::default()
    })
    .unwrap()
    .take;
    assert_eq!(turned.source(), plain.source());
    assert_near(turned.driver(), scaled(plain.driver(), 2.5), SAMPLE, "knob");
    let swapped = with(CardFaults {
        swapped: true,
        ..CardFaults::default()
    })
    .unwrap()
    .take;
    assert_eq!(swapped, plain.clone().swapped());
    let mono = with(CardFaults {
        inputs: Inputs::Mono,
        ..CardFaults::default()
    })
    .unwrap()
    .take;
    assert_eq!(mono.source(), plain.source());
    assert_eq!(mono.driver(), plain.source());
    let one = with(CardFaults {
        inputs: Inputs::One,
        ..CardFaults::default()
    });
    assert!(matches!(
        one,
        Err(CaptureError::OneInput { n_channels: 1, .. })
    ));
    let clipped = with(CardFaults {
        knobs: [20.0, 1.0],
        ..CardFaults::default()
    })
    .unwrap()
    .take;
    assert_near(
        clipped.source(),
        scaled(plain.source(), 20.0).map(|v| v.clamp(-1.0, 1.0)),
        20.0 * SAMPLE,
        "an input clips at full scale",
    );
}

/// 12 dB more move the resonance by the stated share: as a driver whose compliance is that much greater.
#[test]
fn a_soft_suspension_follows_the_level() {
    let driver = drivers()[5];
    let f_hz = driver.truth().fs_hz;
    let change = -0.03;
    for wiring in WIRINGS {
        let take = |driver, soft, level| {
            let mut card = BenchCard::new(bench(wiring), &driver, RATE_HZ, OUT_V, IN_V, 7);
            card.arrange(Arrangement::Driver(Mounting::FreeAir));
            card.faults.soft_suspension = soft;
            play(&mut card, &tone(f_hz, level, 0.5)).take
        };
        // The reference is the driver's own peak, so that this take is the linear one.
        let linear = take(driver, None, 0.04);
        let across: Vec<f32> = match wiring {
            Wiring::AcrossDriver => linear.driver().to_vec(),
            _ => {
                let both = linear.source().iter().zip(linear.driver());
                both.map(|(s, d)| s - d).collect()
            }
        };
        let soft = Some(SoftSuspension {
            fs_change_per_12_db: change,
            reference_peak_v: IN_V * peak(&across),
        });
        let same = take(driver, soft, 0.04);
        assert_near(same.driver(), scaled(linear.driver(), 1.0), SAMPLE, "same");
        let louder = take(driver, soft, 0.04 * 10.0_f64.powf(12.0 / 20.0));
        let mut softer = driver;
        softer.cms_m_per_n /= (1.0 + change) * (1.0 + change);
        assert!(
            (softer.truth().fs_hz / f_hz - (1.0 + change)).abs() < 3e-3,
            "creep leaves the change nearly as it is"
        );
        let expected = take(softer, None, 0.04 * 10.0_f64.powf(12.0 / 20.0));
        assert_near(
            louder.driver(),
            scaled(expected.driver(), 1.0),
            SAMPLE,
            "louder",
        );
        assert!(
            louder
                .driver()
                .iter()
                .zip(linear.driver())
                .any(|(a, b)| (a / 3.981 - b).abs() > 1e-4),
            "the change must be seen"
        );
    }
}

#[test]
fn losses_steps_and_stalls_happen_where_they_should() {
    let stimulus = tone(300.0, 0.2, 0.5);
    let playback = Playback::new(&stimulus, RATE_HZ, 0.0).unwrap();
    let with = |faults: CardFaults| {
        let mut card = card(bench(Wiring::AcrossDriver));
        card.arrange(Arrangement::Resistor(8.0));
        card.faults = faults;
        [(); 2].map(|()| card.record(&playback, &mut Unmonitored))
    };
    let [Ok(plain), Ok(_)] = with(CardFaults::default()) else {
        panic!("nothing is wrong");
    };
    assert_eq!(plain.n_reported_losses, 0);
    let plain = plain.take;
    // In the second take only.
    let [first, second] = with(CardFaults {
        lost_frames: Some(LostFrames {
            at_s: 0.25,
            n_frames: 100,
            reported: true,
        }),
        level_step: Some(LevelStep {
            at_s: 0.4,
            change_db: -6.0,
        }),
        only_take: Some(1),
        ..CardFaults::default()
    });
    assert_eq!(first.unwrap().take, plain);
    let second = second.unwrap();
    assert_eq!(second.n_reported_losses, 1);
    let step = 10.0_f64.powf(-6.0 / 20.0);
    let expected = (0..plain.n_frames())
        .filter(|i| !(12_000..12_100).contains(i))
        .map(|i| f64::from(plain.driver()[i]) * if i < 19_200 { 1.0 } else { step });
    assert_near(second.take.driver(), expected, SAMPLE, "loss and step");
    // In each.
    let mut last_s = 0.0;
    let mut card = card(bench(Wiring::AcrossDriver));
    card.faults.stall_after_s = Some(0.32);
    let mut watch = |live: &Live| {
        last_s = live.elapsed_s;
        Continue::Yes
    };
    let error = card.record(&playback, &mut watch).unwrap_err();
    assert!(matches!(error, CaptureError::Stalled { .. }));
    assert!((last_s - 0.3).abs() < 1e-9, "{last_s}");
}

#[test]
fn three_taps_ring_at_the_resonance() {
    let driver = demo_driver();
    let truth = driver.truth();
    for wiring in WIRINGS {
        let mut bench = bench(wiring);
        bench.source_ohm = 5.0;
        let sense_ohm = bench.sense_ohm;
        let loop_ohm = sense_ohm + 5.0 + truth.re_ohm;
        let mut card = card(bench);
        card.arrange(Arrangement::TappedDriver);
        let take = silence(&mut card, 3.0);
        // The same current through everything: what is below each node.
        let (at_source, at_driver) = if wiring == Wiring::AcrossDriver {
            (5.0, sense_ohm + 5.0)
        } else {
            (-5.0, sense_ohm)
        };
        let expected = scaled(take.driver(), at_source / at_driver);
        assert_near(take.source(), expected, SAMPLE, "the source's share");
        let n = take.n_frames();
        let starts = [0.25, 0.5, 0.75].map(|share| (share * n as f64) as usize);
        let before = &take.driver()[..starts[0]];
        assert_eq!(peak(before), 0.0);
        let qes = truth.qes * loop_ohm / truth.re_ohm;
        let q = truth.qms * qes / (truth.qms + qes);
        let ringing_hz = truth.fs_hz * (1.0 - 0.25 / (q * q)).sqrt();
        for begin in starts {
            let burst = &take.driver()[begin..begin + 9_600];
            let peak_v = IN_V * peak(burst);
            assert!(
                peak_v > 1e-3 * at_driver / loop_ohm && peak_v < 5e-3,
                "{peak_v}"
            );
            // Sign changes up to the fourth: two whole periods.
            let changes: Vec<usize> = (1..burst.len() - 1)
                .filter(|&i| burst[i] != 0.0 && burst[i].signum() != burst[i + 1].signum())
                .take(4)
                .collect();
            let measured_hz = 1.5 * f64::from(RATE_HZ) / (changes[3] - changes[0]) as f64;
            assert!(
                (measured_hz / ringing_hz - 1.0).abs() < 0.005,
                "{measured_hz} {ringing_hz}"
            );
            // It has died away by e^(−π·fs·t/Q) after two periods.
            let period = f64::from(RATE_HZ) / ringing_hz;
            let at = |periods: f64| f64::from(burst[(periods * period).round() as usize]);
            let expected = (-PI * truth.fs_hz * 2.0 / ringing_hz / q).exp();
            assert!(
                (at(2.25) / at(0.25) / expected - 1.0).abs() < 0.02,
                "{} {expected}",
                at(2.25) / at(0.25)
            );
        }
    }
}

/// Takes of the card are what the analysis expects: silence around a sweep, a latency nobody knows, unequal inputs.
#[test]
fn an_analysis_finds_the_driver_behind_the_card() {
    let mut bench = bench(Wiring::AcrossDriver);
    bench.source_ohm = 10.0;
    for (channel, gain) in [(&mut bench.source, 1.0), (&mut bench.driver, 1.03)] {
        channel.gain = gain;
        channel.coupling_hz = Some(2.0);
        channel.noise = Noise::Rms(1e-5);
        channel.bits = Some(24);
    }
    let jig = common::Jig {
        bench: bench.clone(),
        rate_hz: f64::from(RATE_HZ),
    };
    // -12 dBFS, lowered to -30.
    let sweep: Vec<f64> = common::sweep(5.0, f64::from(RATE_HZ))
        .iter()
        .map(|v| v * 10.0_f64.powf(-18.0 / 20.0))
        .collect();
    let mut card = card(bench);
    let mut record = |arrangement, name: &str, condition| {
        card.arrange(arrangement);
        common::take(
            name,
            condition,
            Data::Recording(play(&mut card, &sweep).take),
        )
    };
    let takes = vec![
        record(
            Arrangement::Driver(Mounting::FreeAir),
            "free-air-1",
            Condition::FreeAir,
        ),
        record(Arrangement::SameNode, "same-node-1", Condition::SameNode),
    ];
    let truth = demo_driver().truth();
    let sheet = analyse(common::session(&jig, truth.sd_m2, takes), &mut Unwatched).unwrap();
    for (name, entry, truth) in [
        ("fs", &sheet.parameters.fs, truth.fs_hz),
        ("Re", &sheet.parameters.re, truth.re_ohm),
        ("Qts", &sheet.parameters.qts, truth.qts),
    ] {
        let entry = entry.as_ref().unwrap();
        let u = entry.standard_uncertainty.unwrap();
        println!("{name}: {} ± {u}, truth {truth}", entry.value);
        // Statistical: 4 standard uncertainties, which are themselves small.
        assert!((entry.value - truth).abs() < 4.0 * u, "{name}");
        assert!(u < 2e-3 * truth, "{name}: {u}");
    }
    // No limit: machines differ.
    card.arrange(Arrangement::Driver(Mounting::FreeAir));
    for most_output_a in [None, Some(5e-4)] {
        card.faults.most_output_a = most_output_a;
        let begin = Instant::now();
        play(&mut card, &sweep);
        println!(
            "5 s with {most_output_a:?} A at most: {:.0} ms",
            begin.elapsed().as_secs_f64() * 1e3
        );
    }
}
