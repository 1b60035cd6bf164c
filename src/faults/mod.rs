//! The `faults` room.
