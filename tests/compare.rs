//! Sheets side by side, with figures chosen so that the answer is known by hand.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    reason = "a test fails by panicking"
)]

mod common;

use common::with_added_mass;
use farcone::compare::{
    ClaimError, Disagreement, Judged, Whether, compare, disagreements, hold, parse_claims, run_in,
};
use farcone::parameters::Key;
use farcone::sheet::Sheet;

/// The sheet with these figures: value, uncertainty within the takes, and from one set-up to the next.
fn with(sheet: &Sheet, label: &str, figures: &[(Key, f64, f64, f64)]) -> Sheet {
    let mut sheet = sheet.clone();
    sheet.label = label.to_owned();
    for &(key, value, within, setup) in figures {
        let mut entry = sheet.parameters.get(key).unwrap().clone();
        entry.value = value;
        entry.standard_uncertainty = Some(within);
        entry.setup_uncertainty = Some(setup);
        sheet.parameters.set(key, entry);
    }
    sheet
}

/// Rounding of a handful of operations.
const ROUNDING: f64 = 1e-12;

#[test]
fn a_difference_counts_in_joint_uncertainties() {
    let base = with_added_mass();
    let a = with(&base, "a", &[(Key::Fs, 100.0, 0.3, 0.4)]);
    // √(0.3² + 0.4² + 1.2² + 0.5²) = √1.94
    let b = with(&base, "b", &[(Key::Fs, 104.0, 1.2, 0.5)]);
    let comparison = compare(&[a, b]);
    let fs = comparison
        .rows
        .iter()
        .find(|row| row.key == Key::Fs)
        .unwrap();
    assert!((fs.largest.unwrap() - 4.0 / 1.94_f64.sqrt()).abs() < ROUNDING);
    assert!((fs.spread.unwrap() - 4.0 / 102.0).abs() < ROUNDING);
    assert!(comparison.odd.is_none(), "of two none is the odd one");
    assert_eq!(comparison.pairs[0].units, (0, 1));
}

#[test]
fn the_closest_pair_comes_first_and_the_odd_one_is_named() {
    let base = with_added_mass();
    let unit = |label, fs_hz: f64, qts: f64| {
        with(
            &base,
            label,
            &[
                (Key::Fs, fs_hz, 0.1, 1.0),
                (Key::Qts, qts, 0.001, 0.02),
                (Key::Vas, 2e-3, 1e-5, 2e-4),
            ],
        )
    };
    let sheets = [
        unit("a", 100.0, 0.50),
        unit("b", 120.0, 0.60),
        unit("c", 101.0, 0.50),
        unit("d", 99.0, 0.51),
    ];
    let comparison = compare(&sheets);
    assert_eq!(comparison.pairs.len(), 6);
    assert_eq!(comparison.pairs[0].units, (0, 2), "1 % in fs alone");
    let apart = (0.01_f64.powi(2) / 3.0).sqrt();
    assert!((comparison.pairs[0].apart - apart).abs() < ROUNDING);
    assert!(comparison.pairs[0].differ_in.is_empty());
    let odd = comparison.odd.unwrap();
    assert_eq!((odd.unit, odd.key), (1, Key::Fs));
    // The middle of 99, 100 and 101 is 100.
    assert!((odd.difference.relative - 0.2).abs() < ROUNDING);
    assert!(
        compare(&[sheets[0].clone(), sheets[2].clone(), sheets[3].clone()])
            .odd
            .is_none()
    );
}

#[test]
fn an_unknown_doubt_judges_nothing() {
    let base = with_added_mass();
    let mut a = with(&base, "a", &[(Key::Fs, 100.0, 0.1, 0.1)]);
    let b = with(&base, "b", &[(Key::Fs, 200.0, 0.1, 0.1)]);
    let mut entry = a.parameters.get(Key::Fs).unwrap().clone();
    entry.standard_uncertainty = None;
    a.parameters.set(Key::Fs, entry);
    let comparison = compare(&[a.clone(), b.clone()]);
    let fs = comparison
        .rows
        .iter()
        .find(|row| row.key == Key::Fs)
        .unwrap();
    assert_eq!(fs.largest, None);
    assert!(!comparison.pairs[0].differ_in.contains(&Key::Fs));
    assert_eq!(
        hold(&parse_claims("fs=100Hz").unwrap(), &a)[0].judged,
        Judged::CannotTell
    );
}

#[test]
fn running_in_softens_the_suspension_and_nothing_else() {
    let base = with_added_mass();
    let before = with(
        &base,
        "before",
        &[
            (Key::Fs, 100.0, 0.2, 0.8),
            (Key::Vas, 2.0e-3, 1e-5, 5e-5),
            (Key::Cms, 1.0e-3, 5e-6, 2e-5),
            (Key::Bl, 3.0, 0.01, 0.01),
        ],
    );
    let softer = with(
        &before,
        "after",
        &[
            (Key::Fs, 88.0, 0.2, 0.8),
            (Key::Vas, 2.58e-3, 1e-5, 5e-5),
            (Key::Cms, 1.29e-3, 5e-6, 2e-5),
        ],
    );
    let result = run_in(&before, &softer);
    assert!(result.softened());
    assert_eq!(result.unexplained().count(), 0);
    let demagnetised = with(&softer, "after", &[(Key::Bl, 2.7, 0.01, 0.01)]);
    let result = run_in(&before, &demagnetised);
    let unexplained: Vec<Key> = result.unexplained().map(|change| change.key).collect();
    assert_eq!(unexplained, [Key::Bl]);
    // Backwards a suspension would have stiffened.
    let result = run_in(&softer, &before);
    let fs = result
        .changes
        .iter()
        .find(|change| change.key == Key::Fs)
        .unwrap();
    assert_eq!(fs.whether, Whether::Unexplained);
    assert!(!result.softened());
}

#[test]
fn claims_hold_within_the_interval() {
    let base = with(
        &with_added_mass(),
        "a",
        &[
            (Key::Fs, 100.0, 0.6, 0.8),
            (Key::Qts, 0.50, 0.003, 0.004),
            (Key::Vas, 2.0e-3, 1e-5, 1e-4),
        ],
    );
    let judged = |text: &str| hold(&parse_claims(text).unwrap(), &base)[0].judged;
    // u = 1 Hz: 1.96 Hz is the end of the interval.
    assert_eq!(judged("fs=101.9Hz"), Judged::Holds);
    assert_eq!(judged("fs=102Hz"), Judged::Fails);
    // A tolerance of 2 Hz is a standard uncertainty of 2/√3 Hz: √(1 + 4/3)·1.96 = 2.99 Hz.
    assert_eq!(judged("fs=102.9Hz+-2Hz"), Judged::Holds);
    assert_eq!(judged("fs=103.1Hz+-2Hz"), Judged::Fails);
    assert_eq!(judged("qts=0.509"), Judged::Holds);
    assert_eq!(judged("qts=0.6"), Judged::Fails);
    assert_eq!(judged("qts=0.6+-0.1"), Judged::Holds);
    assert_eq!(judged("vas=2.15L"), Judged::Holds);
    let several = hold(&parse_claims("fs=85Hz, qts=0.5 ,VAS=3.1L").unwrap(), &base);
    let keys: Vec<Key> = several.iter().map(|held| held.key).collect();
    assert_eq!(keys, [Key::Fs, Key::Qts, Key::Vas]);
    assert!((several[0].difference.unwrap().relative - 15.0 / 85.0).abs() < ROUNDING);
}

#[test]
fn claims_that_cannot_be_read_say_why() {
    let wrong = |text: &str| parse_claims(text).unwrap_err();
    assert!(matches!(wrong("fs"), ClaimError::NoEquals { .. }));
    assert!(matches!(wrong("fx=3Hz"), ClaimError::Unknown { .. }));
    assert!(matches!(wrong("fs=3Hz,fs=4Hz"), ClaimError::Twice { .. }));
    assert!(matches!(wrong("qts=-1"), ClaimError::NotPlain { .. }));
    assert!(matches!(wrong("qts=0.6Hz"), ClaimError::NotPlain { .. }));
    assert!(matches!(wrong("fs=3L"), ClaimError::Quantity { .. }));
    assert!(matches!(wrong(""), ClaimError::NoEquals { .. }));
    for text in [
        "bl=3Tm",
        "bl=3N/A",
        "cms=0.8mm/N",
        "rms=1.2kg/s",
        "le=0.3mH",
        "level_1w=84dB",
        "sd=48cm2",
    ] {
        assert_eq!(parse_claims(text).unwrap().len(), 1, "{text}");
    }
}

#[test]
fn one_session_computed_twice_comes_to_the_same() {
    let own = with_added_mass();
    assert_eq!(disagreements(&own, &own), []);
    let seen = |change: &dyn Fn(&mut Sheet)| {
        let mut theirs = own.clone();
        change(&mut theirs);
        let found = disagreements(&theirs, &own);
        assert!(found.len() < 2, "{found:?}");
        found.into_iter().next()
    };
    let fs = |sheet: &mut Sheet, factor: f64| {
        sheet.parameters.get_mut(Key::Fs).unwrap().value *= factor;
    };
    let bl = own.parameters.get(Key::Bl).unwrap();
    let u = bl.standard_uncertainty.unwrap();
    let moved = |sheet: &mut Sheet, by: f64| {
        sheet.parameters.get_mut(Key::Bl).unwrap().value += by;
    };
    // A little below and a little above 1e-9 of the value or 1e-6 of its uncertainty, whatever is more.
    let limit = (1e-9 * bl.value).max(1e-6 * u);
    assert!(limit > 1e-9 * bl.value, "the uncertainty decides here");
    assert_eq!(seen(&|s| moved(s, 0.9 * limit)), None);
    assert!(matches!(
        seen(&|s| moved(s, 1.1 * limit)),
        Some(Disagreement::Value {
            key: Key::Bl,
            what: "value",
            ..
        })
    ));
    assert!(matches!(
        seen(&|s| fs(s, f64::NAN)),
        Some(Disagreement::Value { key: Key::Fs, .. })
    ));
    type Change<'a> = (&'a dyn Fn(&mut Sheet), &'a str);
    let changes: [Change<'_>; 9] = [
        (&|s| s.verdict = "good\u{1b}[31m".into(), "the verdict is"),
        (&|s| s.circuit = None, "the circuit is none there"),
        (
            &|s| s.circuit.as_mut().unwrap().candidates[0].leak ^= true,
            "with a leak",
        ),
        (&|s| drop(s.findings.remove(0)), "absent there"),
        (
            &|s| {
                let mut more = s.findings[0].clone();
                more.take = Some("added-mass".into());
                more.code = "loose-mass".into();
                s.findings.push(more);
            },
            "about added-mass is absent here",
        ),
        (&|s| s.parameters.vas = None, "vas is absent there"),
        (
            &|s| s.parameters.get_mut(Key::Fs).unwrap().interval_95 = None,
            "",
        ),
        (&|s| s.origin.seed = 99, "seed 99"),
        (
            &|s| s.origin.takes[0].sha256 = vec!["00".into()],
            "recordings",
        ),
    ];
    for (change, says) in changes {
        let mut theirs = own.clone();
        change(&mut theirs);
        let found = disagreements(&theirs, &own);
        let said: Vec<String> = found.iter().map(ToString::to_string).collect();
        assert!(!found.is_empty() && found.len() < 3, "{says}: {said:?}");
        assert!(said[0].contains(says), "{says}: {said:?}");
        assert!(!said[0].contains('\u{1b}'), "{said:?}");
    }
}
