//! One condition's curve, as the fit sees it.

use num_complex::Complex64;

use crate::circuit::{Load, TestBox};
use crate::impedance::ImpedanceCurve;
use crate::jig::CalibrationNoise;
use crate::quantity::Covariance2;

/// What the cone carried.
#[derive(Clone, Copy, Debug, PartialEq)]
#[non_exhaustive]
pub enum Loading {
    /// Nothing but air.
    Free,
    /// A known mass.
    AddedMass {
        /// Everything added, kg.
        mass_kg: f64,
        /// Relative standard uncertainty of the mass.
        doubt: f64,
    },
    /// A closed test box.
    TestBox {
        /// Stiffness of its air seen through the cone, N/m.
        air_stiffness_n_per_m: f64,
        /// Relative standard uncertainty of the stiffness.
        doubt: f64,
        /// How far the box may change the air load, as a standard uncertainty around no change, kg.
        air_load_change_kg: f64,
    },
}

impl Loading {
    /// The same with a heavier mass, or stiffer air, by a factor.
    pub(super) fn scaled(self, factor: f64) -> Self {
        match self {
            Self::Free => Self::Free,
            Self::AddedMass { mass_kg, doubt } => Self::AddedMass {
                mass_kg: mass_kg * factor,
                doubt,
            },
            Self::TestBox {
                air_stiffness_n_per_m,
                doubt,
                air_load_change_kg,
            } => Self::TestBox {
                air_stiffness_n_per_m: air_stiffness_n_per_m * factor,
                doubt,
                air_load_change_kg,
            },
        }
    }

    /// Relative standard uncertainty of what loads the cone; `None` in free air.
    pub(super) fn doubt(self) -> Option<f64> {
        match self {
            Self::Free => None,
            Self::AddedMass { doubt, .. } | Self::TestBox { doubt, .. } => Some(doubt),
        }
    }

    pub(super) fn load(self, leak: bool) -> Load {
        match self {
            Self::Free => Load::Free,
            Self::AddedMass { mass_kg, .. } => Load::AddedMass {
                added_mass_kg: mass_kg,
            },
            Self::TestBox {
                air_stiffness_n_per_m,
                ..
            } => Load::TestBox(TestBox {
                air_stiffness_n_per_m,
                air_load: true,
                leak,
            }),
        }
    }
}

/// A curve and the condition it was taken in.
#[derive(Clone, Debug, PartialEq)]
pub struct Observation {
    /// Name for findings, for example `added-mass-1`.
    pub name: String,
    /// What the cone carried.
    pub loading: Loading,
    /// How far the suspension's stiffness may be off that of the free-air curve, as a relative standard uncertainty: another
    /// mounting, or a mean of several. It counts where a common stiffness does not serve; that of the free-air curve is not used.
    pub stiffness_doubt: f64,
    /// The impedance. Without covariance every point counts as equally sure, relative to its magnitude.
    pub curve: ImpedanceCurve,
    /// What the curve's covariance holds of the calibration takes' noise, which curves on one jig share.
    pub calibration: CalibrationNoise,
}

/// Relative uncertainty put on the points of a curve that states none. Only relative weights matter: the fit's scatter
/// then sets the scale.
const RELATIVE_WITHOUT_COVARIANCE: f64 = 1e-3;

/// Turns a point's error into two numbers of unit variance: `[along·re, cross·re + rest·im]`.
#[derive(Clone, Copy, Debug)]
pub(super) struct Whitening {
    along: f64,
    cross: f64,
    rest: f64,
}

impl Whitening {
    pub(super) fn new(covariance: &Covariance2) -> Option<Self> {
        let rest_variance =
            covariance.im_im - covariance.re_im * covariance.re_im / covariance.re_re;
        let definite = covariance.re_re > 0.0 && rest_variance > 0.0;
        if !definite || !covariance.trace().is_finite() {
            return None;
        }
        let rest = 1.0 / rest_variance.sqrt();
        let cross = -covariance.re_im / covariance.re_re * rest;
        Some(Self {
            along: 1.0 / covariance.re_re.sqrt(),
            cross,
            rest,
        })
    }

    /// A covariance of the point as one of the two numbers: re·re, re·im, im·im.
    pub(super) fn covariance(&self, of: &Covariance2) -> [f64; 3] {
        let (k, c, r) = (self.along, self.cross, self.rest);
        [
            k * k * of.re_re,
            k * (c * of.re_re + r * of.re_im),
            c * c * of.re_re + 2.0 * c * r * of.re_im + r * r * of.im_im,
        ]
    }

    /// How a sum `a`·first + `b`·second of the two numbers follows the error: the factor of Re Σ c·error.
    pub(super) fn factor(&self, a: f64, b: f64) -> Complex64 {
        Complex64::new(a * self.along + b * self.cross, -b * self.rest)
    }

    pub(super) fn apply(&self, error: Complex64) -> (f64, f64) {
        (
            self.along * error.re,
            self.cross * error.re + self.rest * error.im,
        )
    }
}

impl Observation {
    /// The same as if all curves had been taken at one mounting.
    pub(super) fn at_one_mounting(&self) -> Self {
        Self {
            stiffness_doubt: 0.0,
            ..self.clone()
        }
    }

    /// Whether the suspension may be as stiff as it likes here, within the doubt.
    pub(super) fn sits_anew(&self) -> bool {
        self.loading != Loading::Free && self.stiffness_doubt > 0.0
    }

    /// A curve in free air.
    pub fn free(name: impl Into<String>, curve: ImpedanceCurve) -> Self {
        Self {
            name: name.into(),
            loading: Loading::Free,
            stiffness_doubt: 0.0,
            curve,
            calibration: CalibrationNoise::default(),
        }
    }

    /// The points' covariances, assumed where none were given.
    pub(super) fn covariances(&self) -> Vec<Covariance2> {
        match self.curve.covariance() {
            Some(list) => list.to_vec(),
            None => self
                .curve
                .z_ohm()
                .iter()
                .map(|z| Covariance2::circular((RELATIVE_WITHOUT_COVARIANCE * z.norm()).powi(2)))
                .collect(),
        }
    }
}
