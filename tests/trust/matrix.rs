//! The matrix: every fault, mild and severe, on three drivers.

use std::sync::Mutex;

use farcone::bench::{InventedDriver, drivers};
use farcone::jig::Wiring;

use crate::dice::Dice;
use crate::fault::{Fault, disagreements, said};
use crate::faults::all;
use crate::scenario::{Setup, Strength, clean, invented};

/// A small full-range driver, a woofer and a tweeter.
const DRIVERS: [&str; 3] = ["Turnstone 3", "Eelgrass 6", "Limpet 1"];

fn driver(label: &str) -> &'static InventedDriver {
    drivers()
        .iter()
        .find(|driver| driver.label == label)
        .unwrap()
}

/// What goes wrong with one fault on one driver.
fn tried(fault: &Fault, strength: Strength, label: &str, index: usize) -> Vec<String> {
    let (about, model) = invented(driver(label));
    let wiring = if index.is_multiple_of(2) {
        Wiring::AcrossDriver
    } else {
        Wiring::AcrossResistor
    };
    let setup = Setup::usual(wiring, index as u64);
    let mut scenario = clean(about, &model, &setup);
    (fault.inject)(&mut scenario, strength, &mut Dice::new(index as u64));
    let sheet = scenario.run();
    let wrong = disagreements(&sheet, &fault.expect(strength));
    if wrong.is_empty() {
        return vec![];
    }
    let said: Vec<String> = said(&sheet)
        .into_iter()
        .filter(|(code, _)| !code.ends_with("-assumed"))
        .map(|(code, severity)| format!("{code}/{severity}"))
        .collect();
    vec![format!(
        "{} ({strength:?}) on {label}, {}: {}; said {}",
        fault.name,
        wiring.as_str(),
        wrong.join(", "),
        said.join(" ")
    )]
}

fn run(labels: &[&str]) -> Vec<String> {
    let only = std::env::var("FAULT").unwrap_or_default();
    let mut jobs = vec![];
    for fault in all().into_iter().filter(|fault| fault.name.contains(&only)) {
        for strength in [Strength::Mild, Strength::Severe] {
            for label in labels {
                jobs.push((fault, strength, *label));
            }
        }
    }
    let wrong = Mutex::new(vec![]);
    let next = Mutex::new(jobs.into_iter().enumerate());
    std::thread::scope(|scope| {
        for _ in 0..2 {
            scope.spawn(|| {
                loop {
                    let job = next.lock().unwrap().next();
                    let Some((index, (fault, strength, label))) = job else {
                        break;
                    };
                    let found = tried(&fault, strength, label, index);
                    wrong.lock().unwrap().extend(found);
                }
            });
        }
    });
    wrong.into_inner().unwrap()
}

#[test]
fn every_fault_is_named_on_one_driver() {
    let wrong = run(&DRIVERS[..1]);
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
#[ignore = "minutes without optimisation; .ci/run runs it with --release"]
fn every_fault_is_named_on_three_drivers() {
    let wrong = run(&DRIVERS);
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}
