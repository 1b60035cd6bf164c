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
        let (r, x) = (
            Complex64::new(values[0], 0.0),
            Complex64::new(0.0, TAU * frequency_hz * values[1]),
        );
        let z = r * x / (r + x);
        // Of 1/Z = 1/r + 1/x: ∂Z/∂r = (Z/r)², ∂Z/∂x = (Z/x)².
        derivatives[0] = (z / r) * (z / r);
        derivatives[1] = (z / x) * (z / x) * Complex64::new(0.0, TAU * frequency_hz);
        z
    }

    fn start(&self, glance: &Glance) -> Vec<f64> {
        vec![
            glance.coil_ohm.re * 2.0,
            glance.coil_ohm.im / (TAU * glance.coil_hz),
        ]
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

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let circuit = DampedCoil::new();
    let truth = [12.0, 0.8e-3];
    let points = (1..40)
        .map(|i| 100.0 * 1.15_f64.powi(i))
        .map(|f| (f, circuit.impedance(f, &truth)))
        .collect();
    let curve = Curve {
        circuit: &circuit,
        points,
    };
    match minimise(
        &curve,
        &[5.0_f64.ln(), 0.2e-3_f64.ln()],
        &Options::default(),
    ) {
        Outcome::Converged(solution) => {
            println!(
                "R = {:.6} ohm, L = {:.6} mH",
                solution.parameters[0].exp(),
                1e3 * solution.parameters[1].exp()
            );
            Ok(())
        }
        Outcome::Failed(failure) => Err(failure.reason.into()),
    }
}
