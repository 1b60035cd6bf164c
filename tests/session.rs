//! What the orchestrator does with calibrations, missing things and bad takes.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    reason = "a test fails by panicking"
)]

mod common;

use common::{AIR, Jig, exact, good_mass, session, sweep, take};
use farcone::bench::{Element, InventedDriver, Mounting, Noise, drivers};
use farcone::circuit::{Circuit, CoilFamily, Load, driver};
use farcone::finding::Code;
use farcone::fit::resonance;
use farcone::impedance::ImpedanceCurve;
use farcone::jig::Wiring;
use farcone::parameters::Key;
use farcone::progress::{Continue, Unwatched};
use farcone::quantity::{FrequencyGrid, Stated};
use farcone::recording::Take;
use farcone::session::{Condition, Data, Session, SessionError, TakeLevel, analyse};
use farcone::sheet::Sheet;

fn turnstone() -> &'static InventedDriver {
    drivers().iter().find(|d| d.label == "Turnstone 3").unwrap()
}

fn value(sheet: &Sheet, key: Key) -> f64 {
    sheet
        .parameters
        .get(key)
        .unwrap_or_else(|| panic!("{}: {:?}", key.as_str(), sheet.findings))
        .value
}

fn has(sheet: &Sheet, code: Code, severity: &str) -> bool {
    sheet
        .findings
        .iter()
        .any(|f| f.code == code.as_str() && f.severity == severity)
}

fn bad_jig(wiring: Wiring, sense_ohm: f64) -> Jig {
    let mut jig = Jig::new(wiring, sense_ohm);
    jig.bench.driver.gain = 1.03;
    jig.bench.driver.coupling_hz = Some(4.0);
    jig.bench.source.coupling_hz = Some(3.0);
    jig.bench.skew_samples = 0.3;
    jig.bench.lead_ohm = 0.15;
    jig.bench.driver.load_ohm = Some(10e3);
    jig
}

/// Lets the session believe in no leads and no load, so that only the calibration takes can tell.
fn unaware(mut session: Session) -> Session {
    let jig = session.jig.as_mut().unwrap();
    jig.lead_ohm = None;
    jig.input_load_ohm = [None, None];
    session
}

/// Within 0.1 %: the jig's faults are of 3 % and more, so that a calibration left out or applied the wrong way round shows.
const CALIBRATED: f64 = 1e-3;

fn check_calibrated(sheet: &Sheet, what: &str) {
    let truth = turnstone().truth();
    for (key, truth) in [
        (Key::Fs, truth.fs_hz),
        (Key::Re, truth.re_ohm),
        (Key::Qms, truth.qms),
        (Key::Qes, truth.qes),
    ] {
        let off = value(sheet, key) / truth - 1.0;
        assert!(
            off.abs() < CALIBRATED,
            "{what}: {} off by {off:e}",
            key.as_str()
        );
    }
}

#[test]
fn calibration_takes_undo_the_jig() {
    for (wiring, sense_ohm) in [(Wiring::AcrossDriver, 47.0), (Wiring::AcrossResistor, 2.0)] {
        let jig = bad_jig(wiring, sense_ohm);
        let stimulus = sweep(4.0, jig.rate_hz);
        let free = take(
            "free-air",
            Condition::FreeAir,
            jig.driver(turnstone(), &Mounting::FreeAir, &stimulus, 1),
        );
        let of = |name: &str, condition, element| {
            take(name, condition, jig.record(&element, &stimulus, 2))
        };
        let same = of("same", Condition::SameNode, Element::SameNode);
        let check = of(
            "check",
            Condition::CheckResistor { ohm: exact(22.0) },
            Element::Resistor(22.0),
        );
        let short = of("short", Condition::ShortedLeads, Element::Shorted);
        let open = of("open", Condition::OpenLeads, Element::Open);
        let sd_m2 = turnstone().sd_m2;
        let run =
            |takes: Vec<_>| analyse(unaware(session(&jig, sd_m2, takes)), &mut Unwatched).unwrap();
        let what = |set: &str| format!("{} with {set}", wiring.as_str());
        check_calibrated(
            &run(vec![
                free.clone(),
                same.clone(),
                short.clone(),
                open.clone(),
            ]),
            &what("same node, short and open"),
        );
        check_calibrated(
            &run(vec![
                free.clone(),
                check.clone(),
                short.clone(),
                open.clone(),
            ]),
            &what("check resistor, short and open"),
        );
        // Without them nothing can be told, and it is said why.
        let wrong = run(vec![free.clone()]);
        assert!(
            has(&wrong, Code::CornersDiffer, "redo"),
            "{}",
            wiring.as_str()
        );
        assert!(has(&wrong, Code::ChannelsUncalibrated, "note"));
    }
}

/// A calibration that is missing is a note, with the share of the budget that it is to blame for.
#[test]
fn what_is_missing_has_its_price() {
    let jig = Jig::new(Wiring::AcrossDriver, 47.0);
    let stimulus = sweep(3.0, jig.rate_hz);
    let free = jig.driver(turnstone(), &Mounting::FreeAir, &stimulus, 1);
    let takes = vec![take("free-air", Condition::FreeAir, free)];
    let sheet = analyse(
        unaware(session(&jig, turnstone().sd_m2, takes)),
        &mut Unwatched,
    )
    .unwrap();
    assert_eq!(sheet.verdict, "good");
    let note = sheet
        .findings
        .iter()
        .find(|f| f.code == Code::ChannelsUncalibrated.as_str())
        .unwrap();
    let parameters = &sheet.parameters;
    let (percent, dearest) = [
        ("fs", &parameters.fs),
        ("Re", &parameters.re),
        ("Qms", &parameters.qms),
        ("Qes", &parameters.qes),
        ("Qts", &parameters.qts),
    ]
    .map(|(name, parameter)| {
        let parameter = parameter.as_ref().unwrap();
        let line = parameter
            .budget
            .iter()
            .find(|line| line.source == "the match of the inputs");
        let u = line.map_or(0.0, |line| line.standard_uncertainty);
        (100.0 * u / parameter.value, name)
    })
    .into_iter()
    .max_by(|a, b| a.0.total_cmp(&b.0))
    .unwrap();
    assert!(
        percent > 0.1,
        "1 % between the inputs costs more than {percent} %"
    );
    let evidence = note.evidence.as_ref().unwrap();
    const ROUNDING: f64 = 1e-9;
    assert!(
        (evidence.value.unwrap() / percent - 1.0).abs() < ROUNDING,
        "{evidence:?} {percent}"
    );
    assert!(
        note.message
            .contains(&format!("costs {percent:.2} % of {dearest}")),
        "{}",
        note.message
    );
    // Leads and the input's load each have theirs.
    let costs = sheet
        .findings
        .iter()
        .filter(|f| f.message.contains("This costs"));
    assert_eq!(costs.count(), 3);
}

#[test]
fn typed_leads_and_load_do_as_well() {
    let mut jig = Jig::new(Wiring::AcrossDriver, 47.0);
    jig.bench.lead_ohm = 0.15;
    jig.bench.driver.load_ohm = Some(10e3);
    let stimulus = sweep(4.0, jig.rate_hz);
    let free = take(
        "free-air",
        Condition::FreeAir,
        jig.driver(turnstone(), &Mounting::FreeAir, &stimulus, 1),
    );
    let mut session = session(&jig, turnstone().sd_m2, vec![free]);
    let typed = session.jig.as_mut().unwrap();
    typed.lead_ohm = Some(exact(0.15));
    typed.input_load_ohm = [None, Some(exact(10e3))];
    check_calibrated(&analyse(session, &mut Unwatched).unwrap(), "typed");
}

#[test]
fn a_mass_too_small_weighs_nothing() {
    let jig = Jig::new(Wiring::AcrossDriver, 47.0);
    let stimulus = sweep(4.0, jig.rate_hz);
    let mass_kg = 0.03 * turnstone().mms_kg;
    let takes = vec![
        take(
            "free",
            Condition::FreeAir,
            jig.driver(turnstone(), &Mounting::FreeAir, &stimulus, 1),
        ),
        take(
            "mass",
            Condition::AddedMass {
                mass_kg: exact(mass_kg),
            },
            jig.driver(
                turnstone(),
                &Mounting::AddedMass {
                    added_mass_kg: mass_kg,
                },
                &stimulus,
                2,
            ),
        ),
    ];
    let sheet = analyse(session(&jig, turnstone().sd_m2, takes), &mut Unwatched).unwrap();
    assert_eq!(sheet.verdict, "redo");
    assert!(has(&sheet, Code::MassShiftSmall, "redo"));
    assert!(
        sheet.parameters.mms.is_none()
            && sheet.parameters.vas.is_none()
            && sheet.parameters.bl.is_none()
    );
    assert!(
        sheet.parameters.fs.is_some(),
        "what does not depend on the mass stays"
    );
}

#[test]
fn a_box_without_a_cone_still_tells_the_volume() {
    let jig = Jig::new(Wiring::AcrossDriver, 47.0);
    let stimulus = sweep(4.0, jig.rate_hz);
    let vas_m3 = turnstone().truth().vas_m3(AIR.bulk_modulus_pa());
    let volume_m3 = 0.5 * vas_m3;
    let mounting = Mounting::TestBox {
        volume_m3,
        rho_c2_pa: AIR.bulk_modulus_pa(),
        air_load_kg: 0.0,
        inverse_ql: 0.0,
    };
    let takes = vec![
        take(
            "free",
            Condition::FreeAir,
            jig.driver(turnstone(), &Mounting::FreeAir, &stimulus, 1),
        ),
        take(
            "box",
            Condition::TestBox {
                volume_m3: exact(volume_m3),
            },
            jig.driver(turnstone(), &mounting, &stimulus, 2),
        ),
    ];
    let mut session = session(&jig, turnstone().sd_m2, takes);
    session.cone = None;
    let sheet = analyse(session, &mut Unwatched).unwrap();
    assert!((value(&sheet, Key::Vas) / vas_m3 - 1.0).abs() < 1e-3);
    assert!(sheet.parameters.mms.is_none() && sheet.parameters.sd.is_none());
    assert!(has(&sheet, Code::ConeAbsent, "note"));
}

/// A weight that is 10 % off (and said to be within 10 %) must not bend fs, nor make Vas surer than it is.
#[test]
fn loads_that_disagree_do_not_bend_the_rest() {
    let jig = Jig::new(Wiring::AcrossDriver, 47.0);
    let stimulus = sweep(4.0, jig.rate_hz);
    let driver = turnstone();
    let mass_kg = good_mass(driver);
    let vas_m3 = driver.truth().vas_m3(AIR.bulk_modulus_pa());
    let volume_m3 = 0.5 * vas_m3;
    let mounting = Mounting::TestBox {
        volume_m3,
        rho_c2_pa: AIR.bulk_modulus_pa(),
        air_load_kg: 0.0,
        inverse_ql: 0.0,
    };
    let takes = vec![
        take(
            "free",
            Condition::FreeAir,
            jig.driver(driver, &Mounting::FreeAir, &stimulus, 1),
        ),
        take(
            "mass",
            Condition::AddedMass {
                mass_kg: Stated::within(1.1 * mass_kg, 0.1 * mass_kg),
            },
            jig.driver(
                driver,
                &Mounting::AddedMass {
                    added_mass_kg: mass_kg,
                },
                &stimulus,
                2,
            ),
        ),
        take(
            "box",
            Condition::TestBox {
                volume_m3: Stated::within(volume_m3, 0.01 * volume_m3),
            },
            jig.driver(driver, &mounting, &stimulus, 3),
        ),
    ];
    let sheet = analyse(session(&jig, driver.sd_m2, takes), &mut Unwatched).unwrap();
    assert!((value(&sheet, Key::Fs) / driver.truth().fs_hz - 1.0).abs() < 1e-4);
    // The box is ten times surer than the weight, so the result follows the box.
    let mms = sheet.parameters.mms.unwrap();
    let off = mms.value / driver.mms_kg - 1.0;
    assert!(off.abs() < 0.01, "{off}");
    assert!(off.abs() < 3.0 * mms.standard_uncertainty.unwrap() / mms.value);
}

fn recorded(source: Vec<f32>, driver: Vec<f32>) -> Sheet {
    let jig = Jig::new(Wiring::AcrossDriver, 47.0);
    let data = Data::Recording(Take::new(48_000, source, driver).unwrap());
    let takes = vec![take("free", Condition::FreeAir, data)];
    analyse(session(&jig, 0.01, takes), &mut Unwatched).unwrap()
}

#[test]
fn what_is_no_measurement_is_redone_with_the_sheet_still_there() {
    let sound: Vec<f32> = sweep(2.0, 48_000.0).iter().map(|&v| v as f32).collect();
    let silent = vec![0.0; sound.len()];
    let half: Vec<f32> = sound.iter().map(|v| 0.5 * v).collect();
    let wiggle = |i: usize| 1e-3 * ((i * i) as f32 * 0.37).sin();
    let hiss: Vec<f32> = (0..sound.len()).map(wiggle).collect();
    for (sheet, code) in [
        (
            recorded(sound.clone(), sound.clone()),
            Code::IdenticalChannels,
        ),
        (recorded(sound.clone(), silent.clone()), Code::DeadChannel),
        (recorded(silent.clone(), silent), Code::DeadChannel),
        (recorded(sound.clone(), half), Code::NoResonance),
        (recorded(sound, hiss), Code::NoSignal),
    ] {
        assert_eq!(sheet.verdict, "redo", "{code:?}");
        assert!(has(&sheet, code, "redo"), "{code:?}: {:?}", sheet.findings);
        assert_eq!(
            sheet.parameters,
            farcone::sheet::Parameters::default(),
            "{code:?}"
        );
    }
}

#[test]
fn a_meter_that_disagrees_is_heard() {
    let jig = Jig::new(Wiring::AcrossDriver, 47.0);
    let data = jig.driver(turnstone(), &Mounting::FreeAir, &sweep(2.0, jig.rate_hz), 1);
    let run = |ohm: f64| {
        let takes = vec![take("free", Condition::FreeAir, data.clone())];
        let mut session = session(&jig, 0.003, takes);
        session.meter_re_ohm = Some(Stated::unstated(ohm));
        analyse(session, &mut Unwatched).unwrap()
    };
    let re_ohm = turnstone().re_ohm;
    assert!(
        !run(re_ohm + 0.2)
            .findings
            .iter()
            .any(|f| f.code == Code::MeterDisagrees.as_str())
    );
    assert!(has(&run(re_ohm * 1.15), Code::MeterDisagrees, "caution"));
    assert!(has(&run(re_ohm * 1.3), Code::MeterDisagrees, "redo"));
    // By a plain factor it is the sense resistor that was typed wrong.
    let plain = run(re_ohm * 10.0);
    assert!(has(&plain, Code::SenseWrong, "redo"));
    let said = &plain.findings[0].message;
    assert!(
        said.contains("470 ohm would fit, 47 ohm was typed"),
        "{said}"
    );
}

#[test]
fn remounted_takes_measure_the_set_up() {
    let mut jig = Jig::new(Wiring::AcrossDriver, 47.0);
    jig.bench.driver.noise = Noise::BelowSignalDb(60.0);
    let stimulus = sweep(2.0, jig.rate_hz);
    let takes = [0.97, 1.0, 1.03].iter().enumerate().map(|(i, factor)| {
        let mut moved = *turnstone();
        moved.cms_m_per_n *= factor;
        let data = jig.driver(&moved, &Mounting::FreeAir, &stimulus, i as u64);
        let mut take = take(&format!("free-{i}"), Condition::FreeAir, data);
        take.remounted = i > 0;
        take
    });
    let sheet = analyse(session(&jig, 0.003, takes.collect()), &mut Unwatched).unwrap();
    let fs = sheet.parameters.fs.unwrap();
    assert_eq!(fs.setup_origin.as_deref(), Some("measured"));
    // fs ∝ Cms^(−1/2): 3 % of Cms is 1.5 % of fs.
    let relative = fs.setup_uncertainty.unwrap() / fs.value;
    assert!((relative / 0.015 - 1.0).abs() < 0.02, "{relative}");
    let re = sheet.parameters.vas;
    assert!(re.is_none());
}

/// A driver whose compliance grows by `softening` with each 6 dB, measured at three levels.
fn at_three_levels(softening: f64) -> Sheet {
    let mut jig = Jig::new(Wiring::AcrossDriver, 47.0);
    jig.bench.driver.noise = Noise::BelowSignalDb(60.0);
    let stimulus = sweep(2.0, jig.rate_hz);
    let takes = (0..3).map(|i| {
        let mut softer = *turnstone();
        softer.cms_m_per_n *= 1.0 + softening * f64::from(i);
        let data = jig.driver(&softer, &Mounting::FreeAir, &stimulus, i as u64);
        let mut take = take(&format!("free-{i}"), Condition::FreeAir, data);
        take.level = Some(TakeLevel {
            playback_dbfs: -40.0 + 6.0 * f64::from(i),
            driver_peak_v: Some(0.05 * 2f64.powi(i)),
        });
        take.aside = i > 0;
        take
    });
    analyse(session(&jig, 0.003, takes.collect()), &mut Unwatched).unwrap()
}

#[test]
fn levels_are_compared_and_left_out_of_the_parameters() {
    // fs ∝ Cms^(−1/2): each row's softening over two steps of 6 dB.
    for (softening, severity) in [(0.005, None), (0.04, Some("note")), (0.08, Some("caution"))] {
        let sheet = at_three_levels(softening);
        let truth = turnstone().truth();
        let fs = sheet.parameters.fs.as_ref().unwrap();
        // The quietest take alone makes the parameters; the others are off by percents.
        assert!((fs.value / truth.fs_hz - 1.0).abs() < 1e-3, "{}", fs.value);
        assert_eq!(sheet.levels.len(), 3);
        for (i, entry) in sheet.levels.iter().enumerate() {
            let expected = truth.fs_hz / (1.0 + softening * i as f64).sqrt();
            assert!((entry.fs.value / expected - 1.0).abs() < 1e-3, "{entry:?}");
            assert_eq!(entry.take, format!("free-{i}"));
        }
        assert_eq!(sheet.conditions.driver_peak_v, Some(0.05));
        let found = sheet
            .findings
            .iter()
            .find(|f| f.code == Code::LevelShift.as_str());
        assert_eq!(found.map(|f| f.severity.as_str()), severity, "{softening}");
        if let Some(found) = found {
            let shift = found.evidence.as_ref().unwrap().value.unwrap();
            let expected = (1.0 + 2.0 * softening).powf(-0.5) - 1.0;
            assert!((shift - expected).abs() < 1e-3, "{shift} {expected}");
        }
    }
}

#[test]
fn only_free_air_takes_can_be_set_aside() {
    let jig = Jig::new(Wiring::AcrossDriver, 47.0);
    let data = jig.driver(turnstone(), &Mounting::FreeAir, &sweep(2.0, jig.rate_hz), 1);
    let mut other = take("same", Condition::SameNode, data.clone());
    other.aside = true;
    let takes = vec![take("free", Condition::FreeAir, data), other];
    let error = analyse(session(&jig, 0.01, takes), &mut Unwatched).unwrap_err();
    assert!(matches!(error, SessionError::AsideNotFree { name } if name == "same"));
}

#[test]
fn misuse_is_an_error_that_says_what_to_do() {
    let jig = Jig::new(Wiring::AcrossDriver, 47.0);
    let none = analyse(session(&jig, 0.01, vec![]), &mut Unwatched).unwrap_err();
    assert!(matches!(none, SessionError::NoFreeAir));
    let data = jig.driver(turnstone(), &Mounting::FreeAir, &sweep(2.0, jig.rate_hz), 1);
    let one = || take("free", Condition::FreeAir, data.clone());
    let twice = analyse(session(&jig, 0.01, vec![one(), one()]), &mut Unwatched).unwrap_err();
    assert!(matches!(twice, SessionError::NameTwice { .. }));
    let mut no_jig = session(&jig, 0.01, vec![one()]);
    no_jig.jig = None;
    assert!(matches!(
        analyse(no_jig, &mut Unwatched),
        Err(SessionError::NoJig)
    ));
    let mut stop = |_: &str, _: f64| Continue::No;
    assert!(matches!(
        analyse(session(&jig, 0.01, vec![one()]), &mut stop),
        Err(SessionError::Cancelled)
    ));
}

/// Small's half-power method (JAES 20(5), 1972; from memory, confirmed by computation) on the reference driver without a
/// coil, where it is exact, against the fit.
#[test]
fn the_half_power_method_agrees_without_a_coil() {
    let circuit = driver(CoilFamily::Plain, None, Load::Free);
    let values = [5.5, 1e-9, 7.2, 21.2e-3, 0.65e-3, 1.35];
    let grid = FrequencyGrid::logarithmic(5.0, 2000.0, 4000).unwrap();
    let z = grid
        .as_slice()
        .iter()
        .map(|&f| circuit.impedance(f, &values))
        .collect();
    let curve = ImpedanceCurve::new(grid, z, None).unwrap();
    let seen = resonance(&curve).unwrap();
    // The grid is 1.5e-3 fine: |Z|max is missed by (Qms·1.5e-3/2)² at most, Re by what 5 Hz and 2 kHz leave of the branch
    // (5e-3 of it), and both move the half-power level by about as much.
    const METHOD: f64 = 6e-3;
    for (got, expected) in [
        (seen.fs_hz, 42.874_150),
        (seen.qms, 4.230_361_5),
        (seen.qes, 0.605_911_2),
    ] {
        assert!((got / expected - 1.0).abs() < METHOD, "{got} {expected}");
    }
    let mut session = session(
        &Jig::new(Wiring::AcrossDriver, 47.0),
        0.0215,
        vec![take("free", Condition::FreeAir, Data::Table(curve))],
    );
    session.jig = None;
    let sheet = analyse(session, &mut Unwatched).unwrap();
    for (key, seen) in [
        (Key::Fs, seen.fs_hz),
        (Key::Qms, seen.qms),
        (Key::Qes, seen.qes),
    ] {
        assert!(
            (value(&sheet, key) / seen - 1.0).abs() < METHOD,
            "{}",
            key.as_str()
        );
    }
}
