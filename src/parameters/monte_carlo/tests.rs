use super::*;
use crate::quantity::Stated;

/// Statistical: five standard errors. The seeds are fixed, so this is met or not once and for all.
const K: f64 = 5.0;
/// Rounding of the matrix factor: n·ε on the variance, its root on the deviation.
const ROUNDING: f64 = 1e-7;

fn symmetric(n: usize, cells: &[f64]) -> SymmetricMatrix {
    SymmetricMatrix::from_rows(n, cells.to_vec()).unwrap()
}

/// The inputs themselves as outputs.
fn unchanged(inputs: &Inputs, draws: usize, seed: u64) -> Propagation {
    propagate(
        inputs,
        inputs.n_inputs(),
        Draws::Fixed(draws),
        seed,
        |x, y| y.copy_from_slice(x),
    )
    .unwrap()
}

fn statistics(propagation: &Propagation, output: usize) -> Statistics {
    *propagation.outputs[output].complete().unwrap()
}

#[test]
fn each_distribution_has_its_moments() {
    let mut inputs = Inputs::new();
    inputs.normal(10.0, 2.0).unwrap();
    inputs.rectangular(-1.0, 3.0_f64.sqrt()).unwrap();
    inputs
        .joint_normal(&[5.0, 6e-4], &symmetric(2, &[4.0, 0.0, 0.9e-3, 2.5e-7]))
        .unwrap();
    inputs.stated(&Stated::within(0.0, 3.0)).unwrap();
    let n = 100_000;
    let propagation = unchanged(&inputs, n, 1);
    let root_n = (n as f64).sqrt();
    let means = [10.0, -1.0, 5.0, 6e-4, 0.0];
    let deviations = [2.0, 1.0, 2.0, 5e-4, 3.0_f64.sqrt()];
    for i in 0..5 {
        let found = statistics(&propagation, i);
        assert!(
            (found.mean - means[i]).abs() < K * deviations[i] / root_n,
            "mean {i}: {found:?}"
        );
        let relative = found.standard_uncertainty / deviations[i] - 1.0;
        assert!(
            relative.abs() < K / (2.0_f64.sqrt() * root_n),
            "uncertainty {i}: {found:?}"
        );
    }
    for i in 0..5 {
        for j in 0..i {
            let r = if (i, j) == (3, 2) { 0.9 } else { 0.0 };
            let found = propagation.correlation.get(i, j);
            assert!(
                (found - r).abs() < K * (1.0 - r * r) / root_n,
                "correlation {i}, {j}: {found}"
            );
        }
    }
    // A rectangular input never leaves its bounds, and its 95 % interval is 0.95 of them.
    let rectangular = statistics(&propagation, 1).interval_95;
    let quantile_error = K * (0.025_f64 * 0.975).sqrt() / root_n * 2.0 * 3.0_f64.sqrt();
    for (end, sign) in rectangular.into_iter().zip([-1.0, 1.0]) {
        assert!(
            (end - (-1.0 + sign * 0.95 * 3.0_f64.sqrt())).abs() < quantile_error,
            "{rectangular:?}"
        );
    }
}

#[test]
fn the_seed_decides() {
    let mut inputs = Inputs::new();
    inputs.normal(0.0, 1.0).unwrap();
    assert_eq!(unchanged(&inputs, 100, 7), unchanged(&inputs, 100, 7));
    assert_ne!(unchanged(&inputs, 100, 7), unchanged(&inputs, 100, 8));
}

#[test]
fn full_correlation_is_kept() {
    // c = a − b, all three given with their (singular) covariance, in units far apart; d is a constant.
    let covariance = symmetric(
        4,
        &[
            1e-6, 0.0, 0.0, 0.0, // a
            0.5e-6, 1e-6, 0.0, 0.0, // b
            0.5e0, -0.5e0, 1e6, 0.0, // c = 1e6·(a − b)
            0.0, 0.0, 0.0, 0.0, // d
        ],
    );
    let mut inputs = Inputs::new();
    inputs
        .joint_normal(&[0.0, 0.0, 0.0, 4.0], &covariance)
        .unwrap();
    let propagation = propagate(&inputs, 2, Draws::default(), 3, |x, y| {
        y[0] = x[2] - 1e6 * (x[0] - x[1]);
        y[1] = x[3];
    })
    .unwrap();
    assert!(statistics(&propagation, 0).standard_uncertainty < ROUNDING * 1e3);
    assert_eq!(
        statistics(&propagation, 1),
        Statistics {
            mean: 4.0,
            standard_uncertainty: 0.0,
            interval_95: [4.0, 4.0]
        }
    );
}

#[test]
fn a_small_difference_of_strongly_correlated_inputs_survives() {
    // 1 − r = 5e-9: the difference has 1e-4 of the inputs' uncertainty, and must not be taken for zero.
    let variance_of_difference = 1e-8;
    let covariance = symmetric(2, &[1.0, 0.0, 1.0 - variance_of_difference / 2.0, 1.0]);
    let mut inputs = Inputs::new();
    inputs.joint_normal(&[0.0, 0.0], &covariance).unwrap();
    let propagation =
        propagate(&inputs, 1, Draws::default(), 3, |x, y| y[0] = x[0] - x[1]).unwrap();
    let relative = statistics(&propagation, 0).standard_uncertainty / 1e-4 - 1.0;
    assert!(
        relative.abs() < K / (2.0 * DEFAULT_DRAWS as f64).sqrt(),
        "{relative}"
    );
}

#[test]
fn contradictory_covariances_are_refused() {
    // Three inputs cannot all be opposed to each other.
    let opposed = symmetric(3, &[1.0, 0.0, 0.0, -0.9, 1.0, 0.0, -0.9, -0.9, 1.0]);
    let beyond_one = symmetric(2, &[1.0, 0.0, 1.1, 1.0]);
    let from_nothing = symmetric(2, &[0.0, 0.0, 1.0, 1.0]);
    for covariance in [opposed, beyond_one, from_nothing] {
        let means = vec![0.0; covariance.n()];
        let found = Inputs::new().joint_normal(&means, &covariance);
        assert!(
            matches!(found, Err(MonteCarloError::NotPositiveSemidefinite { .. })),
            "{covariance:?}"
        );
    }
}

#[test]
fn misuse_is_told() {
    let mut inputs = Inputs::new();
    inputs.normal(1.0, 0.1).unwrap();
    assert!(matches!(
        inputs.normal(f64::NAN, 1.0),
        Err(MonteCarloError::NotUsable {
            input: 1,
            what: "mean",
            ..
        })
    ));
    assert!(matches!(
        inputs.normal(1.0, -1.0),
        Err(MonteCarloError::NotUsable { input: 1, .. })
    ));
    assert!(matches!(
        inputs.rectangular(1.0, f64::INFINITY),
        Err(MonteCarloError::NotUsable { .. })
    ));
    assert_eq!(
        inputs.stated(&Stated::unstated(1.0)),
        Err(MonteCarloError::SpreadUnstated { input: 1 })
    );
    let two = SymmetricMatrix::zero(2);
    assert_eq!(
        inputs.joint_normal(&[1.0], &two),
        Err(MonteCarloError::LengthsDiffer { means: 1, rows: 2 })
    );
    let negative = symmetric(1, &[-1.0]);
    assert!(matches!(
        inputs.joint_normal(&[1.0], &negative),
        Err(MonteCarloError::NotUsable { .. })
    ));
    assert_eq!(inputs.n_inputs(), 1, "what was refused was not added");

    let run = |draws| propagate(&inputs, 1, draws, 0, |x, y| y[0] = x[0]);
    for draws in [0, 99, usize::MAX] {
        assert!(matches!(
            run(Draws::Fixed(draws)),
            Err(MonteCarloError::DrawsOutOfRange { .. })
        ));
    }
    let digits = |significant_digits| {
        run(Draws::Adaptive {
            significant_digits,
            at_most: 100_000,
        })
    };
    assert_eq!(
        digits(0),
        Err(MonteCarloError::DigitsOutOfRange { digits: 0 })
    );
    assert_eq!(
        digits(5),
        Err(MonteCarloError::DigitsOutOfRange { digits: 5 })
    );
}

#[test]
fn draws_that_break_the_model_are_counted_and_do_not_spoil_the_rest() {
    let mut inputs = Inputs::new();
    inputs.normal(1.0, 1.0).unwrap();
    let propagation = propagate(&inputs, 3, Draws::default(), 5, |x, y| {
        y[0] = x[0];
        y[1] = x[0].ln();
        // y[2] is never written.
    })
    .unwrap();
    let [whole, partial, absent] = propagation.outputs.as_slice() else {
        panic!("three outputs")
    };
    assert_eq!(
        (whole.not_finite_draws, whole.complete().is_some()),
        (0, true)
    );
    // P(x < 0) = Φ(−1) = 0.158655.
    let share = partial.not_finite_draws as f64 / propagation.draws as f64;
    assert!(
        (share - 0.158655).abs() < K * (0.158655_f64 * 0.841345 / propagation.draws as f64).sqrt(),
        "{share}"
    );
    assert_eq!(
        (partial.complete(), partial.statistics.is_some()),
        (None, true)
    );
    assert_eq!(
        (absent.statistics, absent.not_finite_draws),
        (None, propagation.draws)
    );
    assert!(
        propagation.correlation.get(1, 0) > 0.5,
        "over the draws in which both are finite"
    );
    assert_eq!(propagation.correlation.get(2, 0), 0.0);
}

#[test]
fn the_adaptive_procedure_stops_when_the_digits_stand() {
    let mut inputs = Inputs::new();
    inputs.normal(100.0, 2.0).unwrap();
    let run = |significant_digits, at_most| {
        propagate(
            &inputs,
            1,
            Draws::Adaptive {
                significant_digits,
                at_most,
            },
            11,
            |x, y| y[0] = x[0],
        )
        .unwrap()
    };
    let (one, two) = (run(1, 1_000_000), run(2, 1_000_000));
    assert_eq!((one.settled, two.settled), (Some(true), Some(true)));
    assert!(one.draws < two.draws, "{} and {}", one.draws, two.draws);
    // u = 2.0: two digits are 20·10⁻¹, δ = 0.05, and twice the standard error of every figure is within it.
    let found = statistics(&two, 0);
    for (figure, truth) in [
        (found.mean, 100.0),
        (found.standard_uncertainty, 2.0),
        (found.interval_95[0], 100.0 - 1.959964 * 2.0),
        (found.interval_95[1], 100.0 + 1.959964 * 2.0),
    ] {
        assert!(
            (figure - truth).abs() < K / 2.0 * 0.05,
            "{figure} instead of {truth}"
        );
    }
    let cut_short = run(4, 30_000);
    assert_eq!((cut_short.settled, cut_short.draws), (Some(false), 30_000));
}

#[test]
fn a_usual_size_is_quick() {
    let n = 20;
    let mut covariance = SymmetricMatrix::zero(n);
    for i in 0..n {
        for j in 0..=i {
            covariance.set(i, j, 0.5_f64.powi((i - j) as i32));
        }
    }
    let mut inputs = Inputs::new();
    inputs.joint_normal(&[1.0; 20], &covariance).unwrap();
    let before = std::time::Instant::now();
    let propagation = propagate(&inputs, 18, Draws::default(), 1, |x, y| {
        y.copy_from_slice(&x[..18])
    })
    .unwrap();
    println!("10000 draws, 20 inputs, 18 outputs: {:?}", before.elapsed());
    // Neighbours were given r = 0.5.
    assert!(
        (propagation.correlation.get(1, 0) - 0.5).abs() < K * 0.75 / (DEFAULT_DRAWS as f64).sqrt()
    );
}
