//! The `air` room.
//! Air.
