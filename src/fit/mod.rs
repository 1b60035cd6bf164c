//! The `fit` room.

pub mod least_squares;
pub mod transform;
