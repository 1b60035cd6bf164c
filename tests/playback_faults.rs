//! Faults of playing and recording, on the virtual bench: each must be found, mild and severe, and nothing in clean takes.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::print_stdout,
    reason = "a test fails by panicking, and prints the figures it measured"
)]

use farcone::bench::{Bench, Element, Mounting, Noise, Wiring, drivers};
use farcone::capture::{Playback, Recorded};
use farcone::faults::{playback_check, playback_findings};
use farcone::finding::{Code, Severity};
use farcone::recording::Take;
use farcone::signal::{Envelope, Multisine, SynchronizedSweep};

const RATE_HZ: u32 = 48_000;

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

/// A set-up as people have them.
#[derive(Clone, Debug)]
struct Setup {
    driver: usize,
    across_driver: bool,
    source_ohm: f64,
    sense_ohm: f64,
    duration_s: f64,
    level_dbfs: f64,
    noise_dbfs: f64,
    gain: f64,
    coupling_hz: f64,
    latency: usize,
    multisine: bool,
    seed: u64,
}

impl Default for Setup {
    fn default() -> Self {
        Self {
            driver: 5,
            across_driver: true,
            source_ohm: 10.0,
            sense_ohm: 47.0,
            duration_s: 5.0,
            level_dbfs: -20.0,
            noise_dbfs: -85.0,
            gain: 1.5,
            coupling_hz: 2.0,
            latency: 7_001,
            multisine: false,
            seed: 1,
        }
    }
}

impl Setup {
    fn envelope(&self) -> Envelope {
        Envelope {
            level_dbfs: self.level_dbfs,
            lead_in_s: 0.3,
            tail_s: 0.5,
            ..Envelope::default()
        }
    }

    fn sweep(&self) -> SynchronizedSweep {
        SynchronizedSweep {
            duration_s: self.duration_s,
            stop_hz: 0.47 * f64::from(RATE_HZ),
            envelope: self.envelope(),
            ..SynchronizedSweep::default()
        }
    }

    fn stimulus(&self) -> Vec<f64> {
        if self.multisine {
            Multisine {
                period_s: self.duration_s / 2.0,
                n_periods: 2,
                envelope: self.envelope(),
                ..Multisine::default()
            }
            .samples()
            .unwrap()
        } else {
            self.sweep().samples().unwrap()
        }
    }

    /// What was played, and both channels of what came back, before the converter's 24 bits.
    fn channels(&self) -> (Playback, Vec<f32>, Vec<f32>) {
        let stimulus = self.stimulus();
        let playback = Playback::new(&stimulus, RATE_HZ, 0.0).unwrap();
        let wiring = if self.across_driver {
            Wiring::AcrossDriver
        } else {
            Wiring::AcrossResistor
        };
        let mut bench = Bench::new(wiring, self.sense_ohm);
        bench.source_ohm = self.source_ohm;
        bench.lead_ohm = 0.1;
        bench.skew_samples = chance(self.seed, 11) - 0.5;
        for (channel, salt) in [(&mut bench.source, 21), (&mut bench.driver, 22)] {
            channel.gain = self.gain * (0.95 + 0.1 * chance(self.seed, salt));
            channel.coupling_hz = Some(self.coupling_hz);
            channel.load_ohm = Some(10_000.0);
            channel.noise = Noise::Rms(10.0_f64.powf(self.noise_dbfs / 20.0));
            channel.hum_peak = vec![10.0_f64.powf((self.noise_dbfs - 3.0) / 20.0)];
            channel.bits = Some(24);
        }
        let mut heard = vec![0.0; self.latency];
        heard.extend(&stimulus);
        let (circuit, values) = drivers()[self.driver].set_up(&Mounting::FreeAir);
        let element = Element::Driver {
            circuit: &circuit,
            values: &values,
        };
        let take = bench
            .record(&element, &heard, f64::from(RATE_HZ), self.seed)
            .unwrap();
        (playback, take.source, take.driver)
    }
}

fn recorded(source: Vec<f32>, driver: Vec<f32>) -> Recorded {
    Recorded {
        take: Take::new(RATE_HZ, source, driver).unwrap(),
        n_reported_losses: 0,
    }
}

impl Setup {
    /// A set-up that a seed chooses.
    fn seeded(seed: u64) -> Self {
        let pick = |salt: u64, n: usize| (chance(seed, salt) * n as f64) as usize;
        let quiet = chance(seed, 1) < 0.25;
        let sense_ohm = [10.0, 22.0, 47.0][pick(2, 3)];
        Self {
            driver: pick(3, drivers().len()),
            across_driver: chance(seed, 4) < 0.5,
            source_ohm: sense_ohm * chance(seed, 5),
            sense_ohm,
            duration_s: match pick(6, 40) {
                _ if chance(seed, 13) < 0.05 => 4.0,
                0 => 10.0,
                1..4 => 5.0,
                _ => 1.0,
            },
            level_dbfs: if quiet {
                -60.0
            } else {
                -50.0 + 35.0 * chance(seed, 7)
            },
            noise_dbfs: if quiet {
                -100.0
            } else {
                -90.0 + 8.0 * chance(seed, 8)
            },
            gain: 0.7 + 2.0 * chance(seed, 9),
            coupling_hz: 0.5 + 4.5 * chance(seed, 10),
            latency: 100 + pick(12, 40_000),
            multisine: chance(seed, 13) < 0.05,
            seed,
        }
    }
}

#[test]
fn clean_takes_have_no_findings() {
    const SEEDS: u64 = 208;
    let next = std::sync::atomic::AtomicU64::new(1);
    let failures = std::sync::Mutex::new(vec![]);
    std::thread::scope(|scope| {
        for _ in 0..2 {
            scope.spawn(|| {
                loop {
                    let seed = next.fetch_add(1, std::sync::atomic::Ordering::Relaxed);
                    if seed > SEEDS {
                        break;
                    }
                    let setup = Setup::seeded(seed);
                    let (playback, source, driver) = setup.channels();
                    let begun = std::time::Instant::now();
                    let check = playback_check("take", &playback, &recorded(source, driver));
                    let findings: Vec<String> = check
                        .findings
                        .iter()
                        .map(|f| format!("{}: {}", f.code.as_str(), f.message))
                        .collect();
                    let late = check
                        .delay_frames
                        .map_or(99.0, |d| d - setup.latency as f64);
                    // The phase of a response counts as delay; most windows are high up, where it is little.
                    if !findings.is_empty() || late.abs() > 2.0 {
                        failures.lock().unwrap().push(format!(
                            "{setup:?}: {findings:?} took {:?} late {late} share {} explained {:?}",
                            begun.elapsed(),
                            check.loading_share,
                            check.explained
                        ));
                    }
                }
            });
        }
    });
    let failures = failures.into_inner().unwrap();
    assert!(
        failures.is_empty(),
        "{} of {SEEDS}: {failures:#?}",
        failures.len()
    );
}

/// The codes that a damaged take gives.
fn codes(playback: &Playback, source: Vec<f32>, driver: Vec<f32>) -> Vec<&'static str> {
    let findings = playback_findings("take", playback, &recorded(source, driver));
    for finding in &findings {
        println!("  {}: {}", finding.code.as_str(), finding.message);
        assert_eq!(finding.take.as_deref(), Some("take"));
    }
    findings
        .iter()
        .map(|finding| finding.code.as_str())
        .collect()
}

/// Frame of the recording at which a sweep that lasts `setup.duration_s` passes a frequency.
fn frame_at(setup: &Setup, frequency_hz: f64) -> usize {
    let sweep = setup.sweep();
    let after_s = sweep.rate_constant_s() * (frequency_hz / sweep.start_hz).ln();
    setup.latency + ((sweep.envelope.lead_in_s + after_s) * f64::from(RATE_HZ)) as usize
}

/// Both channels changed in the same way.
fn both(setup: &Setup, change: impl Fn(&mut Vec<f32>)) -> (Playback, Vec<f32>, Vec<f32>) {
    let (playback, mut source, mut driver) = setup.channels();
    change(&mut source);
    change(&mut driver);
    (playback, source, driver)
}

#[test]
fn lost_and_repeated_frames_are_found() {
    for duration_s in [1.0, 5.0] {
        let setup = Setup {
            duration_s,
            ..Setup::default()
        };
        // At high frequencies few frames do, at low ones it takes more.
        for (frequency_hz, n) in [
            (60.0, 128),
            (150.0, 64),
            (1_500.0, 2),
            (1_500.0, 480),
            (6_000.0, 64),
            (6_000.0, 5_000),
            (400.0, 20_000),
        ] {
            if duration_s < 2.0 && (frequency_hz < 100.0 || n > 10_000) {
                continue;
            }
            let at = frame_at(&setup, frequency_hz);
            println!("{duration_s} s, {n} frames at {frequency_hz} Hz");
            let (playback, source, driver) = both(&setup, |v| {
                v.drain(at..at + n);
            });
            let found = codes(&playback, source, driver);
            assert_eq!(found, ["frames-lost"], "lost");
            let (playback, source, driver) = both(&setup, |v| {
                let block = v[at - n..at].to_vec();
                v.splice(at..at, block);
            });
            let found = codes(&playback, source, driver);
            assert_eq!(found, ["frames-lost"], "repeated");
        }
    }
}

#[test]
fn one_frame_or_silence_lost_outside_the_stimulus_is_no_fault() {
    let setup = Setup::default();
    let at = frame_at(&setup, 50.0);
    let lost = |at: usize, n: usize| {
        let (playback, source, driver) = both(&setup, |v| {
            v.drain(at..at + n);
        });
        codes(&playback, source, driver)
    };
    assert!(lost(at, 1).is_empty());
    assert!(lost(1_000, 3_000).is_empty(), "before the stimulus");
    let (playback, source, driver) = setup.channels();
    let mut take = recorded(source, driver);
    take.n_reported_losses = 2;
    let findings = playback_findings("take", &playback, &take);
    assert_eq!(findings.len(), 1);
    assert_eq!(findings[0].severity, Severity::Note);
    assert_eq!(findings[0].code, Code::FramesLost);
}

#[test]
fn blanks_are_found() {
    let setup = Setup::default();
    for (frequency_hz, n) in [
        (60.0, 1_000),
        (300.0, 200),
        (3_000.0, 200),
        (3_000.0, 12_000),
    ] {
        let at = frame_at(&setup, frequency_hz);
        println!("{n} zeros at {frequency_hz} Hz");
        let (playback, source, driver) = both(&setup, |v| v[at..at + n].fill(0.0));
        assert_eq!(codes(&playback, source, driver), ["frames-lost"]);
    }
    // Just below the limit of 3 ms, at a frequency at which nothing else shows it either; and digital silence around.
    let (playback, source, driver) = both(&setup, |v| v[..setup.latency].fill(0.0));
    assert!(codes(&playback, source, driver).is_empty());
}

#[test]
fn steps_of_level_are_found() {
    let setup = Setup::default();
    for (frequency_hz, db) in [
        (200.0, -1.0),
        (1_000.0, 0.7),
        (5_000.0, -0.7),
        (1_000.0, -18.0),
        (300.0, 6.0),
    ] {
        println!("{db} dB at {frequency_hz} Hz");
        let stepped = |db: f64| {
            let at = frame_at(&setup, frequency_hz);
            let (playback, source, driver) = both(&setup, |v| {
                for sample in &mut v[at..] {
                    *sample *= 10.0_f32.powf(db as f32 / 20.0);
                }
            });
            codes(&playback, source, driver)
        };
        assert_eq!(stepped(db), ["level-moved"]);
        assert!(stepped(0.3 * db.signum()).is_empty(), "0.3 dB");
    }
}

#[test]
fn absent_playback_is_found() {
    let setup = Setup::default();
    let (playback, source, driver) = setup.channels();
    let silence = vec![0.0; source.len()];
    assert_eq!(
        codes(&playback, silence.clone(), silence),
        ["playback-absent"]
    );
    let hiss = |salt: u64, rms: f64| -> Vec<f32> {
        (0..source.len() as u64)
            .map(|i| ((chance(i, salt) - 0.5) * 3.46 * rms) as f32)
            .collect()
    };
    assert_eq!(
        codes(&playback, hiss(1, 1e-5), hiss(2, 1e-5)),
        ["playback-absent"]
    );
    assert_eq!(
        codes(&playback, hiss(3, 0.05), hiss(4, 0.05)),
        ["playback-absent"]
    );
    // Something else: another sweep, backwards.
    let reversed = |v: &[f32]| v.iter().rev().copied().collect::<Vec<f32>>();
    assert_eq!(
        codes(&playback, reversed(&source), reversed(&driver)),
        ["playback-absent"]
    );
    for frequency_hz in [300.0, 3_000.0, 12_000.0] {
        let at = frame_at(&setup, frequency_hz);
        let (mut gone_1, mut gone_2) = (source.clone(), driver.clone());
        gone_1[at..].copy_from_slice(&hiss(5, 1e-5)[at..]);
        gone_2[at..].copy_from_slice(&hiss(6, 1e-5)[at..]);
        assert_eq!(
            codes(&playback, gone_1, gone_2),
            ["playback-absent"],
            "{frequency_hz}"
        );
    }
}

#[test]
fn clipping_is_found() {
    let setup = Setup::default();
    let (playback, source, driver) = setup.channels();
    let peak = |v: &[f32]| v.iter().fold(0.0_f32, |m, s| m.max(s.abs()));
    for share in [0.97, 0.5] {
        let cut = |v: &[f32]| -> Vec<f32> {
            let limit = share * peak(v);
            v.iter().map(|s| s.clamp(-limit, limit)).collect()
        };
        assert!(
            codes(&playback, cut(&source), driver.clone()).contains(&"clipped"),
            "{share}"
        );
        assert!(
            codes(&playback, source.clone(), cut(&driver)).contains(&"clipped"),
            "{share}"
        );
    }
    // Sixteen bits at a low level have flat tops of their own.
    let coarse = Setup {
        level_dbfs: -60.0,
        noise_dbfs: -110.0,
        ..Setup::default()
    };
    let (playback, source, driver) = coarse.channels();
    let rounded = |v: &[f32]| -> Vec<f32> {
        v.iter()
            .map(|s| (s * 32_768.0).round() / 32_768.0)
            .collect()
    };
    assert!(codes(&playback, rounded(&source), rounded(&driver)).is_empty());
}
