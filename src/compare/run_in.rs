//! One unit before and after running-in: the suspension gives way, nothing else may.

use serde::Serialize;

use super::figure::{Difference, figure};
use super::units::by_name;
use crate::parameters::Key;
use crate::sheet::Sheet;

/// Running-in lowers fs by 10 to 15 % in the first hours (common practice, no source); beyond this much it is something else.
const MOST_FALL: f64 = 0.30;
/// What goes with the suspension, and which way a softer one moves it.
const WITH_SUSPENSION: [(Key, f64); 6] = [
    (Key::Fs, -1.0),
    (Key::Qms, 0.0),
    (Key::Qes, -1.0),
    (Key::Qts, -1.0),
    (Key::Cms, 1.0),
    (Key::Vas, 1.0),
];
/// What a softer suspension leaves alone.
const STEADY: [Key; 5] = [Key::Re, Key::Mms, Key::Bl, Key::Sd, Key::Le1khz];

/// What becomes of one parameter.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Change {
    /// Which.
    #[serde(serialize_with = "by_name")]
    pub key: Key,
    /// After less before.
    pub difference: Difference,
    /// Whether running-in explains it.
    pub whether: Whether,
}

/// Whether running-in explains a change.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
#[non_exhaustive]
pub enum Whether {
    /// It did not move beyond doubt.
    Steady,
    /// It moved as a softer suspension moves it.
    AsExpected,
    /// It moved beyond doubt, and a softer suspension does not explain it.
    Unexplained,
}

/// One unit before and after.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct RunIn {
    /// Every parameter that both sheets have.
    pub changes: Vec<Change>,
}

impl RunIn {
    /// Whether the suspension gave way beyond doubt.
    pub fn softened(&self) -> bool {
        self.changes
            .iter()
            .any(|change| change.key == Key::Fs && change.whether == Whether::AsExpected)
    }

    /// What running-in does not explain: another unit, another set-up, or damage.
    pub fn unexplained(&self) -> impl Iterator<Item = &Change> {
        self.changes
            .iter()
            .filter(|change| change.whether == Whether::Unexplained)
    }
}

/// Lays a unit after running-in against itself before.
pub fn run_in(before: &Sheet, after: &Sheet) -> RunIn {
    let steady = STEADY.into_iter().map(|key| (key, None));
    let with = WITH_SUSPENSION
        .into_iter()
        .map(|(key, way)| (key, Some(way)));
    let change = |(key, way): (Key, Option<f64>)| {
        let difference = Difference::of(&figure(before, key)?, &figure(after, key)?);
        let whether = if !difference.is_beyond_doubt() {
            Whether::Steady
        } else {
            match way {
                None => Whether::Unexplained,
                Some(way) if way * difference.absolute < 0.0 => Whether::Unexplained,
                Some(_) if key == Key::Fs && difference.relative < -MOST_FALL => {
                    Whether::Unexplained
                }
                Some(_) => Whether::AsExpected,
            }
        };
        Some(Change {
            key,
            difference,
            whether,
        })
    };
    RunIn {
        changes: with.chain(steady).filter_map(change).collect(),
    }
}
