//! Several units of one kind: how alike, and which is the odd one.

use serde::Serialize;

use super::figure::{COVERAGE, Difference, Figure, figure, median};
use crate::parameters::Key;
use crate::sheet::Sheet;

/// What tells units apart: each is measured on its own, and what follows from them would only count twice.
const TELLING: [Key; 7] = [
    Key::Fs,
    Key::Re,
    Key::Qms,
    Key::Qes,
    Key::Mms,
    Key::Bl,
    Key::Vas,
];
/// What a common box hears of two units.
const HEARD: [Key; 3] = [Key::Fs, Key::Qts, Key::Vas];

/// One parameter of all sheets.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Row {
    /// Which; in JSON by its name in a sheet.
    #[serde(serialize_with = "by_name")]
    pub key: Key,
    /// One a sheet, `None` where it does not have it.
    pub figures: Vec<Option<Figure>>,
    /// Largest less smallest over the median; `None` with fewer than two.
    pub spread: Option<f64>,
    /// The largest difference between two of them that is judged, in joint standard uncertainties, without sign.
    pub largest: Option<f64>,
}

/// Two units.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Pair {
    /// Their places in the list of sheets.
    pub units: (usize, usize),
    /// How differently a common box hears them: root mean square of the relative differences of fs, Qts and Vas, (V2).
    pub apart: f64,
    /// What differs beyond doubt.
    #[serde(serialize_with = "all_by_name")]
    pub differ_in: Vec<Key>,
}

/// Sheets side by side.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Comparison {
    /// What the sheets call their drivers.
    pub labels: Vec<String>,
    /// Their verdicts, as the sheets have them: figures of a sheet that is no good prove nothing.
    pub verdicts: Vec<String>,
    /// What at least one sheet has, in the usual order.
    pub rows: Vec<Row>,
    /// Every pair, the most alike first; empty where the sheets have too little in common.
    pub pairs: Vec<Pair>,
    /// The unit that differs from the middle of the others beyond doubt, the furthest if several do; of three and more only.
    pub odd: Option<Odd>,
}

/// The odd one.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Odd {
    /// Its place in the list of sheets.
    pub unit: usize,
    /// What sets it apart most.
    #[serde(serialize_with = "by_name")]
    pub key: Key,
    /// How far, from the middle of the others.
    pub difference: Difference,
}

pub(super) fn by_name<S: serde::Serializer>(key: &Key, serializer: S) -> Result<S::Ok, S::Error> {
    serializer.serialize_str(key.as_str())
}

fn all_by_name<S: serde::Serializer>(keys: &[Key], serializer: S) -> Result<S::Ok, S::Error> {
    serializer.collect_seq(keys.iter().map(|key| key.as_str()))
}

/// Lays sheets side by side.
pub fn compare(sheets: &[Sheet]) -> Comparison {
    let rows = Key::ALL.iter().filter_map(|&key| row(sheets, key));
    Comparison {
        labels: sheets.iter().map(|sheet| sheet.label.clone()).collect(),
        verdicts: sheets.iter().map(|sheet| sheet.verdict.clone()).collect(),
        rows: rows.collect(),
        pairs: pairs(sheets),
        odd: odd(sheets),
    }
}

fn row(sheets: &[Sheet], key: Key) -> Option<Row> {
    let figures: Vec<Option<Figure>> = sheets.iter().map(|sheet| figure(sheet, key)).collect();
    let known: Vec<Figure> = figures.iter().flatten().copied().collect();
    let middle = median(&known)?;
    let spread = (known.len() > 1).then(|| {
        let values = || known.iter().map(|figure| figure.value);
        let high = values().max_by(f64::total_cmp);
        let low = values().min_by(f64::total_cmp);
        high.zip(low)
            .map_or(0.0, |(high, low)| (high - low) / middle.value.abs())
    });
    let largest = all_pairs(known.len())
        .filter_map(|(i, j)| Difference::of(&known[i], &known[j]).in_uncertainties)
        .map(f64::abs)
        .max_by(f64::total_cmp);
    Some(Row {
        key,
        figures,
        spread,
        largest,
    })
}

fn all_pairs(n: usize) -> impl Iterator<Item = (usize, usize)> {
    (0..n).flat_map(move |i| (i + 1..n).map(move |j| (i, j)))
}

fn difference(a: &Sheet, b: &Sheet, key: Key) -> Option<Difference> {
    Some(Difference::of(&figure(a, key)?, &figure(b, key)?))
}

fn pairs(sheets: &[Sheet]) -> Vec<Pair> {
    let pair = |(i, j): (usize, usize)| {
        let (a, b) = (&sheets[i], &sheets[j]);
        let heard: Vec<f64> = HEARD
            .into_iter()
            .filter_map(|key| Some(difference(a, b, key)?.relative.powi(2)))
            .collect();
        // fs and Qts at least; without Vas the box's share is not known for either.
        (heard.len() >= 2).then(|| Pair {
            units: (i, j),
            apart: (heard.iter().sum::<f64>() / heard.len() as f64).sqrt(),
            differ_in: TELLING
                .into_iter()
                .filter(|&key| difference(a, b, key).is_some_and(|d| d.is_beyond_doubt()))
                .collect(),
        })
    };
    let mut pairs: Vec<Pair> = all_pairs(sheets.len()).filter_map(pair).collect();
    pairs.sort_by(|a, b| a.apart.total_cmp(&b.apart));
    pairs
}

fn odd(sheets: &[Sheet]) -> Option<Odd> {
    // Of two that differ, none is the odd one.
    if sheets.len() < 3 {
        return None;
    }
    let strangest = |unit: usize| {
        TELLING
            .into_iter()
            .filter_map(|key| {
                let others: Vec<Figure> = (0..sheets.len())
                    .filter(|&other| other != unit)
                    .filter_map(|other| figure(&sheets[other], key))
                    .collect();
                if others.len() < 2 {
                    return None;
                }
                let difference = Difference::of(&median(&others)?, &figure(&sheets[unit], key)?);
                difference.in_uncertainties?;
                Some(Odd {
                    unit,
                    key,
                    difference,
                })
            })
            .max_by(|a, b| far(a).total_cmp(&far(b)))
    };
    (0..sheets.len())
        .filter_map(strangest)
        .max_by(|a, b| far(a).total_cmp(&far(b)))
        .filter(|odd| far(odd) > COVERAGE)
}

fn far(odd: &Odd) -> f64 {
    odd.difference.in_uncertainties.map_or(0.0, f64::abs)
}
