//! The result as a plain data type, `farcone-driver-sheet/1`, and its JSON Schema.
//!
//! Conventions: SI values with UCUM unit codes. What is not known is absent or null, never zero. `standard_uncertainty`
//! and `interval_95` are within these takes; `setup_uncertainty` is from one set-up to the next. The format is
//! described in `docs/sheet.md`.

mod circuit;
mod dimensions;
mod parameters;
mod rows;
mod shown;
mod types;

pub use circuit::CircuitError;
pub use dimensions::{Dimensions, DimensionsError, parse_dimensions};
pub use parameters::{ParameterEntry, Parameters, Share};
pub use shown::grouped_findings;
pub use types::{
    AirEntry, CandidateEntry, CircuitEntry, Conditions, Correlation, CurveEntry, Evidence, Finding,
    JigEntry, LevelEntry, Origin, PhotoEntry, SCHEMA, Sheet, SheetError, StatedEntry, TakeEntry,
    ValueEntry,
};
