//! Strong mains hum on the flank of the resonance: its lines are left out, and nothing is off by more than is stated.
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
use farcone::signal::{LeftOut, RatioSettings, channel_ratio};

/// Takes, with seeds fixed beforehand.
const N_TAKES: u64 = if cfg!(debug_assertions) { 6 } else { 24 };
/// Root mean square of errors in units of their stated uncertainty: 1, give or take four times 1/√(2n) for n takes: 24 figures are compared.
fn most_rms() -> f64 {
    1.0 + 4.0 / (2.0 * N_TAKES as f64).sqrt()
}

/// Hum of −45 dBFS peak at 50 Hz and harmonics on both channels, more on the source; resonances at 48 and 55 Hz.
fn humming(wiring: Wiring, sense_ohm: f64) -> Jig {
    let mut jig = Jig::new(wiring, sense_ohm);
    let peak = 10f64.powf(-45.0 / 20.0);
    let line = |share: f64| (1..=5).map(|k| share * peak / f64::from(k)).collect();
    jig.bench.source.hum_peak = line(1.0);
    jig.bench.driver.hum_peak = line(0.6);
    jig.bench.source.noise = Noise::BelowSignalDb(65.0);
    jig.bench.driver.noise = Noise::BelowSignalDb(65.0);
    jig.bench.mains_hz = 50.02;
    jig
}

/// Errors in units of their uncertainty of fs, Re, Qms and Qes, root mean square over takes, and the takes that gave results. `crop` cuts the silence off.
fn errors(label: &str, jig: &Jig, crop: bool) -> ([f64; 4], u64) {
    let driver = drivers().iter().find(|d| d.label == label).unwrap();
    let truth = driver.truth();
    let wanted = [
        (Key::Fs, truth.fs_hz),
        (Key::Re, truth.re_ohm),
        (Key::Qms, truth.qms),
        (Key::Qes, truth.qes),
    ];
    let stimulus = sweep(4.0, jig.rate_hz);
    // Inputs that are known to be alike: otherwise their assumed mismatch would be most of the doubt.
    let quiet = Jig::new(jig.wiring(), jig.bench.sense_ohm);
    let alike = quiet.record(&Element::SameNode, &stimulus, 0);
    let (mut squares, mut n_results) = ([0.0; 4], 0_u64);
    for seed in 0..N_TAKES {
        let mut data = jig.driver(driver, &Mounting::FreeAir, &stimulus, seed);
        if let (Data::Recording(whole), true) = (&data, crop) {
            let (first, last) = (25_000, whole.n_frames() - 49_000);
            let part = |samples: &[f32]| samples[first..last].to_vec();
            let cut = Take::new(48_000, part(whole.source()), part(whole.driver()));
            data = Data::Recording(cut.unwrap());
        }
        let takes = vec![
            take("free-air-1", Condition::FreeAir, data),
            take("same-node", Condition::SameNode, alike.clone()),
        ];
        let sheet = analyse(session(jig, driver.sd_m2, takes), &mut Unwatched).unwrap();
        let heard = sheet.findings.iter().any(|f| f.code == "hum");
        assert_eq!(heard, !crop, "seed {seed}: {:?}", sheet.findings);
        // Where there is no silence nothing can tell hum from anything else; then the take may have to be made again.
        if crop && sheet.verdict == "redo" {
            continue;
        }
        n_results += 1;
        for (square, (key, truth)) in squares.iter_mut().zip(wanted) {
            let entry = sheet.parameters.get(key);
            let entry = entry.unwrap_or_else(|| panic!("seed {seed}: {:?}", sheet.findings));
            *square += ((entry.value - truth) / entry.standard_uncertainty.unwrap()).powi(2);
        }
    }
    (
        squares.map(|square| (square / n_results as f64).sqrt()),
        n_results,
    )
}

/// Hum on the flank of a resonance biases nothing beyond what is stated.
fn biases_nothing(label: &str, wiring: Wiring, sense_ohm: f64) {
    let mut missed = vec![];
    let jig = humming(wiring, sense_ohm);
    for crop in [false, true] {
        let (rms, n_results) = errors(label, &jig, crop);
        let silence = if crop { "no silence" } else { "silence" };
        println!(
            "{label:12} {:15} {silence:10}: {n_results} of {N_TAKES} takes; errors of fs, Re, Qms, Qes in u, rms: {rms:.2?}",
            wiring.as_str()
        );
        // Without silence every take may be refused, but with it none.
        let refused = n_results == 0 && crop;
        let off = rms.iter().any(|r| r.is_nan() || *r > most_rms());
        if !refused && (off || (!crop && n_results < N_TAKES)) {
            missed.push(silence);
        }
    }
    assert!(missed.is_empty(), "{missed:?}");
}

#[test]
fn hum_on_the_flank_across_the_resistor() {
    biases_nothing("Shingle 6", Wiring::AcrossResistor, 1.5);
}

#[test]
fn hum_on_the_flank_across_the_driver() {
    biases_nothing("Marram 5", Wiring::AcrossDriver, 47.0);
}

#[test]
fn hum_on_the_flank_of_another_driver() {
    biases_nothing("Shingle 6", Wiring::AcrossDriver, 47.0);
}

/// Bins that are left out hold nothing any more, and bands without bins vanish.
#[test]
fn left_out_bins_are_left_out() {
    let jig = humming(Wiring::AcrossDriver, 47.0);
    let driver = drivers().iter().find(|d| d.label == "Marram 5").unwrap();
    let stimulus = sweep(4.0, jig.rate_hz);
    let Data::Recording(recording) = jig.driver(driver, &Mounting::FreeAir, &stimulus, 1) else {
        unreachable!()
    };
    let line = LeftOut {
        frequency_hz: 50.02,
        half_width_hz: 2.0,
    };
    let ratio = |left_out| {
        let settings = RatioSettings {
            low_hz: 5.0,
            high_hz: 1000.0,
            resolution_hz: RatioSettings::resolution_hz(recording.n_frames(), jig.rate_hz),
            may_vanish: false,
            left_out,
        };
        let (source, driver) = (recording.source(), recording.driver());
        channel_ratio(source, driver, jig.rate_hz, &settings, &mut Unwatched).unwrap()
    };
    let (with, without) = (ratio(vec![]), ratio(vec![line]));
    let n_near = |ratio: &farcone::signal::ChannelRatio| {
        let list = ratio.frequency.as_slice().iter();
        list.filter(|f| (*f - 50.02).abs() < 1.8).count()
    };
    assert!(n_near(&with) > 8);
    assert_eq!(n_near(&without), 0);
    let doubt_at_47 = |ratio: &farcone::signal::ChannelRatio| {
        let i = ratio.frequency.as_slice().partition_point(|&f| f < 47.0);
        ratio.covariance[i].trace()
    };
    // The rational model takes part of a line for a resonance, so the difference is not as large as the line.
    let (less, more) = (doubt_at_47(&without), doubt_at_47(&with));
    assert!(less < 0.5 * more, "{less:e} {more:e}");
}
