//! Faults of recordings whose stimulus is not known, on the virtual bench: each must be found, mild and severe, and nothing in
//! clean takes.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::print_stdout,
    reason = "a test fails by panicking, and prints the figures it measured"
)]

use farcone::bench::{Bench, BenchTake, Element, Mounting, Noise, Wiring, drivers};
use farcone::faults::{Expected, hum_lines, recording_findings};
use farcone::finding::{Code, Finding};
use farcone::recording::Take;
use farcone::signal::{Envelope, SynchronizedSweep};

/// A number from 0 to 1 that depends on the seed alone.
fn chance(seed: u64, salt: u64) -> f64 {
    let mut x = seed
        .wrapping_mul(0x9E37_79B9_7F4A_7C15)
        .wrapping_add(salt.wrapping_mul(0xBF58_476D_1CE4_E5B9));
    for _ in 0..3 {
        x ^= x >> 31;
        x = x.wrapping_mul(0x94D0_49BB_1331_11EB);
    }
    (x >> 11) as f64 / (1_u64 << 53) as f64
}

fn pick<T: Copy>(from: &[T], seed: u64, salt: u64) -> T {
    from[(chance(seed, salt) * from.len() as f64) as usize % from.len()]
}

/// A set-up as people have them.
#[derive(Clone, Debug)]
struct Setup {
    driver: usize,
    across_driver: bool,
    source_ohm: f64,
    rate_hz: u32,
    bits: u32,
    duration_s: f64,
    /// Peak of channel 1 at its input.
    level_dbfs: f64,
    noise_dbfs: f64,
    coupling_hz: f64,
    seed: u64,
}

impl Default for Setup {
    fn default() -> Self {
        Self {
            driver: 5,
            across_driver: true,
            source_ohm: 0.0,
            rate_hz: 48_000,
            bits: 24,
            duration_s: 5.0,
            level_dbfs: -20.0,
            noise_dbfs: -90.0,
            coupling_hz: 2.0,
            seed: 1,
        }
    }
}

impl Setup {
    /// One of many.
    fn any(seed: u64) -> Self {
        let between = |salt, low: f64, high: f64| low + (high - low) * chance(seed, salt);
        Self {
            driver: (chance(seed, 1) * drivers().len() as f64) as usize,
            across_driver: chance(seed, 2) < 0.5,
            source_ohm: if chance(seed, 3) < 0.5 {
                0.0
            } else {
                between(4, 0.1, 20.0)
            },
            rate_hz: pick(&[44_100, 48_000, 96_000], seed, 5),
            bits: pick(&[16, 24], seed, 6),
            duration_s: pick(&[2.0, 5.0, 10.0], seed, 7),
            level_dbfs: between(8, -40.0, -6.0),
            noise_dbfs: between(9, -100.0, -80.0),
            coupling_hz: between(10, 0.5, 5.0),
            seed,
        }
    }

    fn bench(&self) -> Bench {
        let (wiring, ohm) = if self.across_driver {
            (Wiring::AcrossDriver, 47.0)
        } else {
            (Wiring::AcrossResistor, 1.5)
        };
        let mut bench = Bench::new(wiring, ohm);
        bench.source_ohm = self.source_ohm;
        bench.lead_ohm = 0.05;
        for channel in [&mut bench.source, &mut bench.driver] {
            channel.coupling_hz = Some(self.coupling_hz);
            channel.noise = Noise::Rms(10_f64.powf(self.noise_dbfs / 20.0));
            channel.bits = Some(self.bits);
        }
        bench
    }

    fn stimulus(&self) -> Vec<f64> {
        let rate_hz = f64::from(self.rate_hz);
        let envelope = Envelope {
            sample_rate_hz: rate_hz,
            level_dbfs: self.level_dbfs,
            ..Envelope::default()
        };
        SynchronizedSweep {
            duration_s: self.duration_s,
            envelope,
            ..SynchronizedSweep::default()
        }
        .samples()
        .unwrap()
    }

    fn record(&self, bench: &Bench) -> BenchTake {
        let drivers = drivers();
        let (circuit, values) = drivers[self.driver % drivers.len()].set_up(&Mounting::FreeAir);
        let element = Element::Driver {
            circuit: &circuit,
            values: &values,
        };
        bench
            .record(
                &element,
                &self.stimulus(),
                f64::from(self.rate_hz),
                self.seed,
            )
            .unwrap()
    }
}

fn take(recorded: BenchTake) -> Take {
    Take::new(
        recorded.sample_rate_hz as u32,
        recorded.source,
        recorded.driver,
    )
    .unwrap()
}

fn findings(take: &Take) -> Vec<Finding> {
    recording_findings("t", take, Expected::default())
}

fn codes(take: &Take) -> Vec<Code> {
    findings(take).iter().map(|finding| finding.code).collect()
}

#[test]
#[ignore = "tuning"]
fn tune_clean() {
    let n: u64 = std::env::var("N").map_or(100, |n| n.parse().unwrap());
    let from: u64 = std::env::var("FROM").map_or(1, |n| n.parse().unwrap());
    let mut n_false = 0;
    for seed in from..from + n {
        let setup = Setup::any(seed);
        let found = findings(&take(setup.record(&setup.bench())));
        if !found.is_empty() {
            n_false += 1;
            println!("{setup:?}");
            for finding in found {
                println!(
                    "   {:?} {} {:?}",
                    finding.code, finding.message, finding.evidence
                );
            }
        }
    }
    println!("false alarms: {n_false} of {n}");
}

/// Hum of `mains_hz` in both channels, at the peaks of the harmonics relative to full scale.
fn humming(setup: &Setup, mains_hz: f64, peaks: &[f64]) -> Take {
    let mut bench = setup.bench();
    bench.mains_hz = mains_hz;
    bench.source.hum_peak = peaks.to_vec();
    bench.driver.hum_peak = peaks.iter().map(|peak| 0.7 * peak).collect();
    take(setup.record(&bench))
}

#[test]
#[ignore = "tuning"]
fn tune_hum() {
    for level_db in [-100.0, -90.0, -80.0, -70.0, -60.0, -40.0_f64] {
        for mains_hz in [50.0, 60.0, 49.93, 60.07] {
            let mut n = 0;
            for seed in 1..=10 {
                let setup = Setup::any(seed);
                let a = 10_f64.powf(level_db / 20.0);
                let hum = hum_lines(&humming(
                    &setup,
                    mains_hz,
                    &[a, 0.3 * a, 0.5 * a, 0.1 * a, 0.2 * a],
                ));
                if let Some(hum) = hum {
                    n += 1;
                    if seed == 3 {
                        println!("{level_db} {mains_hz}: {hum:?}");
                    }
                }
            }
            println!("{level_db} {mains_hz}: {n} of 10");
        }
    }
}
