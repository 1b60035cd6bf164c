//! Every fault that can be made on the virtual bench.

mod method;
mod recording;

use crate::fault::Fault;

/// All of them, group by group.
pub fn all() -> Vec<Fault> {
    let mut all = method::faults();
    all.extend(recording::faults());
    all
}
