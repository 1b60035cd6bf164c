use super::*;

/// Rounding: sums of up to a few thousand terms at a condition of at most 1e3.
const ROUNDING: f64 = 1e-11;

type Fill = Box<dyn Fn(&[f64], &mut [f64])>;

struct Given {
    n: usize,
    p: usize,
    residuals: Fill,
    jacobian: Fill,
}

impl Problem for Given {
    fn n_residuals(&self) -> usize {
        self.n
    }
    fn n_parameters(&self) -> usize {
        self.p
    }
    fn residuals(&self, parameters: &[f64], out: &mut [f64]) {
        (self.residuals)(parameters, out);
    }
    fn jacobian(&self, parameters: &[f64], out: &mut [f64]) {
        (self.jacobian)(parameters, out);
    }
}

fn given(
    n: usize,
    p: usize,
    residuals: impl Fn(&[f64], &mut [f64]) + 'static,
    jacobian: impl Fn(&[f64], &mut [f64]) + 'static,
) -> Given {
    Given {
        n,
        p,
        residuals: Box::new(residuals),
        jacobian: Box::new(jacobian),
    }
}

fn solve(problem: &dyn Problem, start: &[f64]) -> Solution {
    match minimise(problem, start, &Options::default()) {
        Outcome::Converged(solution) => solution,
        Outcome::Failed(failure) => panic!("{failure:?}"),
    }
}

fn reason(problem: &dyn Problem, start: &[f64], options: &Options) -> FailureReason {
    match minimise(problem, start, options) {
        Outcome::Failed(failure) => failure.reason,
        Outcome::Converged(solution) => panic!("converged: {solution:?}"),
    }
}

fn assert_near(found: f64, expected: f64, relative: f64, what: &str) {
    assert!(
        (found - expected).abs() <= relative * expected.abs(),
        "{what}: {found} instead of {expected}"
    );
}

const X: [f64; 5] = [0.0, 1.0, 2.0, 4.0, 5.0];
const Y: [f64; 5] = [1.0, 3.2, 4.9, 9.1, 10.8];

/// y = a·p0 + b·x·p1: with a = b = 1 a straight line, with others one of badly scaled parameters.
fn line(a: f64, b: f64) -> Given {
    given(
        5,
        2,
        move |p, out| {
            for i in 0..5 {
                out[i] = a * p[0] + b * X[i] * p[1] - Y[i];
            }
        },
        move |_, out| {
            for i in 0..5 {
                out[i] = a;
                out[5 + i] = b * X[i];
            }
        },
    )
}

/// Intercept, slope, rss, and the covariance by the textbook sums (JCGM 100:2008, H.3).
fn line_by_sums() -> (f64, f64, f64, [f64; 3]) {
    let n = 5.0;
    let (sx, sy): (f64, f64) = (X.iter().sum(), Y.iter().sum());
    let sxx: f64 = X.iter().map(|x| x * x).sum();
    let sxy: f64 = X.iter().zip(Y).map(|(x, y)| x * y).sum();
    let d = n * sxx - sx * sx;
    let (intercept, slope) = ((sxx * sy - sx * sxy) / d, (n * sxy - sx * sy) / d);
    let rss = X
        .iter()
        .zip(Y)
        .map(|(x, y)| (intercept + slope * x - y).powi(2))
        .sum();
    (intercept, slope, rss, [sxx / d, -sx / d, n / d])
}

#[test]
fn a_straight_line_has_the_textbook_result() {
    let (intercept, slope, rss, covariance) = line_by_sums();
    let solution = solve(&line(1.0, 1.0), &[0.0, 0.0]);
    assert_near(solution.parameters[0], intercept, ROUNDING, "intercept");
    assert_near(solution.parameters[1], slope, ROUNDING, "slope");
    assert_near(solution.rss, rss, ROUNDING, "rss");
    assert_near(
        solution.covariance.get(0, 0),
        covariance[0],
        ROUNDING,
        "variance of the intercept",
    );
    assert_near(
        solution.covariance.get(0, 1),
        covariance[1],
        ROUNDING,
        "covariance",
    );
    assert_near(
        solution.covariance.get(1, 1),
        covariance[2],
        ROUNDING,
        "variance of the slope",
    );
    let scaled = solution.covariance_scaled_by_residuals().unwrap();
    assert_near(
        scaled.get(0, 1),
        covariance[1] * rss / 3.0,
        ROUNDING,
        "scaled covariance",
    );
    assert_near(
        solution.standard_uncertainty(1).unwrap(),
        covariance[2].sqrt(),
        ROUNDING,
        "uncertainty",
    );
    assert_eq!((solution.rank, solution.degrees_of_freedom()), (2, 3));
}

#[test]
fn badly_scaled_parameters_cost_nothing() {
    // Parameters of about 1e9 and 1e-9: JᵀJ itself would have a condition of 1e36.
    let (a, b) = (1e-9, 1e9);
    let (intercept, slope, _, covariance) = line_by_sums();
    let (plain, scaled) = (
        solve(&line(1.0, 1.0), &[0.0, 0.0]),
        solve(&line(a, b), &[0.0, 0.0]),
    );
    assert_near(scaled.parameters[0], intercept / a, ROUNDING, "intercept");
    assert_near(scaled.parameters[1], slope / b, ROUNDING, "slope");
    assert_near(
        scaled.covariance.get(0, 0),
        covariance[0] / (a * a),
        ROUNDING,
        "variance of the intercept",
    );
    assert_near(
        scaled.covariance.get(0, 1),
        covariance[1] / (a * b),
        ROUNDING,
        "covariance",
    );
    assert_near(
        scaled.covariance.get(1, 1),
        covariance[2] / (b * b),
        ROUNDING,
        "variance of the slope",
    );
    assert_eq!(scaled.rank, 2);
    assert_near(scaled.condition(), plain.condition(), ROUNDING, "condition");
}

/// Only the product p0·p1 and the slope p2 act.
fn product_and_slope() -> Given {
    given(
        5,
        3,
        |p, out| {
            for i in 0..5 {
                out[i] = p[0] * p[1] + X[i] * p[2] - Y[i];
            }
        },
        |p, out| {
            for i in 0..5 {
                out[i] = p[1];
                out[5 + i] = p[0];
                out[10 + i] = X[i];
            }
        },
    )
}

#[test]
fn a_valley_is_named() {
    let (intercept, slope, _, covariance) = line_by_sums();
    let solution = solve(&product_and_slope(), &[3.0, 0.5, 1.0]);
    assert_eq!(
        (solution.rank, solution.undetermined.as_slice()),
        (2, [0, 1].as_slice())
    );
    assert_eq!(solution.standard_uncertainty(0), None);
    assert_eq!(solution.standard_uncertainty(1), None);
    assert_near(
        solution.parameters[0] * solution.parameters[1],
        intercept,
        ROUNDING,
        "product",
    );
    assert_near(solution.parameters[2], slope, ROUNDING, "slope");
    // What is determined keeps its uncertainty: the slope, and the product as a function of both factors.
    assert_near(
        solution.covariance.get(2, 2),
        covariance[2],
        ROUNDING,
        "variance of the slope",
    );
    let gradient = [solution.parameters[1], solution.parameters[0], 0.0];
    assert_near(
        solution.covariance.quadratic_form(&gradient),
        covariance[0],
        ROUNDING,
        "variance of the product",
    );
}

#[test]
fn a_parameter_without_effect_is_named() {
    let mut problem = product_and_slope();
    problem.residuals = Box::new(|p, out| {
        for i in 0..5 {
            out[i] = p[0] + X[i] * p[2] - Y[i];
        }
    });
    problem.jacobian = Box::new(|_, out| {
        for i in 0..5 {
            out[i] = 1.0;
            out[5 + i] = 0.0;
            out[10 + i] = X[i];
        }
    });
    let solution = solve(&problem, &[0.0, 7.0, 0.0]);
    assert_eq!(
        (solution.rank, solution.undetermined.as_slice()),
        (2, [1].as_slice())
    );
    assert_eq!(solution.parameters[1], 7.0, "nothing pulls at it");
    assert!(solution.condition() > 1.0 / Options::default().rank_tolerance);
}

#[test]
fn misuse_is_told_before_the_first_step() {
    let options = Options::default();
    let few = given(1, 2, |_, out| out.fill(1.0), |_, out| out.fill(1.0));
    assert_eq!(
        reason(&few, &[1.0, 1.0], &options),
        FailureReason::TooFewResiduals {
            residuals: 1,
            parameters: 2
        }
    );
    let none = given(1, 0, |_, out| out.fill(1.0), |_, _| ());
    assert_eq!(reason(&none, &[], &options), FailureReason::NoParameters);
    let line = line(1.0, 1.0);
    assert_eq!(
        reason(&line, &[1.0], &options),
        FailureReason::StartLength {
            start: 1,
            parameters: 2
        }
    );
    assert!(matches!(
        reason(&line, &[1.0, f64::NAN], &options),
        FailureReason::StartNotFinite { parameter: 1, value } if value.is_nan()
    ));
    for wrong in [
        Options {
            patience: 0,
            ..options
        },
        Options {
            patience: usize::MAX,
            ..options
        },
        Options {
            ftol: -1.0,
            ..options
        },
        Options {
            xtol: f64::NAN,
            ..options
        },
        Options {
            gtol: 1.0,
            ..options
        },
        Options {
            rank_tolerance: f64::INFINITY,
            ..options
        },
        Options {
            least_step: -1.0,
            ..options
        },
    ] {
        assert!(
            matches!(
                reason(&line, &[1.0, 1.0], &wrong),
                FailureReason::Option { .. }
            ),
            "{wrong:?}"
        );
    }
}

#[test]
fn a_start_that_cannot_be_computed_is_told() {
    for (bad, at) in [(f64::NAN, 2), (f64::NEG_INFINITY, 4), (1e200, 3)] {
        let problem = given(
            5,
            2,
            move |_, out| {
                out.fill(1.0);
                out[at] = bad;
            },
            |_, out| out.fill(1.0),
        );
        match reason(&problem, &[0.0, 0.0], &Options::default()) {
            FailureReason::ResidualNotFinite { residual, value } => {
                assert_eq!((residual, value.to_bits()), (at, bad.to_bits()));
            }
            other => panic!("{other}"),
        }
    }
}

#[test]
fn a_derivative_that_cannot_be_computed_is_told() {
    let mut problem = line(1.0, 1.0);
    problem.jacobian = Box::new(|_, out| {
        out.fill(1.0);
        out[5 + 3] = f64::INFINITY;
    });
    let found = reason(&problem, &[0.0, 0.0], &Options::default());
    assert_eq!(
        found,
        FailureReason::JacobianNotFinite {
            residual: 3,
            parameter: 1
        }
    );
}

#[test]
fn forbidden_ground_is_stepped_back_from() {
    // ln p = ±0.1 from p = 10: the first full step, −10·ln 10, leads to where the logarithm does not exist.
    assert!((10.0 - 10.0 * 10.0_f64.ln()).ln().is_nan());
    for forbidden in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY, 1e200] {
        let problem = given(
            2,
            1,
            move |p, out| {
                let ln = if p[0] > 0.0 { p[0].ln() } else { forbidden };
                out[0] = ln - 0.1;
                out[1] = ln + 0.1;
            },
            |p, out| out.fill(1.0 / p[0]),
        );
        let solution = solve(&problem, &[10.0]);
        assert_near(solution.parameters[0], 1.0, ROUNDING, "p");
        assert_near(solution.covariance.get(0, 0), 0.5, ROUNDING, "variance");
    }
}

#[test]
fn a_jacobian_of_the_wrong_sign_is_no_minimum() {
    let mut problem = line(1.0, 1.0);
    problem.jacobian = Box::new(|_, out| {
        for i in 0..5 {
            out[i] = -1.0;
            out[5 + i] = -X[i];
        }
    });
    let found = reason(&problem, &[0.0, 0.0], &Options::default());
    assert!(
        matches!(found, FailureReason::Stuck { promised_fraction } if promised_fraction > 0.9),
        "{found}"
    );
}

fn rosenbrock() -> Given {
    given(
        2,
        2,
        |p, out| {
            out[0] = 10.0 * (p[1] - p[0] * p[0]);
            out[1] = 1.0 - p[0];
        },
        |p, out| out.copy_from_slice(&[-20.0 * p[0], -1.0, 10.0, 0.0]),
    )
}

#[test]
fn patience_ends() {
    let hasty = Options {
        patience: 1,
        ..Options::default()
    };
    let found = reason(&rosenbrock(), &[-1.2, 1.0], &hasty);
    assert_eq!(found, FailureReason::OutOfPatience { evaluations: 3 });
}

#[test]
fn an_exact_fit_has_no_residual_variance() {
    // Rosenbrock's valley, n = p: the minimum is zero at (1, 1).
    let solution = solve(&rosenbrock(), &[-1.2, 1.0]);
    assert_near(solution.parameters[0], 1.0, ROUNDING, "p0");
    assert_near(solution.parameters[1], 1.0, ROUNDING, "p1");
    assert_eq!(solution.residual_variance(), None);
    assert_eq!(solution.covariance_scaled_by_residuals(), None);
}

/// Heights and centres of six overlapping bells, 4000 residuals, no noise: as large as a joint fit gets.
fn large() -> (Given, Vec<f64>) {
    let n = 4000;
    let truth: Vec<f64> = (0..6)
        .flat_map(|k| [1.0 + 0.3 * k as f64, 5.0 + 6.0 * k as f64])
        .collect();
    let bell = |x: f64, centre: f64| (-(x - centre).powi(2) / 18.0).exp();
    let model =
        move |p: &[f64], x: f64| -> f64 { (0..6).map(|k| p[2 * k] * bell(x, p[2 * k + 1])).sum() };
    // Divided here and multiplied below, so that the residuals at the truth are rounding errors instead of zeros.
    let data: Vec<f64> = (0..n).map(|i| model(&truth, i as f64 / 100.0)).collect();
    let problem = given(
        n,
        12,
        move |p, out| {
            for (i, r) in out.iter_mut().enumerate() {
                *r = model(p, i as f64 * 0.01) - data[i];
            }
        },
        move |p, out| {
            for k in 0..6 {
                for i in 0..n {
                    let x = i as f64 * 0.01;
                    out[2 * k * n + i] = bell(x, p[2 * k + 1]);
                    out[(2 * k + 1) * n + i] =
                        p[2 * k] * bell(x, p[2 * k + 1]) * (x - p[2 * k + 1]) / 9.0;
                }
            }
        },
    );
    (problem, truth)
}

#[test]
fn a_large_fit_without_noise_ends_at_rounding() {
    let (problem, truth) = large();
    let start: Vec<f64> = truth
        .iter()
        .enumerate()
        .map(|(i, t)| t + 0.5 * (i as f64).cos())
        .collect();
    let before = std::time::Instant::now();
    let solution = solve(&problem, &start);
    println!(
        "4000 residuals, 12 parameters: {:?}, {} evaluations, condition {:.1e}, rss {:.1e}",
        before.elapsed(),
        solution.evaluations,
        solution.condition(),
        solution.rss
    );
    assert_eq!(solution.rank, 12);
    // Rounding: 1e-16 times the condition.
    let fewest = ROUNDING * solution.condition();
    for (found, truth) in solution.parameters.iter().zip(&truth) {
        assert_near(*found, *truth, fewest, "parameter");
    }
}

#[test]
fn a_direction_that_does_nothing_stands_out_in_large_data() {
    // The six bells with one more parameter: their common height, which each of the six heights can undo.
    let (bells, truth) = large();
    let bells = std::rc::Rc::new(bells);
    let split = |p: &[f64]| -> Vec<f64> {
        (0..12)
            .map(|k| if k % 2 == 0 { p[k] * p[12] } else { p[k] })
            .collect()
    };
    let (for_residuals, for_jacobian) = (bells.clone(), bells);
    let problem = given(
        4000,
        13,
        move |p, out| for_residuals.residuals(&split(p), out),
        move |p, out| {
            for_jacobian.jacobian(&split(p), &mut out[..12 * 4000]);
            let (columns, common) = out.split_at_mut(12 * 4000);
            common.fill(0.0);
            for k in (0..12).step_by(2) {
                for (i, sum) in common.iter_mut().enumerate() {
                    *sum += columns[k * 4000 + i] * p[k];
                    columns[k * 4000 + i] *= p[12];
                }
            }
        },
    );
    let mut start = truth;
    start.push(1.3);
    let solution = solve(&problem, &start);
    let ratio = solution.singular_values[12] / solution.singular_values[0];
    println!("smallest over largest singular value: {ratio:.1e}");
    // Rounding, as stated beside `Options::rank_tolerance`.
    assert!(ratio < 1e-13, "{ratio:e}");
    assert_eq!(solution.undetermined, [0, 2, 4, 6, 8, 10, 12]);
    assert!(
        solution.standard_uncertainty(1).is_some(),
        "the places of the bells are determined"
    );
}
