//! One figure of a sheet with all of its doubt, and the difference of two.

use serde::Serialize;

use crate::parameters::Key;
use crate::sheet::{ParameterEntry, Sheet};

/// A difference beyond this many joint standard uncertainties is one: by chance one in 370 is.
pub const COVERAGE: f64 = 3.0;

/// A value with its standard uncertainty, SI.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Figure {
    /// The value.
    pub value: f64,
    /// Within takes and from one set-up to the next together; `None` if nobody knows it.
    pub standard_uncertainty: Option<f64>,
    /// Half of the 95 % interval with both: the takes' own interval as the sheet has it, which need not be 1.96 standard
    /// uncertainties; `None` if nobody knows it.
    pub half_width_95: Option<f64>,
}

/// How far two figures lie apart.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Difference {
    /// Second less first, SI.
    pub absolute: f64,
    /// The same as a part of the first.
    pub relative: f64,
    /// The same in joint standard uncertainties, (V1); `None` where one of them is not known.
    pub in_uncertainties: Option<f64>,
}

/// A parameter of a sheet; `None` if the sheet does not have it. What a set-up adds counts where the sheet states it.
pub fn figure(sheet: &Sheet, key: Key) -> Option<Figure> {
    sheet.parameters.get(key).map(of_entry)
}

fn of_entry(entry: &ParameterEntry) -> Figure {
    let setup = entry.setup_uncertainty.unwrap_or(0.0);
    Figure {
        value: entry.value,
        standard_uncertainty: entry.standard_uncertainty.map(|u| u.hypot(setup)),
        half_width_95: entry
            .half_width_takes()
            .map(|half| half.hypot(entry.half_width_setup().unwrap_or(0.0))),
    }
}

/// All parameters of a sheet, in the usual order.
pub fn figures(sheet: &Sheet) -> Vec<(Key, Figure)> {
    let of = |&key: &Key| Some((key, figure(sheet, key)?));
    Key::ALL.iter().filter_map(of).collect()
}

impl Difference {
    /// The second figure less the first.
    pub fn of(first: &Figure, second: &Figure) -> Self {
        let absolute = second.value - first.value;
        let joint = first
            .standard_uncertainty
            .zip(second.standard_uncertainty)
            .map(|(a, b)| a.hypot(b))
            .filter(|u| *u > 0.0);
        Self {
            absolute,
            relative: absolute / first.value,
            in_uncertainties: joint.map(|u| absolute / u),
        }
    }

    /// Whether the difference is beyond doubt; never where nobody knows the doubt.
    pub fn is_beyond_doubt(&self) -> bool {
        self.in_uncertainties.is_some_and(|z| z.abs() > COVERAGE)
    }
}

/// The middle of some figures: of an even number the mean of the middle two. Its uncertainty is that of a member in the middle.
pub(super) fn median(figures: &[Figure]) -> Option<Figure> {
    let mut sorted = figures.to_vec();
    sorted.sort_by(|a, b| a.value.total_cmp(&b.value));
    let upper = sorted.get(sorted.len() / 2)?;
    let lower = sorted.get((sorted.len() - 1) / 2)?;
    let larger = |of: fn(&Figure) -> Option<f64>| {
        of(lower)
            .zip(of(upper))
            .map(|(a, b)| if a > b { a } else { b })
    };
    Some(Figure {
        value: 0.5 * (lower.value + upper.value),
        standard_uncertainty: larger(|figure| figure.standard_uncertainty),
        half_width_95: larger(|figure| figure.half_width_95),
    })
}
