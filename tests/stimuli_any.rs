//! Any stimulus will do: sweeps, multisines and noise, with silence around them or without, at any usual rate.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::print_stdout,
    reason = "a test fails by panicking and prints the figures it measured"
)]

mod common;

use common::{Jig, session, sweep, take};
use farcone::bench::{Element, Mounting, Noise, drivers};
use farcone::jig::Wiring;
use farcone::parameters::Key;
use farcone::progress::Unwatched;
use farcone::recording::Take;
use farcone::session::{Condition, Data, analyse};
use farcone::signal::Multisine;
use rand_distr::{Distribution, StandardNormal};
use rand_pcg::Pcg64;
use rand_pcg::rand_core::SeedableRng;

/// Statistical: three standard uncertainties. Of some 40 figures with fixed seeds one in nine sets would miss that by chance.
const COVERAGE_FACTOR: f64 = 3.0;

/// White noise at −20 dBFS.
fn noise(seconds: f64, rate_hz: f64) -> Vec<f64> {
    let mut generator = Pcg64::seed_from_u64(99);
    let n = (seconds * rate_hz) as usize;
    (0..n)
        .map(|_| {
            let g: f64 = StandardNormal.sample(&mut generator);
            0.1 * g
        })
        .collect()
}

/// The middle of a take: a recorder that was started late and stopped early.
fn cut(data: Data, seconds: f64, rate_hz: f64) -> Data {
    let Data::Recording(take) = data else {
        return data;
    };
    let (from, n) = ((1.5 * rate_hz) as usize, (seconds * rate_hz) as usize);
    let part = |samples: &[f32]| samples[from..from + n].to_vec();
    Data::Recording(
        Take::new(
            take.sample_rate_hz(),
            part(take.source()),
            part(take.driver()),
        )
        .unwrap(),
    )
}

/// fs, Re and the Qs against the truth. `limit` is what the stimulus allows: method errors of a cut take included.
fn check(what: &str, rate_hz: f64, stimulus: &[f64], cut_to_s: Option<f64>, limit: f64) {
    // Method: (S5). Where a taper cuts into the signal, its error is the same in every period of a multisine, so that it
    // does not scatter and the stated uncertainty does not know of it: up to the 0.06 % of `docs/signal.md`.
    let method = if cut_to_s.is_some() && what.starts_with("multisine") {
        6e-4
    } else {
        1e-5
    };
    let driver = drivers().iter().find(|d| d.label == "Turnstone 3").unwrap();
    let mut jig = Jig::new(Wiring::AcrossDriver, 47.0);
    jig.rate_hz = rate_hz;
    jig.bench.source.noise = Noise::BelowSignalDb(70.0);
    jig.bench.driver.noise = Noise::BelowSignalDb(70.0);
    let made = |element: &Element<'_>, seed| {
        let data = jig.record(element, stimulus, seed);
        cut_to_s.map_or(data.clone(), |seconds| cut(data.clone(), seconds, rate_hz))
    };
    let (circuit, values) = driver.set_up(&Mounting::FreeAir);
    let takes = vec![
        take(
            "free-air",
            Condition::FreeAir,
            made(
                &Element::Driver {
                    circuit: &circuit,
                    values: &values,
                },
                1,
            ),
        ),
        take(
            "same-node",
            Condition::SameNode,
            made(&Element::SameNode, 2),
        ),
    ];
    let sheet = analyse(session(&jig, driver.sd_m2, takes), &mut Unwatched).unwrap();
    let truth = driver.truth();
    let mut line = format!("{what:32} {}", sheet.verdict);
    let mut missed = vec![];
    for (key, truth) in [
        (Key::Fs, truth.fs_hz),
        (Key::Re, driver.re_ohm),
        (Key::Qms, truth.qms),
        (Key::Qes, truth.qes),
    ] {
        let entry = sheet
            .parameters
            .get(key)
            .unwrap_or_else(|| panic!("{what}: {:?}", sheet.findings));
        let (off, u) = (
            entry.value / truth - 1.0,
            entry.standard_uncertainty.unwrap() / truth,
        );
        line += &format!(
            "  {} {:+.4} % (u {:.4} %)",
            key.as_str(),
            100.0 * off,
            100.0 * u
        );
        if off.abs() > limit || off.abs() > COVERAGE_FACTOR * u + method {
            missed.push(key.as_str());
        }
    }
    println!("{line}");
    assert!(missed.is_empty(), "{line}: {missed:?}");
}

#[test]
fn sweeps_at_any_usual_rate() {
    for rate_hz in [44_100.0, 48_000.0, 96_000.0, 192_000.0] {
        check(
            &format!("sweep of 3 s at {rate_hz} Hz"),
            rate_hz,
            &sweep(3.0, rate_hz),
            None,
            1e-3,
        );
    }
}

#[test]
fn multisines_with_and_without_silence() {
    let multisine = Multisine {
        period_s: 4.0,
        n_periods: 2,
        ..Default::default()
    };
    check(
        "multisine with silence",
        48_000.0,
        &multisine.samples().unwrap(),
        None,
        2e-3,
    );
    let longer = Multisine {
        n_periods: 4,
        ..multisine
    };
    check(
        "multisine, two periods cut out",
        48_000.0,
        &longer.samples().unwrap(),
        Some(8.0),
        5e-3,
    );
}

#[test]
fn noise_with_and_without_silence() {
    let mut framed = vec![0.0; 24_000];
    framed.extend(noise(8.0, 48_000.0));
    framed.extend(vec![0.0; 48_000]);
    check("noise with silence", 48_000.0, &framed, None, 5e-3);
    check(
        "noise cut out",
        48_000.0,
        &noise(12.0, 48_000.0),
        Some(10.0),
        1e-2,
    );
}

/// Longer than what is transformed in one piece. Too slow where nothing is optimised.
#[cfg(not(debug_assertions))]
#[test]
fn a_take_so_long_that_it_is_read_in_blocks() {
    check(
        "noise of 100 s, in blocks",
        48_000.0,
        &noise(104.0, 48_000.0),
        Some(100.0),
        1e-2,
    );
    let long = Multisine {
        period_s: 10.0,
        n_periods: 10,
        ..Default::default()
    };
    check(
        "multisine of 100 s, in blocks",
        48_000.0,
        &long.samples().unwrap(),
        None,
        5e-3,
    );
}
