//! The contract of every calibration: embed known errors, recover the impedance; and its uncertainty covers.
//!
//! The jig here is solved on its own, by the current through it, with faults that the library has to take out: gain, delay,
//! coupling corners, leads with inductance, an input with capacitance, crosstalk between the inputs.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::print_stdout,
    reason = "a test fails by panicking and prints the figures it measured"
)]

use std::f64::consts::TAU;

use farcone::Complex64;
use farcone::jig::{Calibration, Corrections, Jig, Wiring};
use farcone::quantity::{Covariance2, FrequencyGrid};
use farcone::signal::ChannelRatio;
use rand_distr::{Distribution, StandardNormal};
use rand_pcg::Pcg64;
use rand_pcg::rand_core::SeedableRng;
use serde_json::Value;

/// What is at the terminals.
#[derive(Clone, Copy)]
enum At {
    SameNode,
    Open,
    Ohm(Complex64),
}

/// A jig with its faults.
#[derive(Clone, Copy)]
struct Real {
    wiring: Wiring,
    sense_ohm: f64,
    gain: f64,
    delay_s: f64,
    corners_hz: [f64; 2],
    lead_ohm: f64,
    lead_h: f64,
    load_ohm: f64,
    load_f: f64,
    /// What input 2 hears of the source node and input 1 of the sense node, as a share, and per kilohertz.
    leak: f64,
    leak_per_khz: f64,
}

impl Real {
    fn perfect(wiring: Wiring) -> Self {
        Self {
            wiring,
            sense_ohm: match wiring {
                Wiring::AcrossDriver => 47.0,
                Wiring::AcrossResistor => 1.5,
            },
            gain: 1.0,
            delay_s: 0.0,
            corners_hz: [0.0, 0.0],
            lead_ohm: 0.0,
            lead_h: 0.0,
            load_ohm: f64::INFINITY,
            load_f: 0.0,
            leak: 0.0,
            leak_per_khz: 0.0,
        }
    }

    fn ratio(&self, f_hz: f64, at: At) -> Complex64 {
        let j = |x: f64| Complex64::new(0.0, x);
        let w = TAU * f_hz;
        let load = 1.0 / self.load_ohm + j(w * self.load_f);
        let foot_of = |z: Complex64| 1.0 / (1.0 / z + load);
        // Current through the loop for a volt at the source node, then what it drops at the foot.
        let seen = match at {
            At::SameNode => Complex64::ONE,
            At::Open => match self.wiring {
                Wiring::AcrossDriver => 1.0 / (1.0 + self.sense_ohm * load),
                Wiring::AcrossResistor => Complex64::ZERO,
            },
            At::Ohm(z) => {
                let z = z + self.lead_ohm + j(w * self.lead_h);
                let (top, foot) = match self.wiring {
                    Wiring::AcrossDriver => (self.sense_ohm.into(), foot_of(z)),
                    Wiring::AcrossResistor => (z, foot_of(self.sense_ohm.into())),
                };
                let ampere = 1.0 / (top + foot);
                ampere * foot
            }
        };
        let leak = self.leak + j(self.leak_per_khz * f_hz / 1000.0);
        let (one, two) = (1.0 + 0.7 * leak * seen, seen + leak);
        let coupling = |corner_hz: f64| j(f_hz) / (j(f_hz) + corner_hz);
        let channel = self.gain * Complex64::cis(-w * self.delay_s) * coupling(self.corners_hz[1])
            / coupling(self.corners_hz[0]);
        channel * two / one
    }

    fn take(&self, f_hz: &[f64], at: impl Fn(f64) -> At) -> ChannelRatio {
        ChannelRatio {
            frequency: FrequencyGrid::new(f_hz.to_vec()).unwrap(),
            h: f_hz.iter().map(|&f| self.ratio(f, at(f))).collect(),
            covariance: vec![Covariance2::circular(1e-16); f_hz.len()],
        }
    }

    /// What somebody would type who knows all of it that can be typed.
    fn typed(&self) -> Jig {
        Jig {
            wiring: self.wiring,
            sense_ohm: self.sense_ohm,
            lead_ohm: self.lead_ohm,
            load_ohm: self.load_ohm,
            gain: self.gain,
        }
    }
}

/// 10 Hz to 20 kHz, 60 points per octave.
fn grid() -> Vec<f64> {
    (0..660)
        .map(|i| 10.0 * 2.0_f64.powf(f64::from(i) / 60.0))
        .collect()
}

/// Something like a driver.
fn driver(f_hz: f64) -> Complex64 {
    let x = f_hz / 80.0;
    3.5 + 40.0 / Complex64::new(1.0, 5.0 * (x - 1.0 / x)) + Complex64::new(0.0, TAU * f_hz * 2e-4)
}

const CHECK_OHM: f64 = 22.0;

/// Which calibration takes there are.
#[derive(Clone, Copy, Debug, Default)]
struct Set {
    same_node: bool,
    open: bool,
    short: bool,
    check: bool,
}

fn set(names: &str) -> Set {
    Set {
        same_node: names.contains("same"),
        open: names.contains("open"),
        short: names.contains("short"),
        check: names.contains("check"),
    }
}

/// The largest relative error of Z.
fn worst(real: &Real, believed: &Jig, set: Set) -> f64 {
    let f_hz = grid();
    let [same, open, short, check] = [
        At::SameNode,
        At::Open,
        At::Ohm(Complex64::ZERO),
        At::Ohm(CHECK_OHM.into()),
    ]
    .map(|at| real.take(&f_hz, |_| at));
    let mut list = vec![];
    if set.same_node {
        list.push(Calibration::SameNode(&same));
    }
    if set.open {
        list.push(Calibration::OpenLeads(&open));
    }
    if set.short {
        list.push(Calibration::ShortedLeads(&short));
    }
    if set.check {
        list.push(Calibration::CheckResistor(&check, CHECK_OHM));
    }
    let take = real.take(&f_hz, |f| At::Ohm(driver(f)));
    let (z, _) = Corrections::new(&list).impedance(believed, &take);
    z.iter()
        .zip(&f_hz)
        .map(|(z, &f)| (z / driver(f) - 1.0).norm())
        .fold(0.0, |m, off| if off > m { off } else { m })
}

/// Method: the parabolas that smooth a calibration follow corners of 3 and 4 Hz within 1e-5 from 10 Hz up; Z has up to ten times that.
const SMOOTHED: f64 = 1e-4;
/// Rounding, through formulas that subtract.
const ROUNDING: f64 = 1e-9;

const WIRINGS: [Wiring; 2] = [Wiring::AcrossDriver, Wiring::AcrossResistor];

/// Nothing measured: the values typed are all there is, and they do.
#[test]
fn typed_values_alone() {
    for wiring in WIRINGS {
        let real = Real {
            gain: 1.05,
            lead_ohm: 0.15,
            load_ohm: 9e3,
            ..Real::perfect(wiring)
        };
        let off = worst(&real, &real.typed(), Set::default());
        assert!(off < ROUNDING, "{wiring:?}: {off:e}");
        // Each of the values counts.
        for wrong in [
            Jig {
                gain: 1.0,
                ..real.typed()
            },
            Jig {
                lead_ohm: 0.0,
                ..real.typed()
            },
            Jig {
                load_ohm: f64::INFINITY,
                ..real.typed()
            },
        ] {
            assert!(worst(&real, &wrong, Set::default()) > 1e-4, "{wrong:?}");
        }
    }
}

/// Unequal inputs of every kind, with what the subset does not measure known from typing.
#[test]
fn every_subset_recovers_what_it_can() {
    for wiring in WIRINGS {
        let inputs = Real {
            gain: 1.07,
            delay_s: 4e-6,
            corners_hz: [3.0, 4.0],
            ..Real::perfect(wiring)
        };
        let typed = Real {
            lead_ohm: 0.15,
            load_ohm: 9e3,
            ..inputs
        };
        let all = Real {
            lead_h: 1.2e-6,
            load_f: 3e-10,
            ..typed
        };
        // Open leads do not show the load beside the resistor; with typed leads and a short alike.
        let load_typed = Real { load_f: 0.0, ..all };
        let leads_typed = Real { lead_h: 0.0, ..all };
        let without = |jig: Jig, leads: bool, load: bool| Jig {
            lead_ohm: if leads { 0.0 } else { jig.lead_ohm },
            load_ohm: if load { f64::INFINITY } else { jig.load_ohm },
            gain: 1.0,
            ..jig
        };
        let across_driver = wiring == Wiring::AcrossDriver;
        let cases = [
            ("same", typed, false, false),
            ("check", typed, false, false),
            ("same check", typed, false, false),
            ("same short", load_typed, true, false),
            ("check short", load_typed, true, false),
            (
                "same open",
                if across_driver { leads_typed } else { typed },
                false,
                across_driver,
            ),
            (
                "check open",
                if across_driver { leads_typed } else { typed },
                false,
                across_driver,
            ),
            (
                "same open short",
                if across_driver { all } else { load_typed },
                true,
                across_driver,
            ),
            ("open short check", all, true, true),
            ("same open short check", all, true, true),
        ];
        for (names, real, leads, load) in cases {
            let believed = without(real.typed(), leads, load);
            let off = worst(&real, &believed, set(names));
            println!("{} {names}: {off:.1e}", wiring.as_str());
            assert!(off < SMOOTHED, "{wiring:?} {names}: {off:e}");
            // And it is not for nothing: without these takes the same belief is far off.
            let blind = worst(&real, &believed, Set::default());
            assert!(blind > 100.0 * SMOOTHED, "{wiring:?} {names}: {blind:e}");
        }
    }
}

/// With inputs of known gain, open and shorted leads do without another calibration.
#[test]
fn open_and_short_without_the_channels() {
    for wiring in WIRINGS {
        let real = Real {
            gain: 1.05,
            lead_ohm: 0.15,
            lead_h: 1.2e-6,
            load_ohm: if wiring == Wiring::AcrossDriver {
                9e3
            } else {
                f64::INFINITY
            },
            ..Real::perfect(wiring)
        };
        let believed = Jig {
            lead_ohm: 0.0,
            load_ohm: f64::INFINITY,
            ..real.typed()
        };
        let off = worst(&real, &believed, set("open short"));
        assert!(off < SMOOTHED, "{wiring:?}: {off:e}");
        let blind = worst(&real, &believed, Set::default());
        assert!(blind > 100.0 * SMOOTHED, "{wiring:?}: {blind:e}");
    }
}

/// Crosstalk of −54 dB and rising, with a sense resistor typed wrong by a factor: the complete three-term correction does
/// not mind, a same-node take in place of the check resistor does.
#[test]
fn the_complete_correction_takes_crosstalk_and_a_wrong_sense_resistor() {
    for wiring in WIRINGS {
        let real = Real {
            gain: 0.95,
            corners_hz: [3.0, 4.0],
            lead_ohm: 0.15,
            lead_h: 1.2e-6,
            load_ohm: 9e3,
            load_f: 3e-10,
            leak: 2e-3,
            leak_per_khz: 1e-3,
            ..Real::perfect(wiring)
        };
        let believed = Jig {
            lead_ohm: 0.0,
            load_ohm: f64::INFINITY,
            gain: 1.0,
            sense_ohm: 10.0 * real.sense_ohm,
            ..real.typed()
        };
        for names in ["open short check", "same open short check"] {
            let off = worst(&real, &believed, set(names));
            assert!(off < SMOOTHED, "{wiring:?} {names}: {off:e}");
        }
        let right_sense = Jig {
            sense_ohm: real.sense_ohm,
            ..believed
        };
        let off = worst(&real, &right_sense, set("same open short"));
        assert!(off > 10.0 * SMOOTHED, "{wiring:?}: {off:e}");
    }
}

/// A sense resistor typed wrong by a factor scales Z by it, where nothing else carries the scale: the equations are solved from far away.
#[test]
fn a_wrong_sense_resistor_scales() {
    for wiring in WIRINGS {
        for factor in [0.1, 10.0] {
            let real = Real {
                gain: 0.95,
                ..Real::perfect(wiring)
            };
            let believed = Jig {
                sense_ohm: factor * real.sense_ohm,
                gain: 1.0,
                ..real.typed()
            };
            for names in ["same", "same open", "same short", "same open short"] {
                let f_hz = grid();
                let take = |at: At| real.take(&f_hz, |_| at);
                let (same, open) = (take(At::SameNode), take(At::Open));
                // Rounding: a short without any leads, without a division by zero here.
                let short = take(At::Ohm(1e-12.into()));
                let mut list = vec![Calibration::SameNode(&same)];
                if set(names).open {
                    list.push(Calibration::OpenLeads(&open));
                }
                if set(names).short {
                    list.push(Calibration::ShortedLeads(&short));
                }
                let driven = real.take(&f_hz, |f| At::Ohm(driver(f)));
                let (z, _) = Corrections::new(&list).impedance(&believed, &driven);
                for (z, &f) in z.iter().zip(&f_hz) {
                    let off = (z / (factor * driver(f)) - 1.0).norm();
                    assert!(off < SMOOTHED, "{wiring:?} {names} {factor}: {off:e}");
                }
            }
            // With a check resistor instead the channels take the error up: wrong, but numbers.
            let leads = Real {
                lead_ohm: 0.1,
                ..real
            };
            for names in ["check", "check open", "check short"] {
                let off = worst(&leads, &believed, set(names));
                assert!(off.is_finite(), "{wiring:?} {names} {factor}");
            }
        }
    }
}

fn complex(value: &Value) -> Complex64 {
    Complex64::new(value[0].as_f64().unwrap(), value[1].as_f64().unwrap())
}

/// Worked numbers by another route: `fixtures/three-term`.
#[test]
fn agrees_with_error_terms_of_the_reflection_domain() {
    let cases: Value =
        serde_json::from_str(include_str!("../fixtures/three-term/cases.json")).unwrap();
    let cases = cases.as_array().unwrap();
    assert_eq!(cases.len(), 6);
    for case in cases {
        let f_hz = case["frequency_hz"].as_f64().unwrap();
        // Calibrations are smoothed over points, so each stands there many times.
        let near: Vec<f64> = (0..40)
            .map(|i| f_hz * (0.95 + 0.0025 * f64::from(i)))
            .collect();
        let constant = |h: Complex64| ChannelRatio {
            frequency: FrequencyGrid::new(near.clone()).unwrap(),
            h: vec![h; near.len()],
            covariance: vec![Covariance2::circular(1e-12); near.len()],
        };
        let [open, short, load] =
            ["open", "short", "load"].map(|name| constant(complex(&case[name])));
        let corrections = Corrections::new(&[
            Calibration::OpenLeads(&open),
            Calibration::ShortedLeads(&short),
            Calibration::CheckResistor(&load, case["load_ohm"].as_f64().unwrap()),
        ]);
        let wiring = Wiring::parse(case["wiring"].as_str().unwrap()).unwrap();
        for point in case["points"].as_array().unwrap() {
            let truth = complex(&point["z_ohm"]);
            let (z, _) = corrections.impedance(
                &Real::perfect(wiring).typed(),
                &constant(complex(&point["ratio"])),
            );
            let off = (z[20] - truth).norm() / truth.norm();
            assert!(off < ROUNDING, "{wiring:?} {f_hz} Hz {truth}: {off:e}");
        }
    }
}

/// 95 % regions of a complex number: the square root of the 95 % point of χ² with two degrees of freedom is 2.448.
const CHI2_95: f64 = 5.991;

/// Noise in every take, of a size that matters in Z; the mean of Z over the band lies in its 95 % region in 95 % of 600 runs.
/// Over the band, because the error of a smoothed calibration is shared by neighbours: what each point answers for is made for means.
#[test]
fn the_uncertainty_covers() {
    const RUNS: usize = 600;
    // Statistical: 95 % of 600, ± four standard deviations of a count.
    const COUNTS: std::ops::RangeInclusive<usize> = 549..=591;
    let f_hz: Vec<f64> = (0..200)
        .map(|i| 100.0 * 2.0_f64.powf(f64::from(i) / 60.0))
        .collect();
    let z = Complex64::new(14.0, 9.0);
    for wiring in WIRINGS {
        for names in [
            "",
            "same",
            "check",
            "open",
            "short",
            "check open",
            "check short",
            "same open short",
            "open short check",
        ] {
            let set = set(names);
            let real = Real {
                lead_ohm: 0.3,
                load_ohm: 2e3,
                ..Real::perfect(wiring)
            };
            let mut generator = Pcg64::seed_from_u64(17);
            let mut noisy = |at: At, sigma: f64| {
                let mut take = real.take(&f_hz, |_| at);
                for (h, covariance) in take.h.iter_mut().zip(&mut take.covariance) {
                    let [a, b]: [f64; 2] = [(); 2].map(|()| StandardNormal.sample(&mut generator));
                    *h += sigma * Complex64::new(a, b);
                    *covariance = Covariance2::circular(sigma * sigma);
                }
                take
            };
            let inside = (0..RUNS)
                .filter(|_| {
                    let takes = [
                        noisy(At::SameNode, 2e-3),
                        noisy(At::Open, 1e-3),
                        noisy(At::Ohm(Complex64::ZERO), 1e-3),
                        noisy(At::Ohm(CHECK_OHM.into()), 2e-3),
                    ];
                    let mut list = vec![];
                    if set.same_node {
                        list.push(Calibration::SameNode(&takes[0]));
                    }
                    if set.open {
                        list.push(Calibration::OpenLeads(&takes[1]));
                    }
                    if set.short {
                        list.push(Calibration::ShortedLeads(&takes[2]));
                    }
                    if set.check {
                        list.push(Calibration::CheckResistor(&takes[3], CHECK_OHM));
                    }
                    let take = noisy(At::Ohm(z), 1e-3);
                    let (list_z, doubts) = Corrections::new(&list).impedance(&real.typed(), &take);
                    let n = f_hz.len() as f64;
                    let off = list_z.iter().sum::<Complex64>() / n - z;
                    let doubt = doubts
                        .iter()
                        .fold(Covariance2::default(), |sum, c| sum.plus(c))
                        .scaled(1.0 / (n * n));
                    let inverse = doubt.inverse().unwrap();
                    let square = off.re * off.re * inverse.re_re
                        + 2.0 * off.re * off.im * inverse.re_im
                        + off.im * off.im * inverse.im_im;
                    square < CHI2_95
                })
                .count();
            println!("{} {names}: {inside} of {RUNS}", wiring.as_str());
            assert!(COUNTS.contains(&inside), "{wiring:?} {names}: {inside}");
        }
    }
}
