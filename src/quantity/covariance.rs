//! Covariances: of one complex number, and of a list of parameters.

use num_complex::Complex64;

/// Covariance of the real and imaginary part of one complex number, in the number's unit squared.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Covariance2 {
    /// Variance of the real part.
    pub re_re: f64,
    /// Covariance of real and imaginary part.
    pub re_im: f64,
    /// Variance of the imaginary part.
    pub im_im: f64,
}

impl Covariance2 {
    /// Circular noise: the same variance in both parts, no correlation. `variance` is that of *each part*.
    pub const fn circular(variance: f64) -> Self {
        Self {
            re_re: variance,
            re_im: 0.0,
            im_im: variance,
        }
    }

    /// Covariance of `slope · x` where `x` has this covariance (an analytic function's local action).
    pub fn through(&self, slope: Complex64) -> Self {
        let (a, b) = (slope.re, slope.im);
        Self {
            re_re: a * a * self.re_re - 2.0 * a * b * self.re_im + b * b * self.im_im,
            re_im: a * b * (self.re_re - self.im_im) + (a * a - b * b) * self.re_im,
            im_im: b * b * self.re_re + 2.0 * a * b * self.re_im + a * a * self.im_im,
        }
    }

    /// Sum with an independent contribution.
    pub fn plus(&self, other: &Self) -> Self {
        Self {
            re_re: self.re_re + other.re_re,
            re_im: self.re_im + other.re_im,
            im_im: self.im_im + other.im_im,
        }
    }

    /// Scaled by a factor on the variances.
    pub fn scaled(&self, factor: f64) -> Self {
        Self {
            re_re: self.re_re * factor,
            re_im: self.re_im * factor,
            im_im: self.im_im * factor,
        }
    }

    /// Sum of both variances: the mean square of the complex error.
    pub fn trace(&self) -> f64 {
        self.re_re + self.im_im
    }

    /// The inverse matrix, or `None` if the matrix is not positive definite and finite.
    pub fn inverse(&self) -> Option<Self> {
        let determinant = self.re_re * self.im_im - self.re_im * self.re_im;
        if !(determinant > 0.0 && determinant.is_finite() && self.re_re > 0.0) {
            return None;
        }
        Some(Self {
            re_re: self.im_im / determinant,
            re_im: -self.re_im / determinant,
            im_im: self.re_re / determinant,
        })
    }

    /// Standard uncertainties of magnitude and phase (radian) of `z`, first order.
    ///
    /// Near zero magnitude the first order misleads (JCGM 102:2011, 9.3): carry the 2×2 matrix as long as possible.
    pub fn magnitude_phase(&self, z: Complex64) -> (f64, f64) {
        let magnitude = z.norm();
        let (c, s) = (z.re / magnitude, z.im / magnitude);
        let along = c * c * self.re_re + 2.0 * c * s * self.re_im + s * s * self.im_im;
        let across = s * s * self.re_re - 2.0 * c * s * self.re_im + c * c * self.im_im;
        (along.sqrt(), across.sqrt() / magnitude)
    }
}

/// A symmetric n × n matrix, row by row: a covariance or a correlation.
#[derive(Clone, Debug, PartialEq)]
pub struct SymmetricMatrix {
    n: usize,
    cells: Vec<f64>,
}

impl SymmetricMatrix {
    /// All zero.
    pub fn zero(n: usize) -> Self {
        Self {
            n,
            cells: vec![0.0; n * n],
        }
    }

    /// From `n * n` cells, row by row; the lower triangle is taken. `None` if the count is not `n * n`.
    pub fn from_rows(n: usize, cells: Vec<f64>) -> Option<Self> {
        if cells.len() != n * n {
            return None;
        }
        let mut matrix = Self { n, cells };
        for i in 0..n {
            for j in 0..i {
                matrix.cells[j * n + i] = matrix.cells[i * n + j];
            }
        }
        Some(matrix)
    }

    /// Rows (and columns).
    pub fn n(&self) -> usize {
        self.n
    }

    /// One cell.
    pub fn get(&self, row: usize, column: usize) -> f64 {
        self.cells[row * self.n + column]
    }

    /// Sets a cell and its mirror image.
    pub fn set(&mut self, row: usize, column: usize, value: f64) {
        self.cells[row * self.n + column] = value;
        self.cells[column * self.n + row] = value;
    }

    /// The cells, row by row.
    pub fn cells(&self) -> &[f64] {
        &self.cells
    }

    /// Variance of the linear combination `weights · x`.
    pub fn quadratic_form(&self, weights: &[f64]) -> f64 {
        let mut sum = 0.0;
        for (i, wi) in weights.iter().enumerate().take(self.n) {
            for (j, wj) in weights.iter().enumerate().take(self.n) {
                sum += wi * wj * self.get(i, j);
            }
        }
        sum
    }

    /// The correlation matrix that belongs to this covariance. A parameter without variance correlates with nothing.
    pub fn correlation(&self) -> Self {
        let mut correlation = Self::zero(self.n);
        for i in 0..self.n {
            for j in 0..=i {
                let scale = (self.get(i, i) * self.get(j, j)).sqrt();
                let r = if i == j {
                    1.0
                } else if scale > 0.0 {
                    (self.get(i, j) / scale).clamp(-1.0, 1.0)
                } else {
                    0.0
                };
                correlation.set(i, j, r);
            }
        }
        correlation
    }
}
