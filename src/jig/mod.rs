//! The `jig` room.
