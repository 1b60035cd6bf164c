//! The matrix: every fault, mild and severe, on three drivers; and the table of it in `docs/fault-matrix.md`.

use farcone::bench::{InventedDriver, drivers};
use farcone::finding::Verdict;
use farcone::jig::Wiring;

use crate::dice::Dice;
use crate::each::each;
use crate::fault::{Expect, Fault, disagreements, said};
use crate::faults::all;
use crate::scenario::{Setup, Strength, clean, invented};

/// A small full-range driver, a woofer and a tweeter.
const DRIVERS: [&str; 3] = ["Turnstone 3", "Eelgrass 6", "Limpet 1"];

/// Where nothing is said, and nothing need be: the driver resonates so low that the fade of the stimulus, which is as long as before, still
/// tells the curve down to a quarter of the resonance.
const OPEN: &[(&str, Strength, &str)] =
    &[("stimulus starts too high", Strength::Mild, "Eelgrass 6")];

fn driver(label: &str) -> &'static InventedDriver {
    drivers()
        .iter()
        .find(|driver| driver.label == label)
        .unwrap()
}

/// The same for the same words, so that a new fault does not reshuffle the others (FNV-1a, from memory).
fn seed(words: &[&str]) -> u64 {
    words
        .iter()
        .flat_map(|word| word.bytes())
        .fold(0xcbf2_9ce4_8422_2325, |hash, byte| {
            (hash ^ u64::from(byte)).wrapping_mul(0x0100_0000_01b3)
        })
}

/// What goes wrong with one fault on one driver.
fn tried(fault: &Fault, strength: Strength, label: &str) -> Vec<String> {
    let (about, model) = invented(driver(label));
    let seed = seed(&[fault.name, label, strength.pick("mild", "severe")]);
    let wiring = if seed.is_multiple_of(2) {
        Wiring::AcrossDriver
    } else {
        Wiring::AcrossResistor
    };
    let setup = Setup::usual(wiring, seed);
    let mut scenario = clean(about, &model, &setup);
    (fault.inject)(&mut scenario, strength, &mut Dice::new(seed));
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

/// A fault at a strength on a driver.
type Job = (Fault, Strength, &'static str);

/// The jobs that are wanted, without those that the page sets apart.
fn jobs(wanted: impl Fn(&Fault, Strength, &str) -> bool) -> Vec<Job> {
    let only = std::env::var("FAULT").unwrap_or_default();
    let mut jobs = vec![];
    for fault in all().into_iter().filter(|fault| fault.name.contains(&only)) {
        for strength in [Strength::Mild, Strength::Severe] {
            for label in DRIVERS {
                let open = OPEN.contains(&(fault.name, strength, label));
                if wanted(&fault, strength, label) && !open {
                    jobs.push((fault, strength, label));
                }
            }
        }
    }
    jobs
}

fn run(jobs: &[Job]) -> Vec<String> {
    let tried = |i: u64| {
        let (fault, strength, label) = &jobs[i as usize];
        tried(fault, *strength, label)
    };
    each(jobs.len() as u64, tried).concat()
}

/// Both strengths of every fault, each on one of the three drivers; the long run below has all of them.
#[test]
#[cfg_attr(debug_assertions, ignore = "minutes without optimisation")]
fn every_fault_is_named_on_a_driver() {
    let wrong = run(&jobs(|fault, strength, label| {
        let turn = seed(&[fault.name]) as usize + usize::from(strength == Strength::Severe);
        DRIVERS[turn % DRIVERS.len()] == label
    }));
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
#[ignore = "the long run behind docs/fault-matrix.md, minutes with --release"]
fn every_fault_is_named_on_three_drivers() {
    let wrong = run(&jobs(|_, _, _| true));
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

/// The page as it has to be.
fn page() -> String {
    let mut page = String::from(
        "# What is said of which fault\n\n\
         Every fault is made on the virtual bench, mild and severe, on three drivers (a small full-range driver, a woofer and a tweeter), in a session \
         with a same-node take, two free-air takes, a loaded one, and a meter's reading of the DC resistance. `tests/trust` holds each row: the code that names the fault \
         is there, the verdict is the one below, and no other caution or `redo` comes but the consequences that are listed. Notes may come beside. The test \
         writes this page (`UPDATE_DOCS=1 cargo test --test trust page`).\n\n",
    );
    for group in ["recording", "jig", "driver", "method"] {
        page.push_str(&format!(
            "## {}\n\n| fault | mild | severe | with it may come |\n|---|---|---|---|\n",
            capital(group)
        ));
        for fault in all().iter().filter(|fault| fault.group == group) {
            page.push_str(&format!(
                "| {} | {} | {} | {} |\n",
                fault.name,
                cell(&fault.mild),
                cell(&fault.severe),
                also(fault)
            ));
        }
        page.push('\n');
    }
    page.push_str(
        "## Where nothing is said\n\n\
         The driver resonates so low that the fade of the stimulus still tells the curve down to a quarter of the resonance.\n\n\
         | fault | strength | driver |\n|---|---|---|\n",
    );
    for (name, strength, label) in OPEN {
        page.push_str(&format!(
            "| {name} | {} | {label} |\n",
            strength.pick("mild", "severe")
        ));
    }
    page
}

fn capital(word: &str) -> String {
    let mut letters = word.chars();
    letters.next().map_or_else(String::new, |first| {
        first.to_uppercase().chain(letters).collect()
    })
}

fn cell(expect: &Expect) -> String {
    let verdict = expect.verdict.as_str();
    match expect.code {
        Some(code) => format!("`{}`, {verdict}", code.as_str()),
        None => format!("nothing, {}", Verdict::Good.as_str()),
    }
}

fn also(fault: &Fault) -> String {
    let mut codes: Vec<&str> = [fault.mild.also, fault.severe.also]
        .concat()
        .iter()
        .map(|code| code.as_str())
        .collect();
    codes.sort_unstable();
    codes.dedup();
    codes
        .iter()
        .map(|code| format!("`{code}`"))
        .collect::<Vec<_>>()
        .join(", ")
}

#[test]
fn the_page_has_the_matrix() {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/docs/fault-matrix.md");
    let page = page();
    if std::env::var_os("UPDATE_DOCS").is_some() {
        std::fs::write(path, &page).unwrap();
    }
    let written = std::fs::read_to_string(path).unwrap_or_default();
    assert!(
        written.replace("\r\n", "\n") == page,
        "docs/fault-matrix.md is not what the faults say: UPDATE_DOCS=1 cargo test --test trust page"
    );
}

#[test]
fn every_fault_has_a_group_and_a_name_of_its_own() {
    let groups = ["recording", "jig", "driver", "method"];
    for fault in all() {
        assert!(groups.contains(&fault.group), "{}", fault.name);
        assert_eq!(
            all()
                .iter()
                .filter(|other| other.name == fault.name)
                .count(),
            1,
            "{}",
            fault.name
        );
    }
}
