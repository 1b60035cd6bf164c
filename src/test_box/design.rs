//! From a volume and a driver to the measures of a box, (B2) to (B6) and (B8).

use std::f64::consts::PI;

use crate::quantity::{Spread, Stated};

use super::error::TestBoxError;
use super::hollow::hollow_half_width;

/// Thinnest wall, m. Below two millimetres prints leak between their lines and give (common practice, no source).
const LEAST_WALL_M: f64 = 2e-3;
/// How much wider than the cut-out a flange has to be, m: 2 mm of rim on either side are needed for a gasket (common practice, no source).
const LEAST_RIM_M: f64 = 4e-3;
/// Least depth of air before the flange, m: a surround stands out and the cone moves (common practice, no source).
const LEAST_DEPTH_M: f64 = 15e-3;
/// Least length of a cylinder below a cone, m, so that no facet is a sliver.
const LEAST_CYLINDER_M: f64 = 1e-3;
/// A body that is wider than the mouth by less than this is not worth a cone, m.
const LEAST_WIDENING_M: f64 = 1e-3;
/// Body radii are rounded to this, m, to be easily measured; the depth then makes the volume exact.
const RADIUS_STEP_M: f64 = 1e-4;
/// Facets of a full circle: chords of two degrees stay within 0.02 mm of a circle of 220 mm, less than a printer's line.
const N_FACETS: usize = 180;

/// Radius of a pilot hole, m: a 2.5 mm hole holds self-tapping screws of 3 to 3.5 mm (common practice, no source).
pub(super) const PILOT_RADIUS_M: f64 = 1.25e-3;
/// Depth of a pilot hole, m: about three screw diameters of thread (common practice, no source).
pub(super) const PILOT_DEPTH_M: f64 = 8e-3;
/// Least plastic between a pilot hole and the rim's edges, m: one or two lines beside a screw that spreads them (common practice, no source).
const LEAST_BESIDE_PILOT_M: f64 = 1.5e-3;
/// Most and fewest screws: flanges have 3 to 12 (common practice, no source).
const SCREWS: (usize, usize) = (2, 12);

/// Half-width of where the inner surface stands, m: 0.2 mm on a printed diameter, and a coat of varnish (common practice, no source).
const SURFACE_HALF_WIDTH_M: f64 = 0.15e-3;
/// Half-width of a gasket's thickness without one of its own, relative: foam is pressed together (common practice, no source).
const GASKET_HALF_WIDTH: f64 = 0.25;
/// Elastic modulus of printed plastic, Pa, at the low end of PLA, PETG and ABS between their layers (common practice, no source).
const MODULUS_PA: f64 = 1.5e9;
/// Poisson's ratio of these plastics (common practice, no source).
const POISSON: f64 = 0.36;
/// Stiffness of air at sea level, γ·p, Pa: the highest that a wall has to withstand.
const AIR_STIFFNESS_PA: f64 = 1.4 * 101_325.0;
/// How much the floor may give, relative to the air: a fifth of a per cent is below the doubt of the print itself.
const MOST_FLOOR_YIELD: f64 = 2e-3;
/// Floors are rounded up to this, m: a usual layer is a fraction of it.
const FLOOR_STEP_M: f64 = 0.5e-3;

/// Screws that hold the flange.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Screws {
    /// Diameter of the circle through the middles of the holes, m.
    pub circle_m: f64,
    /// How many.
    pub n: usize,
}

/// What is asked for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Wanted {
    /// The air that the cone is to close off, m³.
    pub volume_m3: f64,
    /// Diameter of the mouth, m: the hole that the driver needs in a panel.
    pub cutout_m: f64,
    /// Outer diameter of the driver's flange, m.
    pub flange_m: f64,
    /// Screws into blind pilot holes; `None` for a driver that is clamped.
    pub screws: Option<Screws>,
    /// Thickness of the wall where it is thinnest, m.
    pub wall_m: f64,
    /// The air between the cone and the plane of the flange's front, m³; below zero for what stands out before that plane.
    pub hollow_m3: Stated,
    /// Thickness of the gasket as pressed, m; zero for none.
    pub gasket_m: Stated,
    /// What the printer prints: width, depth, height, m.
    pub bed_m: [f64; 3],
}

/// A box's measures. All is inside unless said otherwise.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TestBox {
    /// What was asked for.
    pub wanted: Wanted,
    /// The enclosed air, m³, with its half-width, (B8).
    pub volume_m3: Stated,
    /// Air of the cup alone, up to its rim, m³: what water would fill.
    pub cup_m3: f64,
    /// Air inside the gasket, m³.
    pub gasket_m3: f64,
    /// Radius of the mouth, m.
    pub mouth_radius_m: f64,
    /// Length of the mouth before it widens, m; zero where it does not widen.
    pub mouth_length_m: f64,
    /// Radius of the body, m; the mouth's where it does not widen.
    pub body_radius_m: f64,
    /// Length of the body's cylinder, m.
    pub body_length_m: f64,
    /// Thickness of the floor, m, (B5).
    pub floor_m: f64,
    /// Outer radius, m: of the circle within the facets.
    pub outer_radius_m: f64,
    /// How much the plastic gives, relative to the air, (B6).
    pub yields: f64,
    /// Facets of a full circle.
    pub n_facets: usize,
}

/// The shape of the air in the cup.
#[derive(Clone, Copy)]
struct Cavity {
    mouth_radius_m: f64,
    mouth_length_m: f64,
    body_radius_m: f64,
    body_length_m: f64,
}

impl Cavity {
    fn depth_m(&self) -> f64 {
        self.mouth_length_m + (self.body_radius_m - self.mouth_radius_m) + self.body_length_m
    }
}

impl TestBox {
    /// The box for a volume and a driver.
    ///
    /// # Errors
    /// [`TestBoxError`]: what cannot be printed, or what would not serve.
    pub fn design(wanted: &Wanted) -> Result<Self, TestBoxError> {
        checked(wanted)?;
        let mouth_radius_m = wanted.cutout_m / 2.0;
        let mouth_m2 = PI * mouth_radius_m * mouth_radius_m;
        let gasket_m3 = mouth_m2 * wanted.gasket_m.value;
        let beside_cup_m3 = gasket_m3 + wanted.hollow_m3.value;
        let cup_m3 = wanted.volume_m3 - beside_cup_m3;
        if cup_m3 < mouth_m2 * LEAST_DEPTH_M {
            return Err(TestBoxError::TooSmall {
                volume_l: 1e3 * wanted.volume_m3,
                cutout_mm: mm(wanted.cutout_m),
                depth_mm: 1e3 * cup_m3 / mouth_m2,
                least_mm: mm(LEAST_DEPTH_M),
                least_l: 1e3 * (mouth_m2 * LEAST_DEPTH_M + beside_cup_m3),
            });
        }
        let n_facets = match wanted.screws {
            Some(screws) => N_FACETS.next_multiple_of(screws.n),
            None => N_FACETS,
        };
        let cavity = fitting(wanted, cup_m3, n_facets)?;
        let Cavity {
            mouth_length_m,
            body_radius_m,
            body_length_m,
            ..
        } = cavity;
        let floor_m = floor_m(wanted, body_radius_m);
        let outer_radius_m = outer_radius_m(wanted, body_radius_m);
        let yields = floor_yield(wanted.volume_m3, body_radius_m, floor_m)
            + wall_yield(body_radius_m, outer_radius_m - body_radius_m);
        let mut design = Self {
            wanted: *wanted,
            volume_m3: Stated::unstated(wanted.volume_m3),
            cup_m3,
            gasket_m3,
            mouth_radius_m,
            mouth_length_m,
            body_radius_m,
            body_length_m,
            floor_m,
            outer_radius_m,
            yields,
            n_facets,
        };
        design.volume_m3.spread = Spread::HalfWidth(design.half_width_m3(mouth_m2));
        design.screws_fit()?;
        Ok(design)
    }

    /// Depth from the rim to the floor, m.
    pub fn depth_m(&self) -> f64 {
        self.mouth_length_m + (self.body_radius_m - self.mouth_radius_m) + self.body_length_m
    }

    /// Outer height, m.
    pub fn height_m(&self) -> f64 {
        self.floor_m + self.depth_m()
    }

    /// Outer diameter over the corners of the facets, m.
    pub fn across_m(&self) -> f64 {
        2.0 * self.outer_radius_m / (PI / self.n_facets as f64).cos()
    }

    /// (B8): the parts of the doubt, as half-widths, in quadrature.
    fn half_width_m3(&self, mouth_m2: f64) -> f64 {
        let Self { wanted, .. } = self;
        let (mouth, body) = (self.mouth_radius_m, self.body_radius_m);
        let surface_m2 = 2.0 * PI * (mouth * self.mouth_length_m + body * self.body_length_m)
            + PI * (body + mouth) * (body - mouth) * 2.0_f64.sqrt()
            + PI * body * body;
        let half_width = |stated: &Stated, assumed: f64| {
            let (stated, _) = stated.or_half_width(assumed);
            stated.standard_uncertainty().unwrap_or(0.0) * 3.0_f64.sqrt()
        };
        let gasket = half_width(&wanted.gasket_m, GASKET_HALF_WIDTH * wanted.gasket_m.value);
        let parts = [
            SURFACE_HALF_WIDTH_M * surface_m2,
            half_width(&wanted.hollow_m3, hollow_half_width(wanted.hollow_m3.value)),
            mouth_m2 * gasket,
            self.yields * wanted.volume_m3,
        ];
        parts.iter().map(|part| part * part).sum::<f64>().sqrt()
    }

    /// Whether pilot holes stay clear of each other and of the rim's edges.
    fn screws_fit(&self) -> Result<(), TestBoxError> {
        let Some(screws) = self.wanted.screws else {
            return Ok(());
        };
        let beside_m = PILOT_RADIUS_M + LEAST_BESIDE_PILOT_M;
        let least_m = 2.0 * (self.mouth_radius_m + beside_m);
        let most_m = 2.0 * (self.wanted.flange_m / 2.0 - PILOT_RADIUS_M);
        let within_rim = screws.circle_m <= 2.0 * (self.outer_radius_m - beside_m);
        if screws.circle_m < least_m || screws.circle_m > most_m || !within_rim {
            let rim_m = 2.0 * (self.outer_radius_m - beside_m);
            return Err(TestBoxError::ScrewCircle {
                circle_mm: mm(screws.circle_m),
                least_mm: 1e3 * least_m,
                most_mm: 1e3 * if most_m < rim_m { most_m } else { rim_m },
            });
        }
        match self.cell_half_width() {
            Some(half) if 2 * half * screws.n <= self.n_facets => Ok(()),
            _ => Err(TestBoxError::CrowdedScrews {
                n: screws.n,
                circle_mm: mm(screws.circle_m),
            }),
        }
    }

    /// How many facets to either side of a screw its piece of the rim reaches: as far as two radii of its hole. `None` without screws, or
    /// where a mouth is so small that it curves away from the hole within that, or the outer edge comes too near.
    pub(super) fn cell_half_width(&self) -> Option<usize> {
        let screws = self.wanted.screws?;
        let facet_rad = 2.0 * PI / self.n_facets as f64;
        let wanted = 2.0 * PILOT_RADIUS_M / self.mouth_radius_m;
        if wanted >= 1.0 {
            return None;
        }
        let half = (wanted.asin() / facet_rad).ceil();
        let turned = (half * facet_rad).cos();
        let radius_m = screws.circle_m / 2.0;
        let sees_mouth = turned * (radius_m - PILOT_RADIUS_M) > self.mouth_radius_m;
        let within = turned * self.outer_radius_m > radius_m + 1.1 * PILOT_RADIUS_M;
        (sees_mouth && within).then_some(half as usize)
    }
}

fn mm(length_m: f64) -> f64 {
    // Tenths of a micrometre, so that a typed length is shown as it was typed.
    (length_m * 1e7).round() / 1e4
}

fn checked(wanted: &Wanted) -> Result<(), TestBoxError> {
    let circle_m = wanted.screws.map_or(1.0, |screws| screws.circle_m);
    for (name, value) in [
        ("the volume", wanted.volume_m3),
        ("the cut-out", wanted.cutout_m),
        ("the flange", wanted.flange_m),
        ("the wall", wanted.wall_m),
        ("the screw circle", circle_m),
        ("the bed's width", wanted.bed_m[0]),
        ("the bed's depth", wanted.bed_m[1]),
        ("the bed's height", wanted.bed_m[2]),
    ] {
        if !value.is_finite() || value <= 0.0 {
            return Err(TestBoxError::Impossible { name, value });
        }
    }
    let hollow_m3 = wanted.hollow_m3.value;
    if !hollow_m3.is_finite() {
        return Err(TestBoxError::Impossible {
            name: "the hollow",
            value: hollow_m3,
        });
    }
    let gasket_m = wanted.gasket_m.value;
    if !gasket_m.is_finite() || gasket_m < 0.0 {
        return Err(TestBoxError::Impossible {
            name: "the gasket",
            value: gasket_m,
        });
    }
    if wanted.wall_m < LEAST_WALL_M {
        return Err(TestBoxError::ThinWall {
            wall_mm: mm(wanted.wall_m),
            least_mm: mm(LEAST_WALL_M),
        });
    }
    if wanted.flange_m < wanted.cutout_m + LEAST_RIM_M {
        return Err(TestBoxError::NoRim {
            cutout_mm: mm(wanted.cutout_m),
            flange_mm: mm(wanted.flange_m),
            margin_mm: mm(LEAST_RIM_M),
        });
    }
    match wanted.screws {
        Some(Screws { n, .. }) if n < SCREWS.0 || n > SCREWS.1 => Err(TestBoxError::ScrewCount {
            n,
            least: SCREWS.0,
            most: SCREWS.1,
        }),
        _ => Ok(()),
    }
}

/// Outer radius that leaves the wall and carries the flange.
fn outer_radius_m(wanted: &Wanted, body_radius_m: f64) -> f64 {
    larger(body_radius_m + wanted.wall_m, wanted.flange_m / 2.0)
}

fn larger(a: f64, b: f64) -> f64 {
    if a > b { a } else { b }
}

/// (B5): thick enough that it gives no more than [`MOST_FLOOR_YIELD`], and no thinner than the wall.
fn floor_m(wanted: &Wanted, body_radius_m: f64) -> f64 {
    let per_cube = floor_yield(wanted.volume_m3, body_radius_m, 1.0);
    let stiff_m = (per_cube / MOST_FLOOR_YIELD).cbrt();
    larger(
        wanted.wall_m,
        (stiff_m / FLOOR_STEP_M).ceil() * FLOOR_STEP_M,
    )
}

/// (B5): what a clamped round plate gives, relative to the air.
fn floor_yield(volume_m3: f64, radius_m: f64, thickness_m: f64) -> f64 {
    let compliance = PI * radius_m.powi(6) * (1.0 - POISSON * POISSON)
        / (16.0 * MODULUS_PA * thickness_m.powi(3));
    compliance * AIR_STIFFNESS_PA / volume_m3
}

/// (B6): what a thin tube gives, relative to the air in it.
fn wall_yield(radius_m: f64, thickness_m: f64) -> f64 {
    2.0 * radius_m * AIR_STIFFNESS_PA / (MODULUS_PA * thickness_m)
}

/// How long the mouth stays narrow: the wall, or what a blind pilot hole needs beneath it, (B4).
fn mouth_length_m(wanted: &Wanted) -> f64 {
    let for_pilots = wanted.screws.map_or(0.0, |screws| {
        let hole_from_mouth_m = (screws.circle_m - wanted.cutout_m) / 2.0 - PILOT_RADIUS_M;
        PILOT_DEPTH_M + 2.0_f64.sqrt() * wanted.wall_m - hole_from_mouth_m
    });
    larger(wanted.wall_m, for_pilots)
}

/// (B2) solved for the cylinder's length; `None` where too little of it is left.
fn cavity(wanted: &Wanted, cup_m3: f64, body_radius_m: f64) -> Option<Cavity> {
    let mouth = wanted.cutout_m / 2.0;
    if body_radius_m < mouth + LEAST_WIDENING_M {
        return Some(Cavity {
            mouth_radius_m: mouth,
            mouth_length_m: 0.0,
            body_radius_m: mouth,
            body_length_m: cup_m3 / (PI * mouth * mouth),
        });
    }
    let body = body_radius_m;
    let mouth_length_m = mouth_length_m(wanted);
    let cone_m3 = PI / 3.0 * (body.powi(3) - mouth.powi(3));
    let rest_m3 = cup_m3 - PI * mouth * mouth * mouth_length_m - cone_m3;
    let body_length_m = rest_m3 / (PI * body * body);
    (body_length_m >= LEAST_CYLINDER_M).then_some(Cavity {
        mouth_radius_m: mouth,
        mouth_length_m,
        body_radius_m: body,
        body_length_m,
    })
}

/// (B3): the cavity that is about as deep as wide, or the nearest to it that the printer takes.
fn fitting(wanted: &Wanted, cup_m3: f64, n_facets: usize) -> Result<Cavity, TestBoxError> {
    /// Halvings of an interval of metres down to far below [`RADIUS_STEP_M`].
    const HALVINGS: usize = 40;
    /// Radii that are tried between the best and the widest.
    const TRIED: usize = 200;
    let mouth = wanted.cutout_m / 2.0;
    let [width_m, depth_m, bed_height_m] = wanted.bed_m;
    let bed_width_m = if width_m < depth_m { width_m } else { depth_m };
    let bed_radius_m = bed_width_m / 2.0 * (PI / n_facets as f64).cos();
    let least_outer_m = outer_radius_m(wanted, mouth);
    if least_outer_m > bed_radius_m {
        return Err(TestBoxError::TooWide {
            across_mm: 1e3 * bed_width_m * least_outer_m / bed_radius_m,
            bed_mm: mm(bed_width_m),
        });
    }
    let widest_m = larger(mouth, bed_radius_m - wanted.wall_m);
    // A wider body is a shallower one, so depth less diameter falls steadily.
    let (mut narrow, mut wide) = (mouth, widest_m);
    for _ in 0..HALVINGS {
        let middle = (narrow + wide) / 2.0;
        match cavity(wanted, cup_m3, middle) {
            Some(cavity) if cavity.depth_m() > 2.0 * middle => narrow = middle,
            _ => wide = middle,
        }
    }
    let rounded_m = (narrow / RADIUS_STEP_M).floor() * RADIUS_STEP_M;
    let height_m = |cavity: &Cavity| cavity.depth_m() + floor_m(wanted, cavity.body_radius_m);
    let mut nearest: Option<Cavity> = None;
    for i in 0..=TRIED {
        let body_m = rounded_m + (widest_m - rounded_m) * i as f64 / TRIED as f64;
        let Some(cavity) = cavity(wanted, cup_m3, body_m) else {
            continue;
        };
        if height_m(&cavity) <= bed_height_m {
            return Ok(cavity);
        }
        let is_nearer = |other: &Cavity| height_m(&cavity) < height_m(other);
        if nearest.as_ref().is_none_or(is_nearer) {
            nearest = Some(cavity);
        }
    }
    let (across_m, height_m) = nearest.map_or((bed_width_m, bed_height_m), |cavity| {
        let outer_m = outer_radius_m(wanted, cavity.body_radius_m);
        (bed_width_m * outer_m / bed_radius_m, height_m(&cavity))
    });
    Err(TestBoxError::TooLarge {
        volume_l: 1e3 * wanted.volume_m3,
        across_mm: 1e3 * across_m,
        height_mm: 1e3 * height_m,
        bed_width_mm: mm(bed_width_m),
        bed_height_mm: mm(bed_height_m),
    })
}
