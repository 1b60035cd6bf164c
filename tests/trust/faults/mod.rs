//! Every fault that can be made on the virtual bench.

mod method;

use crate::fault::Fault;

/// All of them, group by group.
pub fn all() -> Vec<Fault> {
    method::faults()
}
