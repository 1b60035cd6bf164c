//! The kit: one HTML file that turns a far-away helper's computer into a measuring bench.
//!
//! [`Kit`] is what the designer decides; [`Kit::page`] puts it, the page (`page/`) and the compiled library (`core/`) into one file
//! that needs no network. What the page does is JavaScript; what it concludes comes from the library, by `crate::web`.
//! [`Asked`] reads from a page what its kit asked for, for the answers that come back.

mod asked;
mod build;
mod settings;

pub use asked::Asked;
pub use build::{LONGEST_PAGE_BYTES, page_parts};
pub use settings::{Kit, KitBox, KitDriver, KitError, Method, SCHEMA};
