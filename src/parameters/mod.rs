//! The `parameters` room.

pub mod monte_carlo;
