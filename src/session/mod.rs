//! The `session` room.
