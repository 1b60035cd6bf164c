//! Boxes at random, and by hand.

use std::collections::HashMap;
use std::f64::consts::PI;

use rand_pcg::Pcg64;
use rand_pcg::rand_core::{Rng, SeedableRng};

use super::*;
use crate::quantity::{Spread, Stated};

/// Rounding: volumes are exact for the facetted solid.
const EXACT: f64 = 1e-9;

fn usual() -> Wanted {
    Wanted {
        volume_m3: 1.5e-3,
        cutout_m: 0.092,
        flange_m: 0.118,
        screws: Some(Screws {
            circle_m: 0.105,
            n: 4,
        }),
        wall_m: 3e-3,
        hollow_m3: Stated::unstated(12e-6),
        gasket_m: Stated::unstated(2e-3),
        bed_m: [0.22, 0.22, 0.25],
    }
}

fn uniform(random: &mut Pcg64, low: f64, high: f64) -> f64 {
    low + (high - low) * (random.next_u64() >> 11) as f64 / (1u64 << 53) as f64
}

/// Boxes that can be made, of all kinds: with and without screws, that widen and that do not.
fn at_random(n: usize) -> Vec<TestBox> {
    let mut random = Pcg64::seed_from_u64(20_261);
    let mut boxes = vec![];
    while boxes.len() < n {
        let cutout_m = uniform(&mut random, 0.03, 0.18);
        let flange_m = cutout_m + uniform(&mut random, 0.008, 0.04);
        let n_screws = 2 + (random.next_u64() % 11) as usize;
        let screws = Screws {
            circle_m: uniform(&mut random, cutout_m, flange_m),
            n: n_screws,
        };
        let wanted = Wanted {
            volume_m3: uniform(&mut random, 0.05e-3, 4e-3),
            cutout_m,
            flange_m,
            screws: random.next_u64().is_multiple_of(2).then_some(screws),
            wall_m: uniform(&mut random, 2e-3, 8e-3),
            hollow_m3: Stated::unstated(uniform(&mut random, -5e-6, 40e-6)),
            gasket_m: Stated::unstated(uniform(&mut random, 0.0, 4e-3)),
            bed_m: [0.22, 0.25, 0.24],
        };
        boxes.extend(TestBox::design(&wanted));
    }
    let count = |holds: fn(&TestBox) -> bool| boxes.iter().filter(|&b| holds(b)).count();
    let kinds = [
        count(|b| b.wanted.screws.is_some()),
        count(|b| b.wanted.screws.is_none()),
        count(|b| b.mouth_length_m > 0.0),
        count(|b| b.mouth_length_m == 0.0),
    ];
    assert!(kinds.iter().all(|&n| n >= 5), "{kinds:?}");
    boxes
}

/// The divergence theorem with the field (0, 0, z): height times area in plan, triangle by triangle.
fn enclosed(triangles: impl Iterator<Item = [[f64; 3]; 3]>) -> f64 {
    let part = |[a, b, c]: [[f64; 3]; 3]| {
        let plan = (b[0] - a[0]) * (c[1] - a[1]) - (c[0] - a[0]) * (b[1] - a[1]);
        plan / 2.0 * (a[2] + b[2] + c[2]) / 3.0
    };
    triangles.map(part).sum()
}

fn triangles(solid: &Solid) -> impl Iterator<Item = [[f64; 3]; 3]> {
    solid
        .triangles
        .iter()
        .map(|triangle| triangle.map(|i| solid.corners_m[i]))
}

/// What water fills: the prism that the outer wall stands in, less the plastic, less the pilot holes (24 facets, 2.5 mm wide, 8 mm deep).
fn water_m3(made: &TestBox, solid: &Solid) -> f64 {
    let polygon = |n: f64, corner_m: f64| n / 2.0 * corner_m * corner_m * (2.0 * PI / n).sin();
    let outer_m = solid
        .corners_m
        .iter()
        .map(|p| p[0].hypot(p[1]))
        .fold(0.0, f64::max);
    let top_m = solid.corners_m.iter().map(|p| p[2]).fold(0.0, f64::max);
    let prism = polygon(made.n_facets as f64, outer_m) * top_m;
    let n_screws = made.wanted.screws.map_or(0, |screws| screws.n) as f64;
    let pilots = n_screws * polygon(24.0, 1.25e-3) * 8e-3;
    prism - enclosed(triangles(solid)) - pilots
}

#[test]
fn fifty_boxes_enclose_what_was_asked_for() {
    let mut worst: f64 = 0.0;
    for made in at_random(50) {
        let solid = made.solid();
        let wanted = made.wanted;
        let gasket = PI * (wanted.cutout_m / 2.0).powi(2) * wanted.gasket_m.value;
        let air = water_m3(&made, &solid) + gasket + wanted.hollow_m3.value;
        let off = air / wanted.volume_m3 - 1.0;
        worst = worst.max(off.abs());
        assert!(off.abs() < EXACT, "{off:e}: {made:?}");
    }
    println!("worst of 50: {worst:.1e}");
}

#[test]
fn solids_are_closed_and_their_outside_is_outside() {
    for made in at_random(50) {
        let solid = made.solid();
        let mut edges: HashMap<(usize, usize), usize> = HashMap::new();
        for t in &solid.triangles {
            for (from, to) in [(t[0], t[1]), (t[1], t[2]), (t[2], t[0])] {
                *edges.entry((from, to)).or_default() += 1;
            }
        }
        for (&(from, to), &n) in &edges {
            assert_eq!(n, 1, "{made:?}");
            assert_eq!(edges.get(&(to, from)), Some(&1), "{made:?}");
        }
        let volume = enclosed(triangles(&solid));
        assert!(volume > 0.0);
        assert!((solid.volume_m3() / volume - 1.0).abs() < EXACT);
        // Nothing of the rim folds over: what lies at the top faces up, and together covers the ring less the holes.
        let top = made.height_m();
        let plan = |[a, b, c]: [[f64; 3]; 3]| {
            ((b[0] - a[0]) * (c[1] - a[1]) - (c[0] - a[0]) * (b[1] - a[1])) / 2.0
        };
        let rim = triangles(&solid).filter(|t| t.iter().all(|p| p[2] == top));
        assert!(rim.map(plan).all(|area| area > 0.0), "{made:?}");
        // No slivers: single precision in millimetres keeps about 1e-5 mm.
        const LEAST_HEIGHT_M: f64 = 1e-5;
        for [a, b, c] in triangles(&solid) {
            let to = |p: [f64; 3], q: [f64; 3]| [q[0] - p[0], q[1] - p[1], q[2] - p[2]];
            let length = |v: [f64; 3]| v.iter().map(|x| x * x).sum::<f64>().sqrt();
            let (u, v) = (to(a, b), to(a, c));
            let cross = [
                u[1] * v[2] - u[2] * v[1],
                u[2] * v[0] - u[0] * v[2],
                u[0] * v[1] - u[1] * v[0],
            ];
            let longest = length(u).max(length(v)).max(length(to(b, c)));
            assert!(length(cross) / longest > LEAST_HEIGHT_M, "{made:?}");
        }
    }
}

/// Walls are nowhere thinner than asked for: from every corner of an inner surface to the outer wall and the floor; pilot holes keep
/// their distance from the air.
#[test]
fn walls_are_as_thick_as_asked_for() {
    for made in at_random(50) {
        let wall = made.wanted.wall_m * (1.0 - 1e-3);
        let n = made.n_facets as f64;
        let corner = made.body_radius_m * (2.0 * PI / n / (2.0 * PI / n).sin()).sqrt();
        let between_corners = made.across_m() / 2.0 - corner;
        assert!(between_corners >= wall && made.floor_m >= wall, "{made:?}");
        assert!(made.outer_radius_m >= made.wanted.flange_m / 2.0);
        assert!(made.across_m() <= 0.22 && made.height_m() <= 0.24);
        let Some(screws) = made.wanted.screws.filter(|_| made.mouth_length_m > 0.0) else {
            continue;
        };
        // The lowest inner point of a pilot hole (2.5 mm wide, 8 mm deep) against the cone at 45 degrees below the mouth.
        let x = screws.circle_m / 2.0 - 1.25e-3 - made.mouth_radius_m;
        let to_cone = (made.mouth_length_m + x - 8e-3) / 2.0_f64.sqrt();
        assert!(to_cone >= wall && x > 1e-3, "{made:?}");
    }
}

#[test]
fn the_usual_box_is_about_as_deep_as_wide() {
    let made = TestBox::design(&usual()).unwrap();
    let ratio = made.depth_m() / (2.0 * made.body_radius_m);
    assert!((ratio - 1.0).abs() < 0.01, "{made:?}");
    assert!(made.mouth_length_m > 0.0);
    // A shallow box keeps its mouth's diameter; a low printer makes a wider one; a narrow printer a taller one.
    let shallow = Wanted {
        volume_m3: 0.4e-3,
        ..usual()
    };
    assert_eq!(TestBox::design(&shallow).unwrap().mouth_length_m, 0.0);
    let low = Wanted {
        bed_m: [0.22, 0.22, 0.1],
        ..usual()
    };
    let low = TestBox::design(&low).unwrap();
    assert!(low.height_m() <= 0.1 && low.body_radius_m > made.body_radius_m);
    let narrow = Wanted {
        bed_m: [0.12, 0.22, 0.25],
        ..usual()
    };
    let narrow = TestBox::design(&narrow).unwrap();
    assert!(narrow.across_m() <= 0.12 && narrow.depth_m() > made.depth_m());
}

#[test]
fn doubt_grows_with_what_is_in_doubt() {
    let half_width = |wanted: &Wanted| match TestBox::design(wanted).unwrap().volume_m3.spread {
        Spread::HalfWidth(half_width) => half_width,
        other => panic!("{other:?}"),
    };
    let usual_m3 = half_width(&usual());
    assert!((0.003..0.02).contains(&(usual_m3 / 1.5e-3)), "{usual_m3:e}");
    let with = |hollow_m3, gasket_m| {
        half_width(&Wanted {
            hollow_m3,
            gasket_m,
            ..usual()
        })
    };
    let hollow = Stated::within(12e-6, 10e-6);
    let gasket = Stated::within(2e-3, 1.5e-3);
    let quadrature = |parts: &[f64]| parts.iter().map(|p| p * p).sum::<f64>().sqrt();
    let sure = with(Stated::within(12e-6, 1e-12), Stated::unstated(0.0));
    let mouth_m2 = PI * 0.046_f64.powi(2);
    let expected = quadrature(&[sure, 10e-6, 1.5e-3 * mouth_m2]);
    // Method: the gasket moves the cup's size a little, and with it the surface.
    const METHOD: f64 = 0.02;
    let got = with(hollow, gasket);
    assert!(
        (got / expected - 1.0).abs() < METHOD,
        "{got:e} {expected:e}"
    );
    let standard = Stated {
        value: 12e-6,
        spread: Spread::Standard(10e-6 / 3.0_f64.sqrt()),
    };
    assert!((with(standard, gasket) / got - 1.0).abs() < EXACT);
}

#[test]
fn what_cannot_be_made_is_refused_with_what_to_change() {
    let says = |wanted: Wanted, kind: fn(&TestBoxError) -> bool, words: &[&str]| {
        let error = TestBox::design(&wanted).unwrap_err();
        assert!(kind(&error), "{error:?}");
        let text = error.to_string();
        assert!(words.iter().all(|word| text.contains(word)), "{text}");
    };
    use TestBoxError as E;
    says(
        Wanted {
            wall_m: 1.9e-3,
            ..usual()
        },
        |e| matches!(e, E::ThinWall { .. }),
        &["1.9 mm", "2 mm or more"],
    );
    for flange_m in [0.092, 0.08, 0.0955] {
        says(
            Wanted {
                flange_m,
                ..usual()
            },
            |e| matches!(e, E::NoRim { .. }),
            &["92 mm", "measure both again"],
        );
    }
    // 15 mm of depth, 2 mm of gasket and 12 ml: 0.125 L.
    says(
        Wanted {
            volume_m3: 0.1e-3,
            ..usual()
        },
        |e| matches!(e, E::TooSmall { .. }),
        &["ask for 0.125 L or more"],
    );
    says(
        Wanted {
            bed_m: [0.11, 0.3, 0.3],
            ..usual()
        },
        |e| matches!(e, E::TooWide { .. }),
        &["--bed", "110 mm"],
    );
    says(
        Wanted {
            volume_m3: 20e-3,
            ..usual()
        },
        |e| matches!(e, E::TooLarge { .. }),
        &["20.000 L", "250 mm", "--bed"],
    );
    for circle_m in [0.093, 0.117, 0.3] {
        says(
            Wanted {
                screws: Some(Screws { circle_m, n: 4 }),
                ..usual()
            },
            |e| matches!(e, E::ScrewCircle { .. }),
            &["97.5 mm", "115.5 mm"],
        );
    }
    for n in [0, 1, 13] {
        says(
            Wanted {
                screws: Some(Screws { circle_m: 0.105, n }),
                ..usual()
            },
            |e| matches!(e, E::ScrewCount { .. }),
            &["2 to 12"],
        );
    }
    says(
        Wanted {
            cutout_m: 0.01,
            flange_m: 0.022,
            screws: Some(Screws {
                circle_m: 0.0165,
                n: 12,
            }),
            hollow_m3: Stated::unstated(1e-6),
            ..usual()
        },
        |e| matches!(e, E::CrowdedScrews { .. }),
        &["clamp"],
    );
    for value in [f64::NAN, 0.0, -1.0, f64::INFINITY] {
        let wrong = [
            Wanted {
                volume_m3: value,
                ..usual()
            },
            Wanted {
                cutout_m: value,
                ..usual()
            },
            Wanted {
                bed_m: [0.2, value, 0.2],
                ..usual()
            },
            Wanted {
                screws: Some(Screws {
                    circle_m: value,
                    n: 4,
                }),
                ..usual()
            },
        ];
        for wanted in wrong {
            says(wanted, |e| matches!(e, E::Impossible { .. }), &["measure"]);
        }
    }
    let gasket_m = Stated::unstated(-1e-3);
    says(
        Wanted {
            gasket_m,
            ..usual()
        },
        |e| matches!(e, E::Impossible { .. }),
        &["gasket"],
    );
}

#[test]
fn a_cone_is_worked_out_as_a_frustum() {
    // From the table of solids: h/3·(A + √(A·a) + a).
    let (big, small): (f64, f64) = (PI * 0.035 * 0.035, PI * 0.0125 * 0.0125);
    let expected = 0.018 / 3.0 * (big + (big * small).sqrt() + small);
    let hollow = hollow_of_cone(0.07, 0.025, 0.018).unwrap();
    assert!((hollow.value / expected - 1.0).abs() < EXACT);
    assert!(hollow_of_cone(0.02, 0.025, 0.018).is_err());
    assert!(hollow_of_cone(0.07, 0.025, f64::NAN).is_err());
}
