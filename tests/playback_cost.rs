//! What the checks of a live take cost in time and in memory.
#![cfg(target_os = "linux")]
#![allow(
    clippy::unwrap_used,
    clippy::print_stdout,
    clippy::disallowed_methods,
    reason = "a test fails by panicking, prints what it measured, and asks the system what the process used"
)]

use std::time::Instant;

use farcone::capture::{Playback, Recorded};
use farcone::faults::{Expected, playback_check};
use farcone::recording::Take;
use farcone::signal::{Envelope, SynchronizedSweep};

/// Most memory that the process held since the last reset, MB: VmHWM of the system.
fn peak_mb() -> f64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap();
    let line = status.lines().find(|l| l.starts_with("VmHWM:")).unwrap();
    let kilobytes: f64 = line.split_whitespace().nth(1).unwrap().parse().unwrap();
    kilobytes * 1024e-6
}

/// A sweep through a driver (Q of 8 at 60 Hz) behind a source with an impedance, and noise on both inputs.
fn take(rate_hz: u32, length_s: f64) -> (Playback, Recorded) {
    let sweep = SynchronizedSweep {
        duration_s: length_s,
        start_hz: 5.0,
        stop_hz: 0.42 * f64::from(rate_hz),
        envelope: Envelope {
            level_dbfs: -20.0,
            sample_rate_hz: f64::from(rate_hz),
            lead_in_s: 0.5,
            tail_s: 1.0,
            ..Envelope::default()
        },
    };
    let playback = Playback::new(&sweep.samples().unwrap(), rate_hz, 0.0).unwrap();
    let omega = std::f64::consts::TAU * 60.0 / f64::from(rate_hz);
    let alpha = omega.sin() / 16.0;
    let (a0, a1, a2) = (1.0 + alpha, -2.0 * omega.cos(), 1.0 - alpha);
    let mut state = [0.0; 4];
    let mut seed = 1_u64;
    let mut hiss = || {
        seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
        ((seed >> 40) as f64 / f64::from(1 << 24) - 0.5) * 1e-4
    };
    const LATENCY: usize = 5_000;
    let n = playback.samples().len() + LATENCY + rate_hz as usize / 5;
    let (mut source, mut driver) = (Vec::with_capacity(n), Vec::with_capacity(n));
    for i in 0..n {
        let sent = i
            .checked_sub(LATENCY)
            .and_then(|i| playback.samples().get(i));
        let x = sent.map_or(0.0, |&v| f64::from(v));
        let [x1, x2, y1, y2] = state;
        let y = (alpha * (x - x2) - a1 * y1 - a2 * y2) / a0;
        state = [x, x1, y, y1];
        let v2 = 0.1 * x + 0.8 * y;
        source.push((0.8 * x + 0.2 * v2 + hiss()) as f32);
        driver.push((v2 + hiss()) as f32);
    }
    let take = Take::new(rate_hz, source, driver).unwrap();
    (
        playback,
        Recorded {
            take,
            n_reported_losses: 0,
        },
    )
}

/// The time on a computer that does nothing else; a busy one takes half as long again.
fn check(rate_hz: u32, length_s: f64, most_s: f64, most_mb: f64) {
    let (playback, recorded) = take(rate_hz, length_s);
    // Writing 5 there starts the peak anew from what is held now.
    std::fs::write("/proc/self/clear_refs", "5").unwrap();
    let before_mb = peak_mb();
    let started = Instant::now();
    let found = playback_check("take", &playback, &recorded, Expected::default());
    let took_s = started.elapsed().as_secs_f64();
    let added_mb = peak_mb() - before_mb;
    println!(
        "{length_s} s at {rate_hz} Hz: {took_s:.3} s, {before_mb:.0} MB and {added_mb:.0} MB for the check, loading {:.3}",
        found.loading_share
    );
    assert!(found.findings.is_empty(), "{:?}", found.findings);
    assert!(took_s < most_s, "{took_s} s");
    assert!(added_mb < most_mb, "{added_mb} MB");
}

#[test]
#[ignore = "measures; run alone in release: cargo test --release --test playback_cost -- --ignored --test-threads=1"]
fn findings_come_soon_and_cost_little() {
    check(48_000, 10.0, 0.12, 20.0);
    check(96_000, 60.0, 1.5, 70.0);
}
