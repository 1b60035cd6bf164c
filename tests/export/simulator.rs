//! The exported subcircuit in ngspice: its impedance, its pins, and a closed box computed from exported files alone.

use std::path::Path;

use farcone::Complex64;
use farcone::circuit::{Circuit, Load, MotionalBranch};
use farcone::enclosure::{ClosedBox, Doubtful, SmallDriver};
use farcone::export::{Format, export};
use farcone::sheet::Sheet;

use super::any::any_sheet;
use super::labels::HOSTILE;
use super::literal::{self, Given};
use super::outside::have;
use super::tools::run;

/// Method: what is promised for coils of lumped elements, and for ladders.
const LUMPED: f64 = 1e-4;
const LADDER: f64 = 1e-2;

/// The pins of the first subcircuit of a file, and its name.
fn first_subcircuit(netlist: &str) -> (String, Vec<String>) {
    let line = netlist
        .lines()
        .find(|line| line.to_lowercase().starts_with(".subckt"))
        .unwrap();
    let mut words = line.split_whitespace().skip(1).map(str::to_owned);
    (words.next().unwrap(), words.collect())
}

/// Runs `.ac` over a circuit around the subcircuit in `netlist`; each pin is a node of its own name, `minus` is ground. The
/// voltages of `nodes`.
fn ac(netlist: &str, around: &str, sweep: &str, nodes: &[&str]) -> Vec<(f64, Vec<Complex64>)> {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("driver.cir"), netlist).unwrap();
    let (name, pins) = first_subcircuit(netlist);
    let pins: Vec<&str> = pins
        .iter()
        .map(|pin| if pin == "minus" { "0" } else { pin })
        .collect();
    let vectors: Vec<String> = nodes.iter().map(|node| format!("v({node})")).collect();
    let deck = format!(
        "test\n.include driver.cir\nXdriver {} {name}\n{around}\n.control\nset numdgt=15\nset wr_singlescale\nac {sweep}\nwrdata out.txt {}\n.endc\n.end\n",
        pins.join(" "),
        vectors.join(" ")
    );
    std::fs::write(folder.path().join("deck.cir"), deck).unwrap();
    let output = run("ngspice", &["-b", "deck.cir"], folder.path());
    let said = format!(
        "{}{}",
        String::from_utf8_lossy(&output.stdout),
        String::from_utf8_lossy(&output.stderr)
    );
    let lower = said.to_lowercase();
    assert!(
        !lower.contains("singular") && !lower.contains("error"),
        "{said}\n{netlist}"
    );
    let table =
        std::fs::read_to_string(folder.path().join("out.txt")).unwrap_or_else(|_| panic!("{said}"));
    table
        .lines()
        .map(|line| {
            let numbers: Vec<f64> = line
                .split_whitespace()
                .map(|word| word.parse().unwrap())
                .collect();
            let values = numbers[1..]
                .chunks(2)
                .map(|pair| Complex64::new(pair[0], pair[1]));
            (numbers[0], values.collect())
        })
        .collect()
}

/// One ampere into the driver, so that volts are ohms.
const DRIVE: &str = "Idrive 0 plus dc 0 ac 1";
/// 61 points per decade over 3.3 decades are 202.
const AUDIO: &str = "dec 61 10 20k";

fn worst_impedance_error(sheet: &Sheet) -> f64 {
    let netlist = export(sheet, Format::Spice).unwrap();
    let (circuit, values) = sheet.circuit.as_ref().unwrap().driver().unwrap();
    let points = ac(&netlist, DRIVE, AUDIO, &["plus"]);
    assert!(points.len() >= 200, "{}", points.len());
    let mut worst: f64 = 0.0;
    for (f_hz, volts) in points {
        let z_ohm = circuit.impedance(f_hz, &values);
        let error = (volts[0] - z_ohm).norm() / z_ohm.norm();
        worst = if error > worst { error } else { worst };
    }
    worst
}

#[test]
#[ignore = "needs ngspice"]
fn the_impedance_is_the_sheets() {
    if !have(&["ngspice"], "ngspice") {
        return;
    }
    for (given, promised) in [
        (literal::plain(), LUMPED),
        (literal::little_known(), LUMPED),
        (literal::lr2(), LUMPED),
        (literal::power_law(), LADDER),
        (literal::semi_inductor(), LADDER),
    ] {
        for creep in [
            None,
            Some((0.02, 42.0)),
            Some((0.1, 42.0)),
            Some((0.3, 35.0)),
        ] {
            let given = Given {
                creep,
                ..given.clone()
            };
            let promised = if creep.is_some() { LADDER } else { promised };
            let worst = worst_impedance_error(&given.sheet());
            println!("{}, creep {creep:?}: Z within {worst:.1e}", given.coil);
            assert!(worst < promised, "{}, creep {creep:?}: {worst}", given.coil);
        }
    }
}

/// Drivers of every kind with hostile labels: nothing in a label reaches the simulator.
#[test]
#[ignore = "needs ngspice"]
fn any_sheet_simulates() {
    if !have(&["ngspice"], "ngspice") {
        return;
    }
    let mut worst: f64 = 0.0;
    for seed in 2000..2030 {
        let error = worst_impedance_error(&any_sheet(seed));
        worst = if error > worst { error } else { worst };
        assert!(error < LADDER, "seed {seed}: {error}");
    }
    for label in HOSTILE {
        let given = Given {
            label: (*label).to_owned(),
            ..literal::plain()
        };
        assert!(worst_impedance_error(&given.sheet()) < LUMPED, "{label:?}");
    }
    println!("thirty sheets of any kind: Z within {worst:.1e}");
    assert!(!Path::new("/tmp/owned").exists());
}

/// Velocity, displacement and volume velocity per ampere.
#[test]
#[ignore = "needs ngspice"]
fn the_pins_move_as_the_cone_does() {
    if !have(&["ngspice"], "ngspice") {
        return;
    }
    for creep in [None, Some((0.1, 42.0))] {
        let given = Given {
            creep,
            ..literal::lr2()
        };
        let netlist = export(&given.sheet(), Format::Spice).unwrap();
        let nodes = ["velocity", "displacement", "volume_velocity"];
        let mut values = vec![
            given.bl_t_m,
            given.mms_kg,
            given.cms_m_per_n,
            given.rms_kg_per_s,
        ];
        values.extend(creep.map(|(creep, _)| creep));
        let branch = MotionalBranch::new(creep.map(|(_, f_hz)| f_hz), Load::Free);
        for (f_hz, moves) in ac(&netlist, DRIVE, AUDIO, &nodes) {
            let velocity = given.bl_t_m / branch.mechanical_impedance(f_hz, &values);
            let s = Complex64::new(0.0, std::f64::consts::TAU * f_hz);
            let expected = [velocity, velocity / s, velocity * 0.0215];
            let limit = if creep.is_some() { LADDER } else { LUMPED };
            for ((got, expected), node) in moves.iter().zip(expected).zip(nodes) {
                let error = (got - expected).norm() / expected.norm();
                assert!(error < limit, "{node} at {f_hz} Hz: {got} for {expected}");
            }
        }
    }
}

/// A value of an exported parameter table.
fn parameter(table: &str, name: &str) -> f64 {
    let mut reader = csv::Reader::from_reader(table.as_bytes());
    let record = reader
        .records()
        .map(|r| r.unwrap())
        .find(|r| &r[2] == name)
        .unwrap();
    record[4].parse().unwrap()
}

/// Where a line through two points reaches zero.
fn crossing(points: &[(f64, f64)], rising: bool) -> f64 {
    let pair = points
        .windows(2)
        .find(|pair| (pair[0].1 > 0.0) != rising && (pair[1].1 > 0.0) == rising)
        .unwrap();
    let [(x0, y0), (x1, y1)] = [pair[0], pair[1]];
    x0 - y0 * (x1 - x0) / (y1 - y0)
}

/// Resonance and total Q of a driver with `load` around it, from a simulation alone: the velocity's phase and half-power
/// points, and the impedance with the cone free and held.
fn resonance(netlist: &str, load: &str, re_ohm: f64) -> (f64, f64) {
    const FINE: &str = "dec 4000 10 1k";
    let free = ac(
        netlist,
        &format!("{DRIVE}\n{load}"),
        FINE,
        &["velocity", "plus"],
    );
    let held = ac(
        netlist,
        &format!("{DRIVE}\nRheld velocity 0 1e-9"),
        FINE,
        &["plus"],
    );
    let phase: Vec<_> = free.iter().map(|(f, v)| (*f, v[0].im)).collect();
    let fc_hz = crossing(&phase, false);
    let peak = free
        .iter()
        .map(|(_, v)| v[0].norm())
        .fold(0.0, |a: f64, b| if b > a { b } else { a });
    let half: Vec<_> = free
        .iter()
        .map(|(f, v)| (*f, v[0].norm() - peak / 2_f64.sqrt()))
        .collect();
    let qm = fc_hz / (crossing(&half, false) - crossing(&half, true));
    let at = free.iter().position(|(f, _)| *f > fc_hz).unwrap();
    let motional_ohm = (free[at].1[1] - held[at].1[0]).re;
    let qe = qm * re_ohm / motional_ohm;
    (fc_hz, qm * qe / (qm + qe))
}

/// Closed boxes from the exported subcircuit and the exported parameter table, without the sheet.
#[test]
#[ignore = "needs ngspice"]
fn a_closed_box_from_exported_files_alone() {
    /// Method: half-power points between steps of 0.06 %.
    const READ_OFF: f64 = 1e-3;
    /// Method: the real sheet's parameters are averages over circuits, its subcircuit is one of them with a little creep.
    const AVERAGED: f64 = 3e-3;
    if !have(&["ngspice"], "ngspice") {
        return;
    }
    let real =
        Sheet::from_json(include_str!("../../fixtures/sheets/version-1.driver.json")).unwrap();
    for (sheet, limit) in [
        (literal::plain().sheet(), READ_OFF),
        (literal::semi_inductor().sheet(), READ_OFF),
        (real, AVERAGED),
    ] {
        let netlist = export(&sheet, Format::Spice).unwrap();
        let table = export(&sheet, Format::CsvParameters).unwrap();
        let of = |name: &str| parameter(&table, name);
        let (fs, qts, vas, re) = (of("fs"), of("qts"), of("vas"), of("re"));
        let (cms, sd) = (of("cms"), of("sd"));
        for share in [0.3, 1.0, 3.0] {
            let volume_m3 = share * vas;
            // V/(ρc²), as the tables have it: Vas = ρc²·Sd²·Cms.
            let acoustic = volume_m3 * sd * sd * cms / vas;
            let stiffness = sd * sd / acoustic;
            let exact = |value| {
                Some(Doubtful {
                    value,
                    takes: None,
                    setup: None,
                })
            };
            let driver = SmallDriver {
                fs_hz: exact(fs),
                qts: exact(qts),
                vas_m3: exact(vas),
                correlation: None,
            };
            let ours = ClosedBox::new(&driver, volume_m3).unwrap();
            let (ours_hz, ours_qtc) = (ours.fc_hz.value, ours.qtc.value);
            for load in [
                format!("Lbox volume_velocity box {acoustic:e}\nRbox box 0 1e-12"),
                format!("Gbox velocity 0 displacement 0 {stiffness:e}"),
            ] {
                let (fc_hz, qtc) = resonance(&netlist, &load, re);
                println!(
                    "{}, Vb {:.1} L: fc {fc_hz:.3} Hz for {:.3}, Qtc {qtc:.4} for {:.4}",
                    sheet.label,
                    1e3 * volume_m3,
                    ours_hz,
                    ours_qtc
                );
                assert!((fc_hz / ours_hz - 1.0).abs() < limit, "{load}: {fc_hz}");
                assert!((qtc / ours_qtc - 1.0).abs() < limit, "{load}: {qtc}");
            }
        }
        // The check can fail: without a box there is the free driver.
        let (free_hz, _) = resonance(&netlist, "", re);
        assert!((free_hz / fs - 1.0).abs() < limit);
    }
}
