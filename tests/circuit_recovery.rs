//! The second half of every circuit's contract: what it simulates, the fitter recovers.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    reason = "a test fails by panicking"
)]

use farcone::Complex64;
use farcone::circuit::{
    Circuit, CoilFamily, Load, MotionalBranch, Resistance, Series, TestBox, driver,
};
use farcone::fit::least_squares::{Options, Outcome, Problem, minimise};
use farcone::fit::transform::Transform;

/// Values of an invented driver, by name.
fn value(name: &str) -> f64 {
    match name {
        "re_ohm" => 5.8,
        "le_h" => 0.35e-3,
        "l2_h" => 0.6e-3,
        "r2_ohm" => 5.0,
        "coil_1khz_ohm" => 2.4,
        "coil_exponent" => 0.66,
        "leb_h" => 0.08e-3,
        "le_parallel_h" => 2.2e-3,
        "ke_1khz_ohm" => 3.0,
        "rss_ohm" => 45.0,
        "bl_t_m" => 6.4,
        "mms_kg" => 0.013,
        "cms_m_per_n" => 0.7e-3,
        "rms_kg_per_s" => 1.1,
        "creep" => 0.09,
        "box_air_load_kg" => 0.4e-3,
        "box_inverse_ql" => 0.04,
        other => panic!("no value for {other}"),
    }
}

struct Curve<'a> {
    circuit: &'a dyn Circuit,
    transforms: Vec<Transform>,
    points: Vec<(f64, Complex64)>,
}

impl Curve<'_> {
    fn values(&self, inner: &[f64]) -> Vec<f64> {
        inner
            .iter()
            .zip(&self.transforms)
            .map(|(v, t)| t.value(*v))
            .collect()
    }
}

impl Problem for Curve<'_> {
    fn n_residuals(&self) -> usize {
        2 * self.points.len()
    }

    fn n_parameters(&self) -> usize {
        self.transforms.len()
    }

    fn residuals(&self, inner: &[f64], out: &mut [f64]) {
        let values = self.values(inner);
        for (pair, (f, z)) in out.chunks_mut(2).zip(&self.points) {
            let error = (self.circuit.impedance(*f, &values) - z) / z.norm();
            pair.copy_from_slice(&[error.re, error.im]);
        }
    }

    fn jacobian(&self, inner: &[f64], out: &mut [f64]) {
        let values = self.values(inner);
        let n = self.n_residuals();
        let mut slopes = vec![Complex64::default(); values.len()];
        for (i, (f, z)) in self.points.iter().enumerate() {
            self.circuit
                .impedance_and_derivatives(*f, &values, &mut slopes);
            for (j, slope) in slopes.iter().enumerate() {
                let slope = slope * self.transforms[j].derivative(inner[j]) / z.norm();
                out[j * n + 2 * i] = slope.re;
                out[j * n + 2 * i + 1] = slope.im;
            }
        }
    }
}

/// Rounding: noise-free, and far from the limit of the criteria.
const RECOVERED: f64 = 1e-7;

/// Simulates, starts a fifth off (each parameter its own way), and recovers.
fn recovers(circuit: &dyn Circuit, determined: bool) {
    let truth: Vec<f64> = circuit
        .parameters()
        .iter()
        .map(|p| value(&p.name))
        .collect();
    let points = (0..160)
        .map(|i| 8.0 * 1.05_f64.powi(i))
        .map(|f| (f, circuit.impedance(f, &truth)))
        .collect();
    let transforms = circuit
        .parameters()
        .iter()
        .map(|p| Transform::from(p.domain))
        .collect();
    let curve = Curve {
        circuit,
        transforms,
        points,
    };
    let start: Vec<f64> = truth
        .iter()
        .zip(&curve.transforms)
        .enumerate()
        .map(|(i, (v, t))| t.inner(v * if i % 2 == 0 { 1.2 } else { 0.8 }).unwrap())
        .collect();
    let name = circuit.name();
    let solution = match minimise(&curve, &start, &Options::default()) {
        Outcome::Converged(solution) => solution,
        Outcome::Failed(failure) => panic!("{name}: {}", failure.reason),
    };
    assert!(
        solution.rss.sqrt() < RECOVERED,
        "{name}: {:e}",
        solution.rss
    );
    assert_eq!(
        solution.undetermined.is_empty(),
        determined,
        "{name}: {:?}",
        solution.undetermined
    );
    for (i, (got, truth)) in curve
        .values(&solution.parameters)
        .iter()
        .zip(&truth)
        .enumerate()
    {
        if !solution.undetermined.contains(&i) {
            let what = &circuit.parameters()[i].name;
            assert!(
                (got / truth - 1.0).abs() < 100.0 * RECOVERED,
                "{name} {what}: {got} {truth}"
            );
        }
    }
}

#[test]
fn coils_are_recovered() {
    for family in CoilFamily::ALL {
        recovers(family.coil().as_ref(), true);
        recovers(
            &Series::new("wire and coil", vec![Box::new(Resistance), family.coil()]),
            true,
        );
    }
}

/// Bl², Mms, Cms and Rms scale along in a free branch, and the fitter has to say so; a known load ends that.
#[test]
fn branches_are_recovered_as_far_as_they_can_be() {
    let boxed = TestBox::new(1.42e5, 0.013, 6e-3);
    for creep in [None, Some(50.0)] {
        recovers(&MotionalBranch::new(creep, Load::Free), false);
        recovers(
            &MotionalBranch::new(
                creep,
                Load::AddedMass {
                    added_mass_kg: 0.009,
                },
            ),
            false,
        );
        for load in [boxed, boxed.with_air_load(), boxed.with_leak()] {
            let branch = MotionalBranch::new(creep, Load::TestBox(load));
            // One curve in a box cannot tell the box's spring from the suspension's, unless creep or a leak colours one.
            let colour = creep.is_some() || load.leak;
            recovers(&branch, colour && !load.air_load);
        }
    }
}

#[test]
fn whole_drivers_are_recovered() {
    for family in CoilFamily::ALL {
        for creep in [None, Some(50.0)] {
            recovers(&driver(*family, creep, Load::Free), false);
        }
    }
}
