//! The `signal` room.
