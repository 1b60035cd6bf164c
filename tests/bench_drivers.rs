//! The invented drivers: what they cover, and that their truth is true.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::print_stdout,
    reason = "a test fails by panicking, and prints the figures it measured"
)]

use std::collections::BTreeSet;
use std::f64::consts::TAU;

use farcone::bench::{Mounting, demo_driver, drivers};
use farcone::circuit::{Circuit, CoilFamily};

/// Rounding: bisection ends at neighbouring numbers; a few operations follow.
const ROUNDING: f64 = 1e-12;

/// Method: with creep the mechanical resistance falls with frequency, so that the motional impedance peaks off the
/// resonance, by far less than this share of the bandwidth.
const PEAK: f64 = 0.05;

fn mountings() -> [Mounting; 3] {
    [
        Mounting::FreeAir,
        Mounting::AddedMass {
            added_mass_kg: 5e-3,
        },
        Mounting::TestBox {
            volume_m3: 4e-3,
            rho_c2_pa: 141.9e3,
            air_load_kg: 0.1e-3,
            inverse_ql: 0.01,
        },
    ]
}

#[test]
fn they_cover_what_drivers_are() {
    let labels: BTreeSet<_> = drivers().iter().map(|driver| driver.label).collect();
    assert!(
        labels.len() == drivers().len() && drivers().len() >= 10,
        "{labels:?}"
    );
    let truths: Vec<_> = drivers().iter().map(|driver| driver.truth()).collect();
    for (driver, truth) in drivers().iter().zip(&truths) {
        println!(
            "{}: fs {:.2} Hz, Qms {:.2}, Qes {:.3}, Re {}, Le(1 kHz) {:.3} mH",
            driver.label,
            truth.fs_hz,
            truth.qms,
            truth.qes,
            truth.re_ohm,
            1e3 * truth.le_1khz_h
        );
    }
    let any = |holds: &dyn Fn(f64, f64) -> bool| truths.iter().any(|t| holds(t.fs_hz, t.qms));
    assert!(any(&|fs_hz, _| fs_hz < 25.5) && any(&|fs_hz, _| fs_hz > 1_150.0));
    assert!(any(&|_, qms| qms < 1.6) && any(&|_, qms| qms > 14.5));
    for family in CoilFamily::ALL {
        assert!(
            drivers().iter().any(|driver| driver.coil.family == *family),
            "{family:?}"
        );
    }
    assert!(
        drivers().iter().any(|d| d.creep.is_some()) && drivers().iter().any(|d| d.creep.is_none())
    );
    assert!(drivers().iter().any(|driver| driver == demo_driver()));
}

#[test]
fn their_values_lie_where_physics_allows() {
    for driver in drivers() {
        for mounting in mountings() {
            let (circuit, values) = driver.set_up(&mounting);
            assert_eq!(circuit.parameters().len(), values.len());
            for (value, parameter) in values.iter().zip(circuit.parameters()) {
                assert!(
                    parameter.domain.contains(*value),
                    "{}: {}",
                    driver.label,
                    parameter.name
                );
            }
            for f_hz in [1.0, 100.0, 20_000.0] {
                assert!(circuit.impedance(f_hz, &values).re > driver.re_ohm);
            }
        }
    }
}

#[test]
fn their_truth_is_true() {
    for driver in drivers() {
        let truth = driver.truth();
        let omega = TAU * truth.fs_hz;
        let from_constants = 1.0 / (TAU * (truth.mms_kg * truth.cms_m_per_n).sqrt());
        assert!(
            (truth.fs_hz / from_constants - 1.0).abs() <= ROUNDING,
            "{}",
            driver.label
        );
        assert!((truth.qms * truth.rms_kg_per_s / (omega * truth.mms_kg) - 1.0).abs() <= ROUNDING);
        assert!(
            (1.0 / truth.qts - 1.0 / truth.qms - 1.0 / truth.qes).abs() <= ROUNDING / truth.qts
        );
        if driver.creep.is_none() {
            assert!((truth.cms_m_per_n / driver.cms_m_per_n - 1.0).abs() <= ROUNDING);
            assert!((truth.rms_kg_per_s / driver.rms_kg_per_s - 1.0).abs() <= ROUNDING);
        } else {
            // A suspension that creeps is softer below its reference and loses more.
            assert!(truth.rms_kg_per_s > driver.rms_kg_per_s);
        }
        // Vas against its definition as an acoustic compliance, V/(ρc²) = Cms·Sd².
        let acoustic = truth.vas_m3(141.9e3) / 141.9e3;
        assert!((acoustic / (truth.cms_m_per_n * truth.sd_m2.powi(2)) - 1.0).abs() <= ROUNDING);
    }
}

/// The motional impedance at the resonance is Re·Qms/Qes, and its peak is there.
#[test]
fn the_impedance_peaks_at_the_resonance() {
    for driver in drivers() {
        let truth = driver.truth();
        let (circuit, values) = driver.set_up(&Mounting::FreeAir);
        let n_coil = driver.coil.values.len();
        let coil = |f_hz: f64| {
            driver
                .coil
                .family
                .coil()
                .impedance(f_hz, &values[1..=n_coil])
        };
        let motional = |f_hz: f64| circuit.impedance(f_hz, &values) - truth.re_ohm - coil(f_hz);
        let peak_ohm = motional(truth.fs_hz);
        let expected_ohm = truth.re_ohm * truth.qms / truth.qes;
        assert!(
            (peak_ohm - expected_ohm).norm() <= 100.0 * ROUNDING * expected_ohm,
            "{}",
            driver.label
        );
        let bandwidth_hz = truth.fs_hz / truth.qms;
        for sign in [-1.0, 1.0] {
            let beside = truth.fs_hz + sign * PEAK * bandwidth_hz;
            assert!(
                motional(beside).norm() < peak_ohm.norm(),
                "{}",
                driver.label
            );
        }
    }
}
