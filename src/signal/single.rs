//! How fine the transforms are that lay a recording against what was played.

/// Single precision does there, 120 dB below the largest value, and takes half the memory. In the browser it is double precision: one
/// set of transforms instead of two takes an eighth off what the page carries.
#[cfg(not(target_arch = "wasm32"))]
pub(super) type Single = f32;
#[cfg(target_arch = "wasm32")]
pub(super) type Single = f64;
