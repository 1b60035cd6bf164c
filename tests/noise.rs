//! How close to the best possible the estimates are, and whether their intervals mean what they say.
//!
//! The Cramér–Rao bound is computed here from the circuit and the noise-free recording alone, with no code of the
//! analysis: each bin of the whole record is a complex normal observation of X2 − H·X1 (Kay, Fundamentals of Statistical
//! Signal Processing I, 1993, 3.9 and 15.7; from memory).
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::print_stdout,
    reason = "a test fails by panicking and prints the figures it measured"
)]

mod common;

use common::{Jig, session, sweep, take};
use farcone::Complex64;
use farcone::bench::{Element, InventedDriver, Mounting, drivers};
use farcone::circuit::Circuit;
use farcone::jig::Wiring;
use farcone::parameters::Key;
use farcone::progress::Unwatched;
use farcone::recording::Take;
use farcone::session::{Condition, Data, analyse};
use rand_distr::{Distribution, StandardNormal};
use rand_pcg::Pcg64;
use rand_pcg::rand_core::SeedableRng;
use realfft::RealFftPlanner;

const KEYS: [Key; 4] = [Key::Fs, Key::Qms, Key::Qes, Key::Re];
/// Seeds, fixed beforehand. Fewer where nothing is optimised.
const N_RUNS: usize = if cfg!(debug_assertions) { 40 } else { 200 };
/// What is promised.
const OVER_BOUND: f64 = 1.15;
const COVERAGE: (f64, f64) = (0.90, 0.99);
/// Noise below the signal, dB.
const NOISE_DB: f64 = 60.0;

fn spectrum(samples: &[f32]) -> Vec<Complex64> {
    let plan = RealFftPlanner::<f64>::new().plan_fft_forward(samples.len());
    let mut time: Vec<f64> = samples.iter().map(|&v| f64::from(v)).collect();
    let mut out = plan.make_output_vec();
    plan.process(&mut time, &mut out).unwrap();
    out
}

/// fs, Qms, Qes and Re of circuit values, straight from their definitions.
fn quantities(values: &[f64], n_coil: usize) -> [f64; 4] {
    let (re, m) = (values[0], &values[1 + n_coil..]);
    let (bl, mms, cms, rms) = (m[0], m[1], m[2], m[3]);
    let omega = 1.0 / (mms * cms).sqrt();
    [
        omega / std::f64::consts::TAU,
        omega * mms / rms,
        omega * mms * re / (bl * bl),
        re,
    ]
}

/// Standard deviations that no unbiased estimate can beat.
fn bound(driver: &InventedDriver, jig: &Jig, clean: &Take, sigma: [f64; 2]) -> [f64; 4] {
    let (circuit, values) = driver.set_up(&Mounting::FreeAir);
    let n_coil = driver.coil.family.coil().parameters().len();
    // Mms is no unknown of a free-air take: Bl², Cms and Rms scale along with it.
    let unknowns: Vec<usize> = (0..values.len()).filter(|&i| i != 1 + n_coil + 1).collect();
    let x1 = spectrum(clean.source());
    let n = clean.n_frames() as f64;
    let bin_hz = f64::from(clean.sample_rate_hz()) / n;
    let p = unknowns.len();
    let mut information = nalgebra::DMatrix::<f64>::zeros(p, p);
    let mut derivatives = vec![Complex64::default(); values.len()];
    let rs = jig.bench.sense_ohm;
    let (first, last) = ((5.0 / bin_hz) as usize, (20_000.0 / bin_hz) as usize);
    for (k, x1) in x1.iter().enumerate().take(last).skip(first) {
        let z = circuit.impedance_and_derivatives(k as f64 * bin_hz, &values, &mut derivatives);
        let (h, slope) = match jig.wiring() {
            Wiring::AcrossDriver => (z / (z + rs), rs / ((z + rs) * (z + rs))),
            Wiring::AcrossResistor => (rs / (z + rs), -rs / ((z + rs) * (z + rs))),
        };
        let noise = n * (sigma[1].powi(2) + h.norm_sqr() * sigma[0].powi(2));
        // Relative unknowns keep the matrix well scaled.
        let g: Vec<Complex64> = unknowns
            .iter()
            .map(|&i| slope * derivatives[i] * values[i])
            .collect();
        for i in 0..p {
            for j in 0..p {
                information[(i, j)] += 2.0 * (g[i].conj() * g[j]).re * x1.norm_sqr() / noise;
            }
        }
    }
    let covariance = information.try_inverse().unwrap();
    let mut bound = [0.0; 4];
    for (q, slot) in bound.iter_mut().enumerate() {
        let slopes: Vec<f64> = unknowns
            .iter()
            .map(|&i| {
                let moved = |step: f64| {
                    let mut values = values.clone();
                    values[i] *= 1.0 + step;
                    quantities(&values, n_coil)[q]
                };
                (moved(1e-6) - moved(-1e-6)) / 2e-6
            })
            .collect();
        let slopes = nalgebra::DVector::from_vec(slopes);
        *slot = (slopes.transpose() * &covariance * &slopes)[0].sqrt();
    }
    bound
}

fn noisy(clean: &Take, sigma: [f64; 2], seed: u64) -> Take {
    let mut generator = Pcg64::seed_from_u64(seed);
    let mut add = |samples: &[f32], sigma: f64| -> Vec<f32> {
        let noise = |v: &f32| {
            let g: f64 = StandardNormal.sample(&mut generator);
            (f64::from(*v) + sigma * g) as f32
        };
        samples.iter().map(noise).collect()
    };
    let source = add(clean.source(), sigma[0]);
    let driver = add(clean.driver(), sigma[1]);
    Take::new(clean.sample_rate_hz(), source, driver).unwrap()
}

fn rms(samples: &[f32]) -> f64 {
    (samples.iter().map(|&v| f64::from(v).powi(2)).sum::<f64>() / samples.len() as f64).sqrt()
}

fn runs(label: &str, wiring: Wiring, sense_ohm: f64) {
    let driver = drivers().iter().find(|d| d.label == label).unwrap();
    let jig = Jig::new(wiring, sense_ohm);
    let stimulus = sweep(4.0, jig.rate_hz);
    let Data::Recording(clean) = jig.driver(driver, &Mounting::FreeAir, &stimulus, 0) else {
        unreachable!()
    };
    let same_node = jig.record(&Element::SameNode, &stimulus, 0);
    let below = 10.0_f64.powf(-NOISE_DB / 20.0);
    let sigma = [below * rms(clean.source()), below * rms(clean.driver())];
    let bound = bound(driver, &jig, &clean, sigma);
    let truth = driver.truth();
    let truth = [truth.fs_hz, truth.qms, truth.qes, truth.re_ohm];
    let (mut values, mut covered) = (vec![], [0_usize; 4]);
    for seed in 0..N_RUNS as u64 {
        let data = Data::Recording(noisy(&clean, sigma, seed));
        let takes = vec![
            take("free-air", Condition::FreeAir, data),
            take("same-node", Condition::SameNode, same_node.clone()),
        ];
        let sheet = analyse(session(&jig, driver.sd_m2, takes), &mut Unwatched).unwrap();
        let mut row = [0.0; 4];
        for (i, key) in KEYS.iter().enumerate() {
            let entry = sheet
                .parameters
                .get(*key)
                .unwrap_or_else(|| panic!("seed {seed}: {:?}", sheet.findings));
            row[i] = entry.value;
            let [low, high] = entry.interval_95.unwrap();
            covered[i] += usize::from((low..=high).contains(&truth[i]));
        }
        values.push(row);
    }
    let n = N_RUNS as f64;
    // The scatter of N runs is itself uncertain by 1/√(2N), and so is the coverage by √(p(1 − p)/N): three of these on
    // top where there are few runs.
    let few = N_RUNS < 200;
    let slack = if few {
        1.0 + 3.0 / (2.0 * n).sqrt()
    } else {
        1.0
    };
    let coverage_slack = if few {
        3.0 * (0.95 * 0.05 / n).sqrt()
    } else {
        0.0
    };
    let mut missed = vec![];
    for (i, key) in KEYS.iter().enumerate() {
        let mean = values.iter().map(|row| row[i]).sum::<f64>() / n;
        let scatter = (values
            .iter()
            .map(|row| (row[i] - mean).powi(2))
            .sum::<f64>()
            / (n - 1.0))
            .sqrt();
        let coverage = covered[i] as f64 / n;
        println!(
            "{label:12} {:15} {:4} scatter {:.3} of the bound, mean off by {:+.2} bounds, 95 % interval covers {:.1} %",
            wiring.as_str(),
            key.as_str(),
            scatter / bound[i],
            (mean - truth[i]) / bound[i],
            100.0 * coverage,
        );
        let ratio = scatter / bound[i];
        // Far below the bound would mean that the bound is wrong.
        let scatter_kept = ratio < OVER_BOUND * slack && ratio > 0.8 / slack;
        let covers =
            coverage >= COVERAGE.0 - coverage_slack && coverage <= COVERAGE.1 + coverage_slack;
        if !scatter_kept || !covers {
            missed.push(key.as_str());
        }
    }
    assert!(missed.is_empty(), "{label}: {missed:?}");
}

/// Standard uncertainties by which results err where a noisy same-node take calibrates quiet takes of the driver in three conditions: the
/// noise that all of them share counts as often as it is there.
#[test]
#[cfg_attr(debug_assertions, ignore = "needs optimised code")]
fn the_calibrations_noise_counts_once() {
    const N: u64 = 60;
    let driver = drivers().iter().find(|d| d.label == "Turnstone 3").unwrap();
    let jig = Jig::new(Wiring::AcrossDriver, 47.0);
    let stimulus = sweep(2.0, jig.rate_hz);
    let recorded = |mounting: &Mounting| {
        let Data::Recording(take) = jig.driver(driver, mounting, &stimulus, 0) else {
            unreachable!()
        };
        take
    };
    let added_mass_kg = common::good_mass(driver);
    let volume_m3 = 0.5 * driver.truth().vas_m3(common::AIR.bulk_modulus_pa());
    let boxed = Mounting::TestBox {
        volume_m3,
        rho_c2_pa: common::AIR.bulk_modulus_pa(),
        air_load_kg: 0.0,
        inverse_ql: 0.0,
    };
    let clean = [
        (Condition::FreeAir, recorded(&Mounting::FreeAir)),
        (
            Condition::AddedMass {
                mass_kg: common::exact(added_mass_kg),
            },
            recorded(&Mounting::AddedMass { added_mass_kg }),
        ),
        (
            Condition::TestBox {
                volume_m3: common::exact(volume_m3),
            },
            recorded(&boxed),
        ),
    ];
    let Data::Recording(same_node) = jig.record(&Element::SameNode, &stimulus, 0) else {
        unreachable!()
    };
    let sigma = |take: &Take, db: f64| {
        [take.source(), take.driver()].map(|v| 10.0_f64.powf(-db / 20.0) * rms(v))
    };
    let truth = driver.truth();
    let truth = [truth.fs_hz, truth.qms, truth.qes, truth.re_ohm];
    let mut squares = [0.0; 4];
    for seed in 0..N {
        let mut takes = vec![take(
            "same-node",
            Condition::SameNode,
            Data::Recording(noisy(&same_node, sigma(&same_node, 50.0), 100 + seed)),
        )];
        for (i, (condition, clean)) in clean.iter().enumerate() {
            let seed = 1000 * (i as u64 + 1) + seed;
            let data = Data::Recording(noisy(clean, sigma(clean, 70.0), seed));
            takes.push(take(&format!("driver-{i}"), *condition, data));
        }
        let sheet = analyse(session(&jig, driver.sd_m2, takes), &mut Unwatched).unwrap();
        for (i, key) in KEYS.iter().enumerate() {
            let entry = sheet
                .parameters
                .get(*key)
                .unwrap_or_else(|| panic!("seed {seed}: {:?}", sheet.findings));
            let off = (entry.value - truth[i]) / entry.standard_uncertainty.unwrap();
            squares[i] += off * off;
        }
    }
    for (i, key) in KEYS.iter().enumerate() {
        let error_u = (squares[i] / N as f64).sqrt();
        println!(
            "calibration's noise: {:4} errs by {error_u:.2} u (rms)",
            key.as_str()
        );
        // The scatter of N runs is uncertain by 1/√(2N): three of these, and 15 % for all else.
        let slack = 1.15 + 3.0 / (2.0 * N as f64).sqrt();
        assert!(
            (1.0 / slack..slack).contains(&error_u),
            "{}: {error_u}",
            key.as_str()
        );
    }
}

#[test]
fn scatter_is_near_the_bound_and_intervals_cover_across_the_driver() {
    runs("Turnstone 3", Wiring::AcrossDriver, 47.0);
}

#[test]
fn scatter_is_near_the_bound_and_intervals_cover_across_the_resistor() {
    runs("Shingle 6", Wiring::AcrossResistor, 1.5);
}
