//! The impedance curve: frequency, complex impedance, and the covariance of its two parts.

use num_complex::Complex64;

use crate::quantity::{Covariance2, FrequencyGrid};

/// An impedance against frequency. All three lists have the same length.
#[derive(Clone, Debug, PartialEq)]
pub struct ImpedanceCurve {
    frequency: FrequencyGrid,
    z_ohm: Vec<Complex64>,
    /// Ohm squared. `None`: the source stated no uncertainty.
    covariance: Option<Vec<Covariance2>>,
}

impl ImpedanceCurve {
    /// Puts a curve together; `None` if the lengths differ.
    pub fn new(
        frequency: FrequencyGrid,
        z_ohm: Vec<Complex64>,
        covariance: Option<Vec<Covariance2>>,
    ) -> Option<Self> {
        let n = frequency.n_points();
        let fits = z_ohm.len() == n && covariance.as_ref().is_none_or(|list| list.len() == n);
        fits.then_some(Self {
            frequency,
            z_ohm,
            covariance,
        })
    }

    /// Number of points; never zero.
    pub fn n_points(&self) -> usize {
        self.frequency.n_points()
    }

    /// Frequencies in hertz, ascending.
    pub fn frequency_hz(&self) -> &[f64] {
        self.frequency.as_slice()
    }

    /// Impedances in ohm.
    pub fn z_ohm(&self) -> &[Complex64] {
        &self.z_ohm
    }

    /// Covariances in ohm squared, if known.
    pub fn covariance(&self) -> Option<&[Covariance2]> {
        self.covariance.as_deref()
    }

    /// The part between two frequencies (both included); `None` if nothing is left.
    pub fn between(&self, low_hz: f64, high_hz: f64) -> Option<Self> {
        let inside: Vec<usize> = (0..self.n_points())
            .filter(|&i| (low_hz..=high_hz).contains(&self.frequency_hz()[i]))
            .collect();
        let frequency =
            FrequencyGrid::new(inside.iter().map(|&i| self.frequency_hz()[i]).collect()).ok()?;
        let z_ohm = inside.iter().map(|&i| self.z_ohm[i]).collect();
        let covariance = self
            .covariance
            .as_ref()
            .map(|list| inside.iter().map(|&i| list[i]).collect());
        Self::new(frequency, z_ohm, covariance)
    }

    /// The same curve with other impedances (ohm); unchanged if their number does not fit.
    #[must_use]
    pub fn with_impedances(&self, z_ohm: Vec<Complex64>) -> Self {
        let fits = z_ohm.len() == self.n_points();
        let z_ohm = if fits { z_ohm } else { self.z_ohm.clone() };
        Self {
            z_ohm,
            ..self.clone()
        }
    }

    /// The same curve with other covariances (ohm squared); unchanged if their number does not fit.
    #[must_use]
    pub fn with_covariance(&self, covariance: Vec<Covariance2>) -> Self {
        let fits = covariance.len() == self.n_points();
        let covariance = if fits {
            Some(covariance)
        } else {
            self.covariance.clone()
        };
        Self {
            covariance,
            ..self.clone()
        }
    }
}
