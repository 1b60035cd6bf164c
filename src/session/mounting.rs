//! How differently the driver may sit in one take and in another.

use super::curves::Group;
use super::session::Condition;

/// Relative standard uncertainty of the suspension's stiffness from one mounting to the next: twice the 1 % that fs moves by (common
/// practice, no source).
const ANOTHER_MOUNTING: f64 = 0.02;
/// The same where the driver was left alone: temperature and rest between takes move fs by 0.1 % (common practice, no source).
const SAME_MOUNTING: f64 = 0.002;

/// How far the stiffness in one group of takes may be off that in free air.
///
/// A box is always another mounting. A mass is stuck on where the driver is, unless it was taken out between any takes: then
/// nobody says which of the free-air mountings it was, and the curve of those is a mean.
pub(super) fn stiffness_doubt(group: &Group, groups: &[Group]) -> f64 {
    let boxed = matches!(group.condition, Condition::TestBox { .. });
    let taken_out = groups
        .iter()
        .flat_map(|group| &group.members)
        .any(|member| member.remounted);
    if boxed || taken_out {
        ANOTHER_MOUNTING
    } else {
        SAME_MOUNTING
    }
}
