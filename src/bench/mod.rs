//! The `bench` room.
