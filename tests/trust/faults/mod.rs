//! Every fault that can be made on the virtual bench.

mod driver;
mod jig;
mod method;
mod plugs;
mod recording;

use crate::fault::Fault;

/// All of them, group by group.
pub fn all() -> Vec<Fault> {
    [
        plugs::faults(),
        recording::faults(),
        jig::faults(),
        driver::faults(),
        method::faults(),
    ]
    .concat()
}
