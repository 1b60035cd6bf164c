//! A small solver for the exported netlists, so that they are held without a simulator at hand: modified nodal analysis of R,
//! L, C, V, E, F and G at one frequency.

use std::collections::BTreeMap;
use std::f64::consts::TAU;

use farcone::Complex64;
use farcone::circuit::{Circuit, Load, MotionalBranch};
use farcone::export::{Format, export};

use super::any::any_sheet;
use super::literal::{self, Given};

/// The unknowns: voltages of nodes, and currents of voltage sources by their names.
struct Unknowns(BTreeMap<String, usize>);

impl Unknowns {
    fn of(lines: &[Vec<&str>]) -> Self {
        let mut all = BTreeMap::new();
        let mut add = |name: String| {
            let next = all.len();
            all.entry(name).or_insert(next);
        };
        for words in lines {
            let n_nodes = if words[0].starts_with(['E', 'G']) {
                4
            } else {
                2
            };
            for node in words[1..=n_nodes].iter().filter(|node| **node != "0") {
                add(format!("v({node})"));
            }
            if words[0].starts_with(['V', 'E']) {
                add(format!("i({})", words[0]));
            }
        }
        Self(all)
    }

    /// `None` is ground.
    fn node(&self, node: &str) -> Option<usize> {
        (node != "0").then(|| self.0[&format!("v({node})")])
    }

    fn current(&self, source: &str) -> usize {
        self.0[&format!("i({source})")]
    }
}

/// Voltages of `nodes` for one ampere into `plus`, with `minus` on ground.
pub fn solve(netlist: &str, f_hz: f64, nodes: &[&str]) -> Vec<Complex64> {
    let s = Complex64::new(0.0, TAU * f_hz);
    let grounded = netlist.replace(" minus", " 0");
    let lines: Vec<Vec<&str>> = grounded
        .lines()
        .filter(|line| !line.starts_with(['*', '.']))
        .map(|line| line.split(' ').collect())
        .collect();
    let unknowns = Unknowns::of(&lines);
    let n = unknowns.0.len();
    let mut matrix = vec![vec![Complex64::ZERO; n + 1]; n];
    let mut add = |row: Option<usize>, column: Option<usize>, value: Complex64| {
        if let (Some(row), Some(column)) = (row, column) {
            matrix[row][column] += value;
        }
    };
    for words in &lines {
        let value: Complex64 = words[words.len() - 1].parse::<f64>().unwrap().into();
        let (a, b) = (unknowns.node(words[1]), unknowns.node(words[2]));
        // A current from a to b that is `gain` times an unknown.
        let mut flow = |by: Option<usize>, gain: Complex64| {
            add(a, by, gain);
            add(b, by, -gain);
        };
        match words[0].as_bytes()[0] {
            kind @ (b'R' | b'L' | b'C') => {
                let admittance = match kind {
                    b'R' => value.inv(),
                    b'L' => (s * value).inv(),
                    _ => s * value,
                };
                flow(a, admittance);
                flow(b, -admittance);
            }
            b'G' => {
                flow(unknowns.node(words[3]), value);
                flow(unknowns.node(words[4]), -value);
            }
            b'F' => flow(Some(unknowns.current(words[3])), value),
            kind @ (b'V' | b'E') => {
                let own = Some(unknowns.current(words[0]));
                flow(own, Complex64::ONE);
                add(own, a, Complex64::ONE);
                add(own, b, -Complex64::ONE);
                if kind == b'E' {
                    add(own, unknowns.node(words[3]), -value);
                    add(own, unknowns.node(words[4]), value);
                } else {
                    assert_eq!(value, Complex64::ZERO, "sources only sense");
                }
            }
            _ => panic!("{words:?}"),
        }
    }
    matrix[unknowns.node("plus").unwrap()][n] += 1.0;
    let solution = eliminate(matrix);
    let voltage = |node: &&str| solution[unknowns.node(node).unwrap()];
    nodes.iter().map(voltage).collect()
}

/// Gaussian elimination with pivots by column, of a matrix with its right-hand side as the last column.
fn eliminate(mut matrix: Vec<Vec<Complex64>>) -> Vec<Complex64> {
    let n = matrix.len();
    for k in 0..n {
        let pivot = (k..n)
            .max_by(|&i, &j| matrix[i][k].norm().total_cmp(&matrix[j][k].norm()))
            .unwrap();
        matrix.swap(k, pivot);
        assert!(matrix[k][k].norm() > 0.0, "the circuit is singular");
        let row = matrix[k].clone();
        for other in &mut matrix[k + 1..] {
            let factor = other[k] / row[k];
            if factor != Complex64::ZERO {
                for (value, above) in other[k..].iter_mut().zip(&row[k..]) {
                    *value -= factor * above;
                }
            }
        }
    }
    let mut solution = vec![Complex64::ZERO; n];
    for k in (0..n).rev() {
        let known: Complex64 = (k + 1..n).map(|j| matrix[k][j] * solution[j]).sum();
        solution[k] = (matrix[k][n] - known) / matrix[k][k];
    }
    solution
}

const FREQUENCIES_HZ: [f64; 8] = [10.0, 24.0, 42.9, 95.0, 210.0, 1e3, 4.7e3, 2e4];

#[test]
fn any_netlist_has_the_sheets_impedance() {
    /// Method: what is promised; (C36) to (C40) leave less.
    const LADDER: f64 = 1e-2;
    for seed in 0..100 {
        let sheet = any_sheet(seed);
        let netlist = export(&sheet, Format::Spice).unwrap();
        let (circuit, values) = sheet.circuit.unwrap().driver().unwrap();
        for f_hz in FREQUENCIES_HZ {
            let z_ohm = circuit.impedance(f_hz, &values);
            let got = solve(&netlist, f_hz, &["plus"])[0];
            assert!(
                (got / z_ohm - 1.0).norm() < LADDER,
                "seed {seed}, {f_hz} Hz: {got} for {z_ohm}"
            );
        }
    }
}

#[test]
fn lumped_netlists_are_exact_and_their_pins_move() {
    /// Rounding, through elimination of some twenty unknowns that lie up to ten decades apart.
    const ROUNDING: f64 = 1e-9;
    for given in [literal::plain(), literal::lr2()] {
        let sheet = given.sheet();
        let netlist = export(&sheet, Format::Spice).unwrap();
        let (circuit, values) = sheet.circuit.unwrap().driver().unwrap();
        let branch = MotionalBranch::new(None, Load::Free);
        let mechanical = [
            given.bl_t_m,
            given.mms_kg,
            given.cms_m_per_n,
            given.rms_kg_per_s,
        ];
        for f_hz in FREQUENCIES_HZ {
            let velocity = given.bl_t_m / branch.mechanical_impedance(f_hz, &mechanical);
            let s = Complex64::new(0.0, TAU * f_hz);
            let expected = [
                circuit.impedance(f_hz, &values),
                velocity,
                velocity / s,
                velocity * 0.0215,
            ];
            let nodes = ["plus", "velocity", "displacement", "volume_velocity"];
            let got = solve(&netlist, f_hz, &nodes);
            for ((got, expected), node) in got.iter().zip(expected).zip(nodes) {
                assert!(
                    (got / expected - 1.0).norm() < ROUNDING,
                    "{node}, {f_hz} Hz: {got} for {expected}"
                );
            }
        }
    }
}

/// What loads a pin is felt by the cone: a mass and an added capacitor are the same, and so are a box and an inductor.
#[test]
fn loads_on_the_pins_are_loads_on_the_cone() {
    const ROUNDING: f64 = 1e-9;
    let given = literal::plain();
    let netlist = export(&given.sheet(), Format::Spice).unwrap();
    let heavier = Given {
        mms_kg: given.mms_kg + 5e-3,
        ..given.clone()
    };
    let stiffness = 4000.0;
    let stiffer = Given {
        cms_m_per_n: 1.0 / (1.0 / given.cms_m_per_n + stiffness),
        ..given.clone()
    };
    let acoustic = 0.0215 * 0.0215 / stiffness;
    for (load, other) in [
        ("Cadded velocity 0 0.005".to_owned(), &heavier),
        (format!("Lbox volume_velocity 0 {acoustic:?}"), &stiffer),
        (
            format!("Gbox velocity 0 displacement 0 {stiffness:?}"),
            &stiffer,
        ),
    ] {
        let loaded = format!("{netlist}{load}\n");
        let other = export(&other.sheet(), Format::Spice).unwrap();
        for f_hz in FREQUENCIES_HZ {
            let nodes = ["plus", "velocity"];
            let (a, b) = (solve(&loaded, f_hz, &nodes), solve(&other, f_hz, &nodes));
            for (a, b) in a.iter().zip(&b) {
                assert!(
                    (a / b - 1.0).norm() < ROUNDING,
                    "{load}, {f_hz} Hz: {a} for {b}"
                );
            }
        }
    }
}

/// The check can fail: a netlist with one wrong value is found out.
#[test]
fn a_wrong_value_shows() {
    let sheet = literal::plain().sheet();
    let netlist = export(&sheet, Format::Spice).unwrap();
    let wrong = netlist.replace("Cmass velocity 0 0.0212", "Cmass velocity 0 0.0214");
    assert_ne!(wrong, netlist);
    let at = |netlist: &str| solve(netlist, 42.0, &["plus"])[0];
    assert!((at(&wrong) / at(&netlist) - 1.0).norm() > 1e-3);
}
