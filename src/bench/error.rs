//! What the bench refuses.

/// Why the bench made no take.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum BenchError {
    /// A stimulus without samples.
    #[error("the stimulus has no samples; give at least one")]
    EmptyStimulus,
    /// A stimulus sample that is no number.
    #[error("stimulus sample {position} is {value}; every sample must be finite")]
    NotFinite {
        /// Position, from 0.
        position: usize,
        /// What stands there.
        value: f64,
    },
    /// A setting that no bench can have.
    #[error("{setting} is {value}; it must be {allowed}")]
    Setting {
        /// Which setting.
        setting: &'static str,
        /// What it was set to.
        value: f64,
        /// What it may be.
        allowed: &'static str,
    },
    /// Values that don't fit the circuit.
    #[error(
        "the circuit has {expected} parameters, but {found} values were given; give one value per parameter"
    )]
    ValueCount {
        /// Parameters of the circuit.
        expected: usize,
        /// Values given.
        found: usize,
    },
    /// A drift of `re_ohm` was asked of something that has none.
    #[error(
        "re_drift needs a circuit with the parameter re_ohm; set it to zero or connect a driver"
    )]
    NothingDrifts,
    /// The Fourier transform refused its buffers: a bug of the bench.
    #[error("the Fourier transform failed: {0}; please report this")]
    Transform(String),
}
