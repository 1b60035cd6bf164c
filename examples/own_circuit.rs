//! A circuit of one's own: a resistor with an inductor beside it, fitted to a curve with the crate's least squares.
#![allow(clippy::print_stdout, reason = "an example prints")]

use std::f64::consts::TAU;

use farcone::Complex64;
use farcone::circuit::{Circuit, Domain, Glance, Parameter};
use farcone::fit::least_squares::{Options, Outcome, Problem, minimise};

/// Z = R·jωL/(R + jωL).
struct DampedCoil {
    parameters: [Parameter; 2],
}

impl DampedCoil {
    fn new() -> Self {
        let parameters = [
            Parameter::new("damping_ohm", "Ohm", Domain::Positive),
            Parameter::new("damped_h", "H", Domain::Positive),
        ];
        Self { parameters }
    }
}

impl Circuit for DampedCoil {
    fn name(&self) -> &str {
        "damped-coil"
    }

    fn parameters(&self) -> &[Parameter] {
        &self.parameters
    }

    fn impedance(&self, frequency_hz: f64, values: &[f64]) -> Complex64 {
        self.impedance_and_derivatives(frequency_hz, values, &mut [Complex64::default(); 2])
    }

    fn impedance_and_derivatives(
        &self,
        frequency_hz: f64,
        values: &[f64],
        derivatives: &mut [Complex64],
    ) -> Complex64 {
        let j_omega = Complex64::new(0.0, TAU * frequency_hz);
        let (r, x) = (values[0], j_omega * values[1]);
        let z = r * x / (r + x);
        // Of 1/Z = 1/R + 1/X: ∂Z/∂R = (Z/R)², ∂Z/∂X = (Z/X)², and X = jωL.
        derivatives[0] = (z / r) * (z / r);
        derivatives[1] = (z / x) * (z / x) * j_omega;
        z
    }

    fn start(&self, glance: &Glance) -> Vec<f64> {
        let omega = TAU * glance.coil_hz;
        let from_glance = [2.0 * glance.coil_ohm.re, glance.coil_ohm.im / omega];
        // A glance may hold anything, a start value has to lie in its domain.
        let plain = [10.0, 1e-3];
        let pairs = from_glance.iter().zip(plain).zip(&self.parameters);
        pairs
            .map(
                |((&seen, plain), parameter)| match parameter.domain.contains(seen) {
                    true => seen,
                    false => plain,
                },
            )
            .collect()
    }
}

/// Its curve as a least-squares problem in the logarithms of both values.
struct Curve<'a> {
    circuit: &'a DampedCoil,
    points: Vec<(f64, Complex64)>,
}

impl Problem for Curve<'_> {
    fn n_residuals(&self) -> usize {
        2 * self.points.len()
    }

    fn n_parameters(&self) -> usize {
        2
    }

    fn residuals(&self, inner: &[f64], out: &mut [f64]) {
        let values: Vec<f64> = inner.iter().map(|v| v.exp()).collect();
        for (pair, (f, z)) in out.chunks_mut(2).zip(&self.points) {
            let error = self.circuit.impedance(*f, &values) - z;
            pair.copy_from_slice(&[error.re, error.im]);
        }
    }

    fn jacobian(&self, inner: &[f64], out: &mut [f64]) {
        let values: Vec<f64> = inner.iter().map(|v| v.exp()).collect();
        let n = self.n_residuals();
        let mut slopes = [Complex64::default(); 2];
        for (i, (f, _)) in self.points.iter().enumerate() {
            self.circuit
                .impedance_and_derivatives(*f, &values, &mut slopes);
            for (column, slope) in slopes.iter().enumerate() {
                out[column * n + 2 * i] = slope.re * values[column];
                out[column * n + 2 * i + 1] = slope.im * values[column];
            }
        }
    }
}

/// The largest relative difference between the analytic derivatives and central differences.
fn worst_derivative(circuit: &DampedCoil, frequency_hz: f64, values: &[f64; 2]) -> f64 {
    /// Cube root of the precision of an f64: where the error of the difference and its rounding balance.
    const STEP: f64 = 6e-6;
    let mut analytic = [Complex64::default(); 2];
    circuit.impedance_and_derivatives(frequency_hz, values, &mut analytic);
    let mut worst = 0.0;
    for (i, analytic) in analytic.iter().enumerate() {
        let (mut above, mut below) = (*values, *values);
        above[i] *= 1.0 + STEP;
        below[i] *= 1.0 - STEP;
        let rise =
            circuit.impedance(frequency_hz, &above) - circuit.impedance(frequency_hz, &below);
        let error = (rise / (above[i] - below[i]) - analytic).norm() / analytic.norm();
        if error > worst {
            worst = error;
        }
    }
    worst
}

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let circuit = DampedCoil::new();
    let truth = [12.0, 0.8e-3];
    let worst = worst_derivative(&circuit, 1000.0, &truth);
    println!("derivatives agree with differences within {worst:.0e}");

    let points: Vec<(f64, Complex64)> = (1..40)
        .map(|i| 100.0 * 1.15_f64.powi(i))
        .map(|f| (f, circuit.impedance(f, &truth)))
        .collect();
    let &(coil_hz, coil_ohm) = points.last().ok_or("no points")?;
    // Of a glance this circuit needs only the coil.
    let start = circuit.start(&Glance {
        re_ohm: 0.0,
        fs_hz: 0.0,
        qms: 0.0,
        qes: 0.0,
        mms_kg: 0.0,
        coil_ohm,
        coil_hz,
    });
    let inner: Vec<f64> = start.iter().map(|value| value.ln()).collect();
    let curve = Curve {
        circuit: &circuit,
        points,
    };
    match minimise(&curve, &inner, &Options::default()) {
        Outcome::Converged(solution) => {
            let [r, l] = [0, 1].map(|i: usize| solution.parameters[i].exp());
            println!("R = {r:.6} ohm, L = {:.6} mH", 1e3 * l);
            Ok(())
        }
        Outcome::Failed(failure) => Err(failure.reason.into()),
    }
}
