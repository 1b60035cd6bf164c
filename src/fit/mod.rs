//! The `fit` room.
