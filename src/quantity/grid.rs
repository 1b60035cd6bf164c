//! Frequency grids: ascending, positive, finite by construction.

/// Why a list of frequencies is no grid.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum GridError {
    /// No frequency at all.
    #[error("no frequencies given; at least one is needed")]
    Empty,
    /// A frequency that is not a positive, finite number.
    #[error("frequency {value} at position {position} is not a positive, finite number of hertz")]
    NotPositive {
        /// Position, from 0.
        position: usize,
        /// What stands there.
        value: f64,
    },
    /// A frequency that does not exceed its predecessor.
    #[error(
        "frequency {value} Hz at position {position} does not exceed the one before it; sort the rows by frequency"
    )]
    NotAscending {
        /// Position, from 0.
        position: usize,
        /// What stands there.
        value: f64,
    },
}

/// Frequencies in hertz: at least one, each positive and finite, strictly ascending.
#[derive(Clone, Debug, PartialEq)]
pub struct FrequencyGrid(Vec<f64>);

impl FrequencyGrid {
    /// Checks and wraps a list of frequencies in hertz.
    ///
    /// # Errors
    /// See [`GridError`].
    pub fn new(frequency_hz: Vec<f64>) -> Result<Self, GridError> {
        if frequency_hz.is_empty() {
            return Err(GridError::Empty);
        }
        let mut previous = 0.0;
        for (position, &value) in frequency_hz.iter().enumerate() {
            if !(value > 0.0 && value.is_finite()) {
                return Err(GridError::NotPositive { position, value });
            }
            if value <= previous {
                return Err(GridError::NotAscending { position, value });
            }
            previous = value;
        }
        Ok(Self(frequency_hz))
    }

    /// `n` frequencies from `start_hz` to `stop_hz`, each the same factor above the one before.
    ///
    /// # Errors
    /// See [`GridError`]; also if `n` is below two for two different ends.
    pub fn logarithmic(start_hz: f64, stop_hz: f64, n: usize) -> Result<Self, GridError> {
        if n == 0 {
            return Err(GridError::Empty);
        }
        let step = if n > 1 {
            (stop_hz / start_hz).ln() / (n - 1) as f64
        } else {
            0.0
        };
        // The last one as it was asked for, and not off by what the logarithm rounds.
        let at = |i: usize| match i + 1 {
            last if last == n && n > 1 => stop_hz,
            _ => start_hz * (step * i as f64).exp(),
        };
        Self::new((0..n).map(at).collect())
    }

    /// The frequencies in hertz.
    pub fn as_slice(&self) -> &[f64] {
        &self.0
    }

    /// How many there are; never zero.
    pub fn n_points(&self) -> usize {
        self.0.len()
    }
}
