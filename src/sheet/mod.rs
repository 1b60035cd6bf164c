//! The `sheet` room.
