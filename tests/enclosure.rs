//! Closed boxes against tables, against a walk along the response, and against draws at random.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    reason = "a test fails by panicking"
)]

use farcone::Complex64;
use farcone::enclosure::{Chance, ClosedBox, Doubtful, EnclosureError, SmallDriver};
use rand_distr::{Distribution, StandardNormal};

fn figure(value: f64, takes: f64, setup: f64) -> Option<Doubtful> {
    Some(Doubtful {
        value,
        takes: Some(takes),
        setup: Some(setup),
    })
}

/// fs 95 Hz, Qts 0.54, Vas 1.23 L, as a small driver has them.
fn driver() -> SmallDriver {
    SmallDriver {
        fs_hz: figure(95.0, 0.5, 1.0),
        qts: figure(0.54, 0.005, 0.02),
        vas_m3: figure(1.23e-3, 4e-5, 1.2e-4),
        correlation: Some([-0.6, 0.3, -0.5]),
    }
}

/// A box in which the driver comes to this Qtc.
fn at_qtc(qtc: f64) -> ClosedBox {
    let driver = SmallDriver {
        qts: figure(0.4, 0.001, 0.001),
        ..driver()
    };
    let alpha = (qtc / 0.4).powi(2) - 1.0;
    ClosedBox::new(&driver, 1.23e-3 / alpha).unwrap()
}

/// Computed independently of this program; the digits that are printed.
const TABLE: [(f64, f64, f64); 9] = [
    (0.5, 1.5538, 0.0),
    // 1/√3 and 1/√2.
    (0.577_350_269_189_625_8, 1.2720, 0.0),
    (std::f64::consts::FRAC_1_SQRT_2, 1.0000, 0.0),
    (0.8, 0.8972, 0.213),
    (0.9, 0.8295, 0.688),
    (1.0, 0.7862, 1.249),
    (1.1, 0.7567, 1.833),
    (1.2, 0.7358, 2.412),
    (1.5, 0.6993, 4.033),
];

#[test]
fn f3_and_peak_are_those_of_the_table() {
    /// Half a unit of the last printed place.
    const ROUNDING_RATIO: f64 = 0.51e-4;
    const ROUNDING_DB: f64 = 0.51e-3;
    for (qtc, ratio, peak_db) in TABLE {
        let box_ = at_qtc(qtc);
        assert!((box_.qtc.value - qtc).abs() < 1e-12);
        let got = box_.f3_hz.value / box_.fc_hz.value;
        assert!((got - ratio).abs() < ROUNDING_RATIO, "{qtc}: {got} {ratio}");
        assert!(
            (box_.peak_db - peak_db).abs() < ROUNDING_DB,
            "{qtc}: {} {peak_db}",
            box_.peak_db
        );
    }
}

#[test]
fn f3_and_peak_are_those_of_the_response() {
    const ROUNDING: f64 = 1e-9;
    /// The walk's steps are 1e-4 of a frequency, and a maximum is flat.
    const METHOD_DB: f64 = 1e-6;
    let magnitude = |x: f64, q: f64| {
        let s = Complex64::new(0.0, x);
        (s * s / (s * s + s / q + 1.0)).norm()
    };
    for qtc in [0.45, 0.6, 0.75, 0.95, 1.3, 2.2] {
        let box_ = at_qtc(qtc);
        let ratio = box_.f3_hz.value / box_.fc_hz.value;
        let half_power = magnitude(ratio, qtc).powi(2);
        assert!((half_power - 0.5).abs() < ROUNDING, "{qtc}: {half_power}");
        let highest = (0..200_000)
            .map(|i| magnitude(0.3 * 1.0001_f64.powi(i), qtc))
            .fold(1.0, |a: f64, b| if b > a { b } else { a });
        let peak_db = 20.0 * highest.log10();
        assert!(
            (box_.peak_db - peak_db).abs() < METHOD_DB,
            "{qtc}: {peak_db}"
        );
    }
}

#[test]
fn doubt_is_that_of_draws_at_random() {
    const N: usize = 200_000;
    /// A standard deviation of so many draws is known to 1/√(2·N) = 0.16 %; four of these, and what is not linear at 3 % of doubt.
    const STATISTICAL_TAKES: f64 = 0.01;
    /// At the 10 % that Vas has from set-up to set-up, f3 bends: first order misses 2 % of the width of its interval.
    const METHOD_SETUP: f64 = 0.03;
    let driver = driver();
    let net_m3 = 1.1e-3;
    let box_ = ClosedBox::new(&driver, net_m3).unwrap();
    let spread = |u: [f64; 3], [ab, ac, bc]: [f64; 3]| {
        let mut rng = rand_pcg::Pcg64Mcg::new(7);
        let mut draws = [vec![], vec![], vec![]];
        // Cholesky of the three correlations.
        let l21 = ab;
        let l22 = (1.0 - ab * ab).sqrt();
        let (l31, l32) = (ac, (bc - ac * ab) / l22);
        let l33 = (1.0 - l31 * l31 - l32 * l32).sqrt();
        for _ in 0..N {
            let z: [f64; 3] = std::array::from_fn(|_| StandardNormal.sample(&mut rng));
            let fs = 95.0 + u[0] * z[0];
            let qts = 0.54 + u[1] * (l21 * z[0] + l22 * z[1]);
            let vas = 1.23e-3 + u[2] * (l31 * z[0] + l32 * z[1] + l33 * z[2]);
            let exact = |value| figure(value, 1e-9 * value, 1e-9 * value);
            let drawn = SmallDriver {
                fs_hz: exact(fs),
                qts: exact(qts),
                vas_m3: exact(vas),
                correlation: None,
            };
            let drawn = ClosedBox::new(&drawn, net_m3).unwrap();
            let figures = [drawn.fc_hz, drawn.qtc, drawn.f3_hz];
            for (list, figure) in draws.iter_mut().zip(figures) {
                list.push(figure.value);
            }
        }
        draws.map(|list| {
            let mean = list.iter().sum::<f64>() / N as f64;
            (list.iter().map(|x| (x - mean).powi(2)).sum::<f64>() / (N - 1) as f64).sqrt()
        })
    };
    let takes = spread([0.5, 0.005, 4e-5], [-0.6, 0.3, -0.5]);
    let setup = spread([1.0, 0.02, 1.2e-4], [0.0; 3]);
    for (i, figure) in [box_.fc_hz, box_.qtc, box_.f3_hz].iter().enumerate() {
        for (got, drawn, limit) in [
            (figure.takes, takes[i], STATISTICAL_TAKES),
            (figure.setup, setup[i], METHOD_SETUP),
        ] {
            let got = got.unwrap();
            assert!((got / drawn - 1.0).abs() < limit, "{i}: {got} {drawn}");
        }
    }
}

#[test]
fn what_is_unknown_is_said_with_what_to_do() {
    let without = |change: fn(&mut SmallDriver)| {
        let mut driver = driver();
        change(&mut driver);
        ClosedBox::new(&driver, 2e-3).unwrap_err().to_string()
    };
    let vas = without(|driver| driver.vas_m3 = None);
    assert!(vas.contains("Vas") && vas.contains("added mass"), "{vas}");
    let qts = without(|driver| driver.qts = None);
    assert!(qts.contains("Qts") && qts.contains("free-air"), "{qts}");
    for volume in [0.0, -1.0, f64::NAN, f64::INFINITY] {
        let error = ClosedBox::new(&driver(), volume).unwrap_err();
        assert!(matches!(error, EnclosureError::Volume { .. }), "{volume}");
    }
}

/// Unknown doubt stays unknown, and does not spoil what does not depend on it.
#[test]
fn unknown_doubt_is_no_certainty() {
    let mut driver = driver();
    driver.qts.as_mut().unwrap().takes = None;
    let box_ = ClosedBox::new(&driver, 2e-3).unwrap();
    assert_eq!(box_.qtc.takes, None);
    assert_eq!(box_.f3_hz.takes, None);
    assert!(box_.fc_hz.takes.is_some());
    driver.qts.as_mut().unwrap().setup = None;
    let box_ = ClosedBox::new(&driver, 2e-3).unwrap();
    assert_eq!((box_.qtc.interval(), box_.chance()), (None, Chance::Open));
}

#[test]
fn the_chance_follows_the_interval() {
    let chance = |net_m3: f64| ClosedBox::new(&driver(), net_m3).unwrap().chance();
    assert_eq!(chance(2.4e-3), Chance::Good);
    assert_eq!(chance(0.4e-3), Chance::Open);
    assert_eq!(chance(0.1e-3), Chance::Poor);
    let calm = SmallDriver {
        qts: figure(0.3, 0.001, 0.01),
        ..driver()
    };
    let calm = |net_m3: f64| ClosedBox::new(&calm, net_m3).unwrap();
    assert_eq!(calm(0.01).chance(), Chance::Roomy);
    // Nobody means a box of a cubic metre for this driver, nor one of a millilitre.
    assert_eq!(calm(1.0).chance(), Chance::Vast);
    assert_eq!(chance(1e-6), Chance::Tiny);
    // Qtc 1/√2 in a volume of Vas/((0.7071/0.3)² - 1); a driver of high Qts gains nothing beyond three times Vas.
    let enough = calm(1.0).enough_m3;
    assert!((enough / (1.23e-3 / (0.5 / 0.09 - 1.0)) - 1.0).abs() < 1e-9);
    let loose = SmallDriver {
        qts: figure(0.8, 0.001, 0.01),
        ..driver()
    };
    let enough = ClosedBox::new(&loose, 1.0).unwrap().enough_m3;
    assert!((enough / 3.69e-3 - 1.0).abs() < 1e-9, "{enough}");
    // (E6) and (E3) say the same.
    let least = ClosedBox::new(&driver(), 0.1e-3).unwrap().least_m3.unwrap();
    let there = ClosedBox::new(&driver(), least).unwrap();
    assert!((there.qtc.value - 1.1).abs() < 1e-12);
}
