//! The `parameters` room.
