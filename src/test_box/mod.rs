//! A closed round box to print, on which a driver sits inverted: magnet outside, cone facing in.
//!
//! [`TestBox::design`] turns a wanted volume and a driver's mounting dimensions into the measures of a box, [`TestBox::solid`] those into
//! a closed triangle mesh. Conventions: SI; the box stands on z = 0 with its mouth up, as it is printed; triangles run counter-clockwise
//! seen from outside the plastic. The formulas stand in `docs/test-box.md`.

mod design;
mod error;
mod hollow;
mod solid;
#[cfg(test)]
mod tests;

pub use design::{Screws, TestBox, Wanted};
pub use error::TestBoxError;
pub use hollow::{hollow_half_width, hollow_of_cone};
pub use solid::Solid;
