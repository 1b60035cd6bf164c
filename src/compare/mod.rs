//! Sheets laid side by side: which units match, which is the odd one, what running-in did, which claims hold, and whether
//! one session computed twice comes to the same.
//!
//! Conventions: a difference is judged against the joint standard uncertainty of both figures, (V1) of `docs/compare.md`: within
//! the takes and from one set-up to the next, both. Where the doubt about a figure is not known, no difference is judged by it.

mod agreement;
mod claims;
mod figure;
mod run_in;
mod units;

pub use agreement::{Disagreement, disagreements};
pub use claims::{Claim, ClaimError, Held, Judged, hold, parse_claims};
pub use figure::{COVERAGE, Difference, Figure, figure, figures};
pub use run_in::{Change, RunIn, Whether, run_in};
pub use units::{Comparison, Pair, Row, compare};
