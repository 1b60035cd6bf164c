//! The `recording` room.
