//! Worked examples of the GUM (JCGM 100:2008) and its supplements (JCGM 101:2008, JCGM 102:2011), through our own
//! propagation: linear, and by Monte Carlo.
//!
//! Figures marked "printed" are quoted from the documents by the test suites of two public uncertainty libraries;
//! figures marked "computed" were found independently of this crate (numpy, mpmath). r of H.2 is from memory,
//! confirmed by computation.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::print_stdout,
    reason = "a test fails by panicking, and prints the figures it measured"
)]

use farcone::Complex64;
use farcone::parameters::monte_carlo::{Draws, Inputs, Propagation, Statistics, propagate};
use farcone::quantity::{Covariance2, SymmetricMatrix};

/// Rounding: half a unit of the last printed digit, with room for a tie.
const PRINTED: f64 = 0.501;
/// Rounding: the computed figures have six or seven digits.
const COMPUTED: f64 = 1e-5;
/// Statistical: standard errors of a Monte Carlo figure. Seeds are fixed, so this is met or not once and for all.
const K: f64 = 4.5;
/// Draws where an exact figure is met.
const MANY: usize = 1_000_000;

fn assert_printed(found: f64, printed: f64, unit: f64, what: &str) {
    assert!(
        (found - printed).abs() <= PRINTED * unit,
        "{what}: {found}, printed {printed}"
    );
}

fn assert_within(found: f64, expected: f64, tolerance: f64, what: &str) {
    assert!(
        (found - expected).abs() <= tolerance,
        "{what}: {found} instead of {expected} ± {tolerance:e}"
    );
}

fn statistics(propagation: &Propagation, output: usize) -> Statistics {
    *propagation.outputs[output].complete().unwrap()
}

// ---- GUM H.2: simultaneous resistance and reactance measurement --------------------------------------------------

/// V/V, I/mA, φ/rad; printed in Table H.2.
const H2: [[f64; 3]; 5] = [
    [5.007, 19.663, 1.0456],
    [4.994, 19.639, 1.0438],
    [5.005, 19.640, 1.0468],
    [4.990, 19.685, 1.0428],
    [4.999, 19.678, 1.0433],
];

/// Means in V, A, rad, and the covariance of the means (JCGM 100, 5.2.3).
fn h2_inputs() -> ([f64; 3], SymmetricMatrix) {
    let rows = H2.map(|[v, i, phi]| [v, i * 1e-3, phi]);
    let n = rows.len() as f64;
    let mean = [0, 1, 2].map(|k| rows.iter().map(|row| row[k]).sum::<f64>() / n);
    let mut covariance = SymmetricMatrix::zero(3);
    for a in 0..3 {
        for b in 0..=a {
            let sum: f64 = rows
                .iter()
                .map(|row| (row[a] - mean[a]) * (row[b] - mean[b]))
                .sum();
            covariance.set(a, b, sum / (n * (n - 1.0)));
        }
    }
    (mean, covariance)
}

/// R, X, Z in ohm.
fn h2_model(x: &[f64], y: &mut [f64]) {
    let z = x[0] / x[1];
    y.copy_from_slice(&[z * x[2].cos(), z * x[2].sin(), z]);
}

/// ∂(R, X, Z)/∂(V, I, φ).
fn h2_gradients(x: &[f64; 3]) -> [[f64; 3]; 3] {
    let (z, sin, cos) = (x[0] / x[1], x[2].sin(), x[2].cos());
    [
        [cos / x[1], -z * cos / x[1], -z * sin],
        [sin / x[1], -z * sin / x[1], z * cos],
        [1.0 / x[1], -z / x[1], 0.0],
    ]
}

/// wᵀCv out of quadratic forms: 4·wᵀCv = (w+v)ᵀC(w+v) − (w−v)ᵀC(w−v).
fn bilinear(covariance: &SymmetricMatrix, w: &[f64; 3], v: &[f64; 3]) -> f64 {
    let sum: Vec<f64> = w.iter().zip(v).map(|(a, b)| a + b).collect();
    let difference: Vec<f64> = w.iter().zip(v).map(|(a, b)| a - b).collect();
    (covariance.quadratic_form(&sum) - covariance.quadratic_form(&difference)) / 4.0
}

#[test]
fn h2_means_and_their_covariance() {
    let (mean, covariance) = h2_inputs();
    assert_printed(mean[0], 4.9990, 1e-4, "V");
    assert_printed(mean[1], 19.661e-3, 1e-6, "I");
    assert_printed(mean[2], 1.04446, 1e-5, "phi");
    let u = [0, 1, 2].map(|k| covariance.get(k, k).sqrt());
    assert_printed(u[0], 3.2e-3, 1e-4, "u(V)");
    assert_printed(u[1], 9.5e-6, 1e-7, "u(I)");
    assert_printed(u[2], 7.5e-4, 1e-5, "u(phi)");
    let r = covariance.correlation();
    for (i, j, printed, computed) in [
        (0, 1, -0.36, -0.355311),
        (0, 2, 0.86, 0.857624),
        (1, 2, -0.65, -0.645111),
    ] {
        assert_printed(r.get(i, j), printed, 0.01, "r");
        assert_within(r.get(i, j), computed, COMPUTED, "r");
    }
}

/// R, X, Z: printed value, computed value, printed u, computed u. The printed u(X) is 0.295, from the second approach
/// of the example (five values averaged); the first approach at full precision gives 0.2956: hence ±0.001 on u.
const H2_RESULTS: [(f64, f64, f64, f64); 3] = [
    (127.732, 127.73217, 0.071, 0.07107),
    (219.847, 219.84651, 0.295, 0.29558),
    (254.260, 254.25970, 0.236, 0.23634),
];
const H2_PRINTED_U: f64 = 0.001;
/// r(R, X), r(R, Z), r(X, Z): computed at full precision; from memory −0.588, −0.485, 0.993.
const H2_CORRELATIONS: [(usize, usize, f64); 3] =
    [(0, 1, -0.58843), (0, 2, -0.48526), (1, 2, 0.99251)];

#[test]
fn h2_by_linear_propagation() {
    let (mean, covariance) = h2_inputs();
    let mut y = [0.0; 3];
    h2_model(&mean, &mut y);
    let gradients = h2_gradients(&mean);
    let u = gradients.map(|gradient| covariance.quadratic_form(&gradient).sqrt());
    for (k, (printed, computed, printed_u, computed_u)) in H2_RESULTS.into_iter().enumerate() {
        assert_printed(y[k], printed, 1e-3, "value");
        assert_within(y[k], computed, COMPUTED, "value");
        assert_within(u[k], printed_u, H2_PRINTED_U, "u");
        assert_within(u[k], computed_u, COMPUTED, "u");
    }
    for (i, j, computed) in H2_CORRELATIONS {
        let r = bilinear(&covariance, &gradients[i], &gradients[j]) / (u[i] * u[j]);
        assert_within(r, computed, COMPUTED, "r");
    }
}

#[test]
fn h2_tells_whether_correlations_are_kept() {
    let (mean, covariance) = h2_inputs();
    let mut independent = SymmetricMatrix::zero(3);
    for k in 0..3 {
        independent.set(k, k, covariance.get(k, k));
    }
    let u = h2_gradients(&mean).map(|gradient| independent.quadratic_form(&gradient).sqrt());
    for (u, computed) in u.into_iter().zip([0.1945, 0.2009, 0.2041]) {
        assert_printed(u, computed, 1e-4, "u without correlations");
    }
    for (u, (.., printed_u, _)) in u.into_iter().zip(H2_RESULTS) {
        assert!(
            (u - printed_u).abs() > 10.0 * H2_PRINTED_U,
            "the example does not discriminate"
        );
    }
}

#[test]
fn h2_by_monte_carlo() {
    let (mean, covariance) = h2_inputs();
    let mut inputs = Inputs::new();
    inputs.joint_normal(&mean, &covariance).unwrap();
    let propagation = propagate(&inputs, 3, Draws::Fixed(MANY), 20080, h2_model).unwrap();
    let root = (MANY as f64).sqrt();
    for (k, (_, value, printed_u, u)) in H2_RESULTS.into_iter().enumerate() {
        let found = statistics(&propagation, k);
        println!("H.2 output {k}: {found:?}");
        assert_within(found.mean, value, K * u / root + COMPUTED, "mean");
        assert_within(
            found.standard_uncertainty,
            u,
            K * u / (2.0_f64.sqrt() * root) + COMPUTED,
            "u",
        );
        assert_within(
            found.standard_uncertainty,
            printed_u,
            H2_PRINTED_U,
            "u as printed",
        );
        // The relative spread is 1e-3: as good as normal, and half the distance of two quantiles of a normal
        // distribution scatters by 1.87 u/√M.
        let half = (found.interval_95[1] - found.interval_95[0]) / 2.0;
        assert_within(
            half / u,
            1.959964,
            K * 1.87 / root + COMPUTED,
            "half-width of the interval",
        );
    }
    for (i, j, r) in H2_CORRELATIONS {
        let found = propagation.correlation.get(i, j);
        assert_within(found, r, K * (1.0 - r * r) / root + COMPUTED, "r");
    }
}

// ---- JCGM 102, 9.3: from real and imaginary part to magnitude and phase ------------------------------------------

/// x1, r, then magnitude and phase each: first-order u, Monte Carlo mean and u as printed (Tables 6 and 7, three
/// decimals), the same computed (4·10⁶ trials). x2 = 0, u(x1) = u(x2) = 0.010; the phase in radian.
const POLAR: [(f64, f64, Polar, Polar); 3] = [
    (
        0.001,
        0.0,
        (0.010, [0.013, 0.007], [0.01256, 0.00657]),
        (10.0, [0.0, 1.744], [0.0, 1.7446]),
    ),
    (
        0.001,
        0.9,
        (0.010, [0.012, 0.008], [0.01173, 0.00796]),
        (10.0, [-0.556, 1.599], [-0.5560, 1.5988]),
    ),
    (
        0.010,
        0.9,
        (0.010, [0.015, 0.008], [0.01529, 0.00814]),
        (1.0, [-0.343, 0.903], [-0.3434, 0.9031]),
    ),
];
type Polar = (f64, [f64; 2], [f64; 2]);

#[test]
fn polar_at_first_order() {
    for (x1, r, magnitude, phase) in POLAR {
        let covariance = Covariance2 {
            re_re: 1e-4,
            re_im: r * 1e-4,
            im_im: 1e-4,
        };
        let (u_magnitude, u_phase) = covariance.magnitude_phase(Complex64::new(x1, 0.0));
        assert_within(
            u_magnitude,
            magnitude.0,
            COMPUTED * magnitude.0,
            "u(magnitude)",
        );
        assert_within(u_phase, phase.0, COMPUTED * phase.0, "u(phase)");
    }
}

#[test]
fn polar_by_monte_carlo() {
    for (x1, r, magnitude, phase) in POLAR {
        let mut inputs = Inputs::new();
        let covariance = SymmetricMatrix::from_rows(2, vec![1e-4, 0.0, r * 1e-4, 1e-4]).unwrap();
        inputs.joint_normal(&[x1, 0.0], &covariance).unwrap();
        let propagation = propagate(&inputs, 2, Draws::Fixed(MANY), 20110, |x, y| {
            let z = Complex64::new(x[0], x[1]);
            y.copy_from_slice(&[z.norm(), z.arg()]);
        })
        .unwrap();
        let root = (MANY as f64).sqrt();
        for (k, (_, printed, computed)) in [magnitude, phase].into_iter().enumerate() {
            let found = statistics(&propagation, k);
            println!("polar x1 {x1}, r {r}, output {k}: {found:?}");
            // Half a unit of the last digit, in print or of the computed figures, and the scatter of the draws.
            let scatter = K * computed[1] / root;
            let digit = if k == 0 { 1e-5 } else { 1e-4 };
            for (figure, column) in [(found.mean, 0), (found.standard_uncertainty, 1)] {
                assert_within(
                    figure,
                    printed[column],
                    PRINTED * 1e-3 + scatter,
                    "as printed",
                );
                // The computed figures scatter as well, half as much.
                assert_within(
                    figure,
                    computed[column],
                    PRINTED * digit + 1.2 * scatter,
                    "as computed",
                );
            }
        }
        // The point of the example: the first order is far off.
        assert!(statistics(&propagation, 1).standard_uncertainty < 0.95 * phase.0);
    }
}

// ---- JCGM 101, 9.2: the additive model ---------------------------------------------------------------------------

fn sum(x: &[f64], y: &mut [f64]) {
    y[0] = x.iter().sum();
}

#[test]
fn four_normals() {
    let mut inputs = Inputs::new();
    for _ in 0..4 {
        inputs.normal(0.0, 1.0).unwrap();
    }
    let propagation = propagate(&inputs, 1, Draws::Fixed(MANY), 922, sum).unwrap();
    // Printed u 2.0 and ±3.92; exactly 2 and 2·1.959964. Density there: 0.05845/2.
    assert_additive(
        &statistics(&propagation, 0),
        2.0 * 1.959964,
        3.92,
        0.05845 / 2.0,
    );
}

#[test]
fn four_rectangulars() {
    let mut inputs = Inputs::new();
    for _ in 0..4 {
        inputs.rectangular(0.0, 3.0_f64.sqrt()).unwrap();
    }
    let propagation = propagate(&inputs, 1, Draws::Fixed(MANY), 923, sum).unwrap();
    // Printed ±3.88; exactly 2√3·(2 − (3/5)^¼). In the tail the density of the sum is t³/(6·(2√3)⁴) with
    // t = 4√3 − y: 0.0328.
    let exact = 2.0 * 3.0_f64.sqrt() * (2.0 - 0.6_f64.powf(0.25));
    let density = (4.0 * 3.0_f64.sqrt() - exact).powi(3) / (6.0 * (2.0 * 3.0_f64.sqrt()).powi(4));
    assert_additive(&statistics(&propagation, 0), exact, 3.88, density);
}

fn assert_additive(found: &Statistics, exact: f64, printed: f64, density: f64) {
    println!("additive: {found:?}");
    let root = (MANY as f64).sqrt();
    let scatter = K * (0.025_f64 * 0.975).sqrt() / density / root;
    assert_within(found.mean, 0.0, K * 2.0 / root, "mean");
    assert_within(
        found.standard_uncertainty,
        2.0,
        K * 2.0 / (2.0_f64.sqrt() * root),
        "u",
    );
    for (end, sign) in found.interval_95.into_iter().zip([-1.0, 1.0]) {
        assert_within(end, sign * exact, scatter, "end of the interval");
        assert_within(
            end,
            sign * printed,
            scatter + PRINTED * 0.01,
            "end of the interval as printed",
        );
    }
    // Normal and rectangular inputs differ by 0.04: more than what is allowed here.
    assert!(scatter < 0.03, "{scatter}");
}

#[test]
fn four_normals_adaptively() {
    let mut inputs = Inputs::new();
    for _ in 0..4 {
        inputs.normal(0.0, 1.0).unwrap();
    }
    let draws = Draws::Adaptive {
        significant_digits: 2,
        at_most: MANY,
    };
    let propagation = propagate(&inputs, 1, draws, 924, sum).unwrap();
    let found = statistics(&propagation, 0);
    println!("adaptive: {} draws, {found:?}", propagation.draws);
    assert_eq!(propagation.settled, Some(true));
    // δ = 0.05 for u = 2.0 and two digits, and 2s ≤ δ: K standard errors are K/2·δ.
    assert_within(found.standard_uncertainty, 2.0, K / 2.0 * 0.05, "u");
    assert_within(
        found.interval_95[1],
        2.0 * 1.959964,
        K / 2.0 * 0.05,
        "upper end",
    );
    assert_within(
        found.interval_95[0],
        -2.0 * 1.959964,
        K / 2.0 * 0.05,
        "lower end",
    );
}

// ---- JCGM 101, 9.4: comparison loss in microwave power meter calibration -----------------------------------------

#[test]
fn comparison_loss() {
    // Y = X1² + X2², u = 0.005 both, independent, x1 = 0.010, x2 = 0. Mean x1² + 2u² = 150·10⁻⁶ and variance
    // 4x1²u² + 4u⁴: u = 111.80·10⁻⁶ (both exact, computed). The first order says 100·10⁻⁶ twice.
    let u = 0.005_f64;
    let mut inputs = Inputs::new();
    inputs.normal(0.010, u).unwrap();
    inputs.normal(0.0, u).unwrap();
    let propagation = propagate(&inputs, 1, Draws::Fixed(MANY), 94, |x, y| {
        y[0] = x[0] * x[0] + x[1] * x[1]
    })
    .unwrap();
    let found = statistics(&propagation, 0);
    println!("comparison loss: {found:?}");
    let root = (MANY as f64).sqrt();
    assert_within(found.mean, 150e-6, K * 111.80e-6 / root, "mean");
    // Y/u² is noncentral χ² (2 degrees, λ = 4): its fourth cumulant, 48·(2 + 4λ), against the squared second,
    // (2·(2 + 2λ))², is an excess of 2.16, so the relative scatter of u is √((2 + 2.16)/4)/√M.
    assert_within(
        found.standard_uncertainty,
        111.803e-6,
        K * 1.02 * 111.8e-6 / root,
        "u",
    );
    let first_order = SymmetricMatrix::from_rows(2, vec![u * u, 0.0, 0.0, u * u]).unwrap();
    assert_within(
        first_order.quadratic_form(&[2.0 * 0.010, 0.0]).sqrt(),
        100e-6,
        COMPUTED * 100e-6,
        "first order",
    );
    // A sum of squares is never negative, whatever estimate ± 2u says.
    assert!(found.interval_95[0] > 0.0);
}
