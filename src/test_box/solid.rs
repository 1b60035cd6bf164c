//! A box as triangles.

use std::f64::consts::PI;

use super::design::{PILOT_DEPTH_M, PILOT_RADIUS_M, TestBox};

/// Facets of a pilot hole; a multiple of four, so that a corner lies towards each side of its piece of the rim.
const PILOT_FACETS: usize = 24;

/// A closed surface of triangles; counter-clockwise seen from outside.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Solid {
    /// Corners, m.
    pub corners_m: Vec<[f64; 3]>,
    /// Triangles by the indices of their corners.
    pub triangles: Vec<[usize; 3]>,
}

/// Corners of one circle, counter-clockwise seen from above.
struct Ring(Vec<usize>);

impl Ring {
    /// The corner at a number that may lie beyond either end.
    fn at(&self, i: isize) -> usize {
        let n = self.0.len() as isize;
        self.0[i.rem_euclid(n) as usize]
    }

    fn pairs(&self) -> impl Iterator<Item = (usize, usize)> {
        let next = self.0.iter().cycle().skip(1);
        self.0.iter().copied().zip(next.copied())
    }
}

/// (B1): how far out the corners of a polygon lie that has the area of its circle.
fn corners_out(n: usize) -> f64 {
    let angle = 2.0 * PI / n as f64;
    (angle / angle.sin()).sqrt()
}

impl Solid {
    fn corner(&mut self, x: f64, y: f64, z: f64) -> usize {
        self.corners_m.push([x, y, z]);
        self.corners_m.len() - 1
    }

    fn ring(&mut self, [x, y]: [f64; 2], radius: f64, z: f64, n: usize, turned: f64) -> Ring {
        let corners = (0..n).map(|i| {
            let angle = turned + 2.0 * PI * i as f64 / n as f64;
            self.corner(x + radius * angle.cos(), y + radius * angle.sin(), z)
        });
        Ring(corners.collect())
    }

    /// The strip between two rings; its outside is to the right of the way from the first to the second, seen with the axis to the left.
    fn strip(&mut self, from: &Ring, to: &Ring) {
        for ((a, b), (d, c)) in from.pairs().zip(to.pairs()) {
            self.triangles.extend([[a, b, c], [a, c, d]]);
        }
    }

    /// A disc that faces up.
    fn disc_up(&mut self, rim: &Ring, x: f64, y: f64, z: f64) {
        let middle = self.corner(x, y, z);
        self.triangles
            .extend(rim.pairs().map(|(a, b)| [middle, a, b]));
    }

    fn disc_down(&mut self, rim: &Ring, x: f64, y: f64, z: f64) {
        let middle = self.corner(x, y, z);
        self.triangles
            .extend(rim.pairs().map(|(a, b)| [middle, b, a]));
    }

    /// What the surface encloses, m³: a sum of tetrahedra over the origin.
    pub fn volume_m3(&self) -> f64 {
        let six_fold = self.triangles.iter().map(|triangle| {
            let [a, b, c] = triangle.map(|i| self.corners_m[i]);
            a[0] * (b[1] * c[2] - b[2] * c[1])
                + a[1] * (b[2] * c[0] - b[0] * c[2])
                + a[2] * (b[0] * c[1] - b[1] * c[0])
        });
        six_fold.sum::<f64>() / 6.0
    }

    /// The unit vector out of a triangle, in single precision, as STL has it.
    pub fn normal(&self, triangle: [usize; 3]) -> [f32; 3] {
        let [a, b, c] = triangle.map(|i| self.corners_m[i]);
        let [u, v] = [b, c].map(|p| [p[0] - a[0], p[1] - a[1], p[2] - a[2]]);
        let out = [
            u[1] * v[2] - u[2] * v[1],
            u[2] * v[0] - u[0] * v[2],
            u[0] * v[1] - u[1] * v[0],
        ];
        let length = out.iter().map(|x| x * x).sum::<f64>().sqrt();
        out.map(|x| (x / length) as f32)
    }

    /// One facet pair of the rim between its outer and inner edge, from corner `i` to the next.
    fn rim_piece(&mut self, outer: &Ring, inner: &Ring, i: isize) {
        let (a, b) = (outer.at(i), outer.at(i + 1));
        let (d, c) = (inner.at(i), inner.at(i + 1));
        self.triangles.extend([[a, b, c], [a, c, d]]);
    }

    /// The rim from `half` facets before corner `at` to as many behind, around the hole of a screw. The hole's corner 0 lies outwards.
    fn rim_around(&mut self, outer: &Ring, inner: &Ring, at: isize, half: isize, hole: &Ring) {
        let quarter = hole.0.len() as isize / 4;
        let (out, ahead, inwards, back) = (0, quarter, 2 * quarter, 3 * quarter);
        for i in at - half..at + half {
            self.triangles.extend([
                [hole.at(out), outer.at(i), outer.at(i + 1)],
                [hole.at(inwards), inner.at(i + 1), inner.at(i)],
            ]);
        }
        let (first, last) = (at - half, at + half);
        self.triangles.extend([
            [hole.at(ahead), outer.at(last), inner.at(last)],
            [hole.at(back), inner.at(first), outer.at(first)],
        ]);
        for (from, corner) in [
            (out, outer.at(last)),
            (ahead, inner.at(last)),
            (inwards, inner.at(first)),
            (back, outer.at(first)),
        ] {
            let arc = from..from + quarter;
            self.triangles
                .extend(arc.map(|i| [corner, hole.at(i + 1), hole.at(i)]));
        }
    }
}

impl TestBox {
    /// The plastic as it is printed: its floor on z = 0, its axis on x = y = 0, its mouth up.
    pub fn solid(&self) -> Solid {
        let mut solid = Solid::default();
        let n = self.n_facets;
        let out = corners_out(n);
        let top = self.height_m();
        let axis = [0.0, 0.0];
        let around = self.across_m() / 2.0;
        let (mouth, body) = (out * self.mouth_radius_m, out * self.body_radius_m);
        let foot = solid.ring(axis, around, 0.0, n, 0.0);
        let outer = solid.ring(axis, around, top, n, 0.0);
        let inner = solid.ring(axis, mouth, top, n, 0.0);
        solid.disc_down(&foot, 0.0, 0.0, 0.0);
        solid.strip(&foot, &outer);
        self.rim(&mut solid, &outer, &inner, top);
        let floor = solid.ring(axis, body, self.floor_m, n, 0.0);
        if self.body_radius_m > self.mouth_radius_m {
            let narrow_to = solid.ring(axis, mouth, top - self.mouth_length_m, n, 0.0);
            let wide_from = solid.ring(axis, body, self.floor_m + self.body_length_m, n, 0.0);
            solid.strip(&inner, &narrow_to);
            solid.strip(&narrow_to, &wide_from);
            solid.strip(&wide_from, &floor);
        } else {
            solid.strip(&inner, &floor);
        }
        solid.disc_up(&floor, 0.0, 0.0, self.floor_m);
        solid
    }

    /// The rim on which the flange lies, with blind pilot holes.
    fn rim(&self, solid: &mut Solid, outer: &Ring, inner: &Ring, top: f64) {
        let n = self.n_facets;
        let (Some(screws), Some(half)) = (self.wanted.screws, self.cell_half_width()) else {
            return solid.strip(outer, inner);
        };
        let apart = n / screws.n;
        for k in 0..screws.n {
            let at = k * apart;
            let angle = 2.0 * PI * at as f64 / n as f64;
            let radius = screws.circle_m / 2.0;
            let [x, y] = [radius * angle.cos(), radius * angle.sin()];
            let hole = solid.ring([x, y], PILOT_RADIUS_M, top, PILOT_FACETS, angle);
            let bottom = top - PILOT_DEPTH_M;
            let end = solid.ring([x, y], PILOT_RADIUS_M, bottom, PILOT_FACETS, angle);
            solid.rim_around(outer, inner, at as isize, half as isize, &hole);
            solid.strip(&hole, &end);
            solid.disc_up(&end, x, y, bottom);
            for i in at + half..at + apart - half {
                solid.rim_piece(outer, inner, i as isize);
            }
        }
    }
}
