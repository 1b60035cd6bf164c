//! Clean takes are left alone.

use farcone::bench::{InventedDriver, drivers};
use farcone::jig::Wiring;

use crate::fault::{Expect, disagreements};
use crate::scenario::{Setup, clean, invented};

/// The invented drivers, and seven more that are some of them with stiffer suspensions and the least and the most that suspensions lose:
/// twenty from woofers to tweeters.
fn twenty() -> Vec<&'static InventedDriver> {
    let lossy = |(i, driver): (usize, &InventedDriver)| -> &'static InventedDriver {
        let mut other = *driver;
        other.cms_m_per_n *= 0.7;
        other.rms_kg_per_s *= other.truth().qms / if i % 2 == 0 { 1.5 } else { 15.0 };
        Box::leak(Box::new(other))
    };
    let more = drivers().iter().step_by(2).enumerate().map(lossy);
    drivers().iter().chain(more).collect()
}

/// All twenty, both wirings, rates, depths and methods taken in turn.
#[test]
#[cfg_attr(debug_assertions, ignore = "minutes without optimisation")]
fn clean_takes_give_no_caution() {
    let rates = [44_100.0, 48_000.0, 96_000.0];
    let mut wrong = vec![];
    let drivers = twenty();
    assert_eq!(drivers.len(), 20);
    let qms: Vec<f64> = drivers.iter().map(|driver| driver.truth().qms).collect();
    assert!(
        qms.iter().any(|q| *q < 2.0) && qms.iter().any(|q| *q > 13.0),
        "{qms:?}"
    );
    for (i, driver) in drivers.into_iter().enumerate() {
        for wiring in [Wiring::AcrossDriver, Wiring::AcrossResistor] {
            let (about, model) = invented(driver);
            let setup = Setup {
                rate_hz: rates[i % 3],
                bits: if i % 2 == 0 { 16 } else { 24 },
                boxed: i % 4 == 3,
                ..Setup::usual(wiring, i as u64)
            };
            let sheet = clean(about, &model, &setup).run();
            for what in disagreements(&sheet, &Expect::nothing()) {
                wrong.push(format!("{} {}: {what}", driver.label, wiring.as_str()));
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}
