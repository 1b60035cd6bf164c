//! Coins as known masses, against what their issuers publish.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    reason = "a test fails by panicking"
)]

use farcone::coins::{CURRENCIES, Coin, CoinError, DriverClass, MovingMass, PUTTY, plan, total};
use farcone::quantity::{Spread, Stated};

/// Rounding, relative.
const ROUNDING: f64 = 1e-9;

fn near(a: f64, b: f64) -> bool {
    (a / b - 1.0).abs() < ROUNDING
}

/// Typed again from the sources, in grams: those that serve.
const PUBLISHED: &[(&str, f64)] = &[
    ("eur-10ct", 4.1),
    ("eur-20ct", 5.7),
    ("eur-50ct", 7.8),
    ("usd-5c", 5.0),
    ("usd-10c", 2.268),
    ("usd-25c", 5.67),
    ("jpy-1", 1.0),
    ("jpy-5", 3.75),
    ("jpy-10", 4.5),
    ("jpy-100", 4.8),
];
/// Likewise those that a magnet pulls at.
const MAGNETIC: &[(&str, f64)] = &[
    ("eur-1ct", 2.3),
    ("eur-2ct", 3.0),
    ("eur-5ct", 3.9),
    ("eur-1", 7.5),
    ("eur-2", 8.5),
];

#[test]
fn masses_are_those_that_were_published() {
    for &(id, grams) in PUBLISHED.iter().chain(MAGNETIC) {
        let coin = Coin::find(id).unwrap();
        assert!(near(1e3 * coin.mass_kg, grams), "{id}");
        assert_eq!(
            coin.magnetic.is_some(),
            MAGNETIC.iter().any(|(magnetic, _)| *magnetic == id),
            "{id}"
        );
        assert!(!coin.source.is_empty() && !coin.material.is_empty());
    }
    let n_coins: usize = CURRENCIES.iter().map(|currency| currency.coins.len()).sum();
    assert_eq!(
        n_coins,
        PUBLISHED.len() + MAGNETIC.len(),
        "each coin is checked"
    );
}

#[test]
fn several_weigh_what_they_do_with_their_doubt() {
    // Two of 5.7 g: the digit that is not printed, 0.05 g, is the same in both; 1 % of wear is each one's own.
    let two = total(&[("eur-20ct", 2)], None).unwrap();
    assert!(near(two.value, 11.4e-3));
    let expected =
        ((2.0 * 0.05e-3_f64).powi(2) + 2.0 * 0.057e-3_f64.powi(2)).sqrt() / 3.0_f64.sqrt();
    assert!(near(two.standard_uncertainty().unwrap(), expected));
    let held = total(&[("eur-20ct", 2)], Some(PUTTY)).unwrap();
    assert!(near(held.value, 11.9e-3));
    let putty = 0.3e-3 / 3.0_f64.sqrt();
    assert!(near(
        held.standard_uncertainty().unwrap(),
        expected.hypot(putty)
    ));
    // Putty without a doubt gets that of a pea; weighed putty keeps its own.
    let unstated = total(&[("eur-20ct", 2)], Some(Stated::unstated(0.5e-3))).unwrap();
    assert_eq!(unstated, held);
    let weighed = total(&[("eur-20ct", 2)], Some(Stated::within(0.5e-3, 0.01e-3))).unwrap();
    assert!(weighed.standard_uncertainty() < held.standard_uncertainty());
}

#[test]
fn magnetic_and_unknown_coins_are_refused() {
    for (id, _) in MAGNETIC {
        let error = total(&[(id, 2)], None).unwrap_err();
        assert!(matches!(error, CoinError::Magnetic { .. }));
        assert!(error.to_string().contains("magnetic"), "{error}");
    }
    assert!(matches!(
        total(&[("eur-3ct", 1)], None),
        Err(CoinError::Unknown { .. })
    ));
    assert!(matches!(
        total(&[("eur-20ct", 0)], None),
        Err(CoinError::Count { .. })
    ));
    assert!(matches!(total(&[], None), Err(CoinError::Count { .. })));
    let unknown = plan("xyz", &MovingMass::of_class(DriverClass::Small), None);
    assert!(unknown.unwrap_err().to_string().contains("eur, usd, jpy"));
}

#[test]
fn a_plan_lowers_the_resonance_as_it_should() {
    // Whatever the cone moves, what is planned lies between 20 and 30 % of drop, by (M2) again.
    let mut n_planned = 0;
    for currency in CURRENCIES {
        for grams in [2.0, 3.0, 5.0, 8.0, 12.0, 20.0, 30.0, 45.0] {
            let mms_kg = 1e-3 * grams;
            let Ok(plan) = plan(
                currency.id,
                &MovingMass::known(mms_kg, 0.02 * mms_kg),
                Some(PUTTY),
            ) else {
                continue;
            };
            n_planned += 1;
            let drop = (1.0 + plan.mass_kg.value / mms_kg).sqrt().recip();
            assert!((0.6999..0.8001).contains(&drop), "{grams} g: {plan:?}");
            assert!(plan.drop.0 < drop && drop < plan.drop.1, "{plan:?}");
            assert!(plan.coin.magnetic.is_none());
            let parts = f64::from(plan.count) * plan.coin.mass_kg + PUTTY.value;
            assert!(near(plan.mass_kg.value, parts));
        }
    }
    assert!(n_planned >= 18, "{n_planned}");
}

#[test]
fn pairs_come_first_and_the_sentence_says_all() {
    // 15 g of moving mass want 11.7 g: two of 5.7 g and a pea of putty are 11.9 g.
    let moving = MovingMass::known(15e-3, 0.3e-3);
    let plan_15 = plan("eur", &moving, Some(PUTTY)).unwrap();
    assert_eq!((plan_15.coin.id, plan_15.count), ("eur-20ct", 2));
    // 100 Hz/√(1 + (11.9 ± 0.4)/(15 ± 0.6)).
    let sentence = plan_15.sentence(Some(100.0));
    assert_eq!(
        sentence,
        "Two 20 cent coins opposite each other and a pea of putty, about 11.9 g; expect 73 to 76 Hz."
    );
    assert!(!plan_15.sentence(None).contains("Hz"));
    // A light cone takes one coin in the middle.
    let light = plan("jpy", &MovingMass::known(2.2e-3, 0.05e-3), Some(PUTTY)).unwrap();
    assert_eq!((light.coin.id, light.count), ("jpy-1", 1));
    assert!(
        light
            .sentence(None)
            .starts_with("One 1 yen coin in the middle")
    );
}

#[test]
fn before_the_cone_is_known_its_class_or_area_says_something() {
    for currency in CURRENCIES {
        for class in [DriverClass::Small, DriverClass::Woofer] {
            let moving = MovingMass::of_class(class);
            let plan = plan(currency.id, &moving, Some(PUTTY));
            // The lightest euro coin that serves is too heavy for the middle of the small ones.
            if (currency.id, class) == ("eur", DriverClass::Small) {
                assert!(matches!(plan, Err(CoinError::TooLight { .. })), "{plan:?}");
                continue;
            }
            let plan = plan.unwrap();
            assert!(
                plan.drop.1 - plan.drop.0 > 0.2,
                "a class says little: {plan:?}"
            );
        }
        // A dome is loaded by no coin: the advice is a test box.
        let tweeter = plan(
            currency.id,
            &MovingMass::of_class(DriverClass::Tweeter),
            Some(PUTTY),
        );
        let said = tweeter.unwrap_err().to_string();
        assert!(said.contains("test box"), "{said}");
    }
    let cone = MovingMass::of_cone(50e-4);
    assert!(near(cone.best_kg, 5e-3) && cone.low_kg < 3.2e-3 && cone.high_kg > 7.9e-3);
    assert_eq!(DriverClass::parse("woofer"), Some(DriverClass::Woofer));
    assert_eq!(DriverClass::parse("dome"), None);
    let doubtful = MovingMass::known(3e-3, 3e-3);
    assert!(doubtful.low_kg > 0.0, "a doubt never makes a mass negative");
    assert!(matches!(PUTTY.spread, Spread::HalfWidth(_)));
}
