//! Numbers that know how sure they are: estimates, covariances, frequency grids, and the text that people type.
//!
//! Conventions: SI inside. A bare `f64` carries its unit as a suffix of its name. An uncertainty that is not known
//! is `None`, never zero: a zero would read as perfect certainty.

mod covariance;
mod display;
mod estimate;
mod grid;
mod plain;
mod text;
mod unit;

pub use covariance::{Covariance2, SymmetricMatrix};
pub use display::{COVERAGE_95, DisplayUnit, Shown, format_estimate};
pub use estimate::{Estimate, Spread, Stated};
pub use grid::{FrequencyGrid, GridError};
pub use plain::{is_invisible, listed, plain_line};
pub use text::{QuantityError, parse_band, parse_quantity, parse_quantity_of};
pub use unit::Dimension;
