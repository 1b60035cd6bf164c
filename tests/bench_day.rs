//! A day at the bench: the driver is taken out and put back between takes, and is never quite the same. Nothing is wrong with that.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::print_stdout,
    reason = "a test fails by panicking and prints the figures it measured"
)]

mod common;

use std::collections::BTreeMap;

use common::{Jig, good_mass, session, sweep, take};
use farcone::bench::{Mounting, Noise, drivers};
use farcone::jig::Wiring;
use farcone::progress::Unwatched;
use farcone::quantity::Stated;
use farcone::session::{Condition, analyse};
use farcone::sheet::{ParameterEntry, Sheet};
use rand_distr::{Distribution, StandardNormal};
use rand_pcg::Pcg64;
use rand_pcg::rand_core::SeedableRng;

/// Seeds fixed beforehand. Fewer where nothing is optimised.
const N_DAYS: u64 = if cfg!(debug_assertions) { 10 } else { 200 };
/// Standard deviations from one mounting to the next: of ln fs, and of ln Qms on top of what follows from fs.
const MOVES_FS: f64 = 0.01;
const MOVES_QMS: f64 = 0.04;

/// A day's sheet: takes in free air, each on a new mounting, and a weighed one on the last mounting.
fn day(seed: u64, n_free: usize, weighed: bool) -> Sheet {
    let mut generator = Pcg64::seed_from_u64(seed);
    let mut normal = || -> f64 { StandardNormal.sample(&mut generator) };
    let driver = &drivers()[seed as usize % drivers().len()];
    let mut jig = if seed / 13 % 2 == 0 {
        Jig::new(Wiring::AcrossDriver, 47.0)
    } else {
        Jig::new(Wiring::AcrossResistor, 1.5)
    };
    jig.bench.source.noise = Noise::BelowSignalDb(65.0);
    jig.bench.driver.noise = Noise::BelowSignalDb(65.0);
    let stimulus = sweep(2.0, jig.rate_hz);
    let mut takes = vec![];
    let mut mounted = *driver;
    for i in 0..n_free {
        mounted = *driver;
        mounted.cms_m_per_n *= (-2.0 * MOVES_FS * normal()).exp();
        mounted.rms_kg_per_s *= (MOVES_QMS * normal()).exp();
        let data = jig.driver(
            &mounted,
            &Mounting::FreeAir,
            &stimulus,
            10 * seed + i as u64,
        );
        let mut free = take(&format!("free-air-{}", i + 1), Condition::FreeAir, data);
        free.remounted = i > 0;
        takes.push(free);
    }
    if weighed {
        let added_mass_kg = good_mass(driver);
        let mounting = Mounting::AddedMass { added_mass_kg };
        let data = jig.driver(&mounted, &mounting, &stimulus, 10 * seed + 9);
        let mass_kg = Stated::within(added_mass_kg, 0.01 * added_mass_kg);
        takes.push(take("added-mass-1", Condition::AddedMass { mass_kg }, data));
    }
    analyse(session(&jig, driver.sd_m2, takes), &mut Unwatched).unwrap()
}

fn relative(entry: &ParameterEntry) -> f64 {
    entry.setup_uncertainty.unwrap() / entry.value
}

#[test]
fn remounting_alarms_nobody_and_is_stated() {
    let mut alarms: BTreeMap<String, Vec<u64>> = BTreeMap::new();
    let (mut fs2, mut qms2) = (0.0, 0.0);
    // On two threads.
    let half = |odd: u64| {
        let seeds = (0..N_DAYS).filter(move |seed| seed % 2 == odd);
        move || -> Vec<(u64, Sheet)> {
            seeds
                .map(|seed| (seed, day(seed, 3, seed / 2 % 2 == 0)))
                .collect()
        }
    };
    let other = std::thread::spawn(half(1));
    let mut days = half(0)();
    days.extend(other.join().unwrap());
    for (seed, sheet) in days {
        for finding in sheet.findings.iter().filter(|f| f.severity != "note") {
            alarms.entry(finding.code.clone()).or_default().push(seed);
        }
        let (Some(fs), Some(qms)) = (&sheet.parameters.fs, &sheet.parameters.qms) else {
            continue;
        };
        if fs.setup_origin.as_deref() != Some("measured") {
            alarms
                .entry("set-up not measured".to_owned())
                .or_default()
                .push(seed);
        }
        fs2 += relative(fs).powi(2);
        qms2 += relative(qms).powi(2);
    }
    let n = N_DAYS as f64;
    let (fs, qms) = ((fs2 / n).sqrt(), (qms2 / n).sqrt());
    println!(
        "{N_DAYS} days: set-up uncertainty {:.2} % of fs (true {:.2} %), {:.2} % of Qms (true {:.2} %); alarms {alarms:?}",
        100.0 * fs,
        100.0 * MOVES_FS,
        100.0 * qms,
        100.0 * MOVES_FS.hypot(MOVES_QMS),
    );
    assert!(alarms.is_empty(), "{alarms:?}");
    // Three takes have two degrees of freedom: the mean square over n days is known to 1/√n, its root to half of that; three of these.
    let slack = 1.5 / n.sqrt();
    assert!((fs / MOVES_FS - 1.0).abs() < slack, "{fs}");
    assert!(
        (qms / MOVES_FS.hypot(MOVES_QMS) - 1.0).abs() < slack,
        "{qms}"
    );
}

#[test]
fn of_two_takes_the_set_up_is_at_least_what_is_assumed() {
    for seed in 0..4 {
        let sheet = day(seed, 2, false);
        let fs = sheet.parameters.fs.as_ref().unwrap();
        // Rounding.
        assert!(relative(fs) > 0.01 - 1e-9);
        let one = day(seed, 1, false).parameters.fs.unwrap();
        assert_eq!(one.setup_origin.as_deref(), Some("assumed"));
        assert!((relative(&one) - 0.01).abs() < 1e-9);
    }
}
