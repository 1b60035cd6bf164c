//! Clean takes are left alone.

use farcone::bench::drivers;
use farcone::jig::Wiring;

use crate::fault::{Expect, disagreements};
use crate::scenario::{Setup, clean, invented};

/// All invented drivers, both wirings, rates, depths and methods taken in turn.
#[test]
#[cfg_attr(
    debug_assertions,
    ignore = "minutes without optimisation; .ci/run runs it with --release"
)]
fn clean_takes_give_no_caution() {
    let rates = [44_100.0, 48_000.0, 96_000.0];
    let mut wrong = vec![];
    for (i, driver) in drivers().iter().enumerate() {
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
