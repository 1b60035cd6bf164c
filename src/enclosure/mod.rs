//! What a driver does in a box: so far the closed one.
//!
//! Conventions: SI. A driver comes in as three figures with what is known of their doubt; a box goes out with the same. Doubt is
//! carried on to first order, (E7). The formulas stand in `docs/enclosure.md`.

mod closed;
mod doubt;

pub use closed::{Chance, ClosedBox, EnclosureError, MOST_QTC, SmallDriver};
pub use doubt::Doubtful;
