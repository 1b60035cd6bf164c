//! Which stretch is which node, and whether frames are missing between stretches of one node.

use std::ops::Range;

use num_complex::Complex64;
use realfft::RealFftPlanner;

use super::blocks::{Blocks, Run};
use super::clock::late;
use super::{Jump, transform};

/// Two stretches are of one node if no band differs by more, dB: the largest resistor that anybody checks 47 ohm with makes
/// twice as much.
const SAME_DB: f64 = 0.4;
/// Lines in a band of that comparison: few enough to hold a resonance apart from what is beside it.
const BAND: f64 = 1.26;
/// Frames by which a clock may be off from one stretch to the next: half of the smallest loss.
const COUNTED: f64 = 0.5;

/// The stretches by what they are; numbers are those of [`Blocks::runs`].
pub(super) struct Sorted {
    pub source: Vec<usize>,
    pub driver: Vec<usize>,
    pub jumps: Vec<Jump>,
    pub disturbed: Vec<Range<usize>>,
    pub source_moved_db: Option<f64>,
    pub strange_db: Vec<f64>,
    pub reversed: bool,
}

/// Sorts the stretches, and lays those of one node that lie frames apart on each other; `None` if there is one node only.
pub(super) fn sort(blocks: &mut Blocks, alike: bool) -> Option<Sorted> {
    let mut classes: Vec<Vec<usize>> = vec![];
    for run in 0..blocks.runs.len() {
        let same = |class: &&mut Vec<usize>| same_node(blocks, class[0], run);
        match classes.iter_mut().find(same) {
            Some(class) => class.push(run),
            None => classes.push(vec![run]),
        }
    }
    if alike && classes.len() == 1 {
        classes = split(blocks, &classes[0]);
    }
    let mut classes = classes.into_iter();
    let (first, second) = (classes.next()?, classes.next()?);
    let strange_db = classes
        .map(|class| level_db(blocks, first[0], class[0]))
        .collect();
    let mut jumps = vec![];
    let mut disturbed = vec![];
    let mut kept = vec![];
    // Nodes that sound alike can be laid on each other as well.
    let across = [*first.first()?, *second.first()?];
    let chains: Vec<&[usize]> = if alike {
        vec![&first, &second, &across]
    } else {
        vec![&first, &second]
    };
    for chain in chains {
        for pair in chain.windows(2) {
            let (before, after) = (pair[0], pair[1]);
            let from_frame = blocks.runs[before].frames.end;
            let to_frame = blocks.runs[after].frames.start;
            // What is found at a jump reaches into it from both sides.
            let gap = from_frame.min(to_frame)..to_frame.max(from_frame);
            let within = after == before + 1 && !alike;
            let n_frames = shift(blocks, before, after);
            if n_frames.abs() > COUNTED {
                jumps.push(Jump {
                    from_frame: gap.start,
                    to_frame: gap.end,
                    n_frames,
                    within,
                });
            } else if within {
                disturbed.push(gap);
            }
        }
    }
    for class in [&first, &second] {
        kept.push(counted(blocks, class));
    }
    let (driver, source) = (kept.pop()?, kept.pop()?);
    let source_moved_db = match (first.first(), first.last()) {
        (Some(&a), Some(&b)) if a != b => Some(level_db(blocks, a, b)),
        _ => None,
    };
    // A passive divider is never louder than what drives it.
    let reversed = !alike && level_db(blocks, source[0], driver[0]) > 0.0;
    let (source, driver) = if reversed {
        (driver, source)
    } else {
        (source, driver)
    };
    Some(Sorted {
        source,
        driver,
        jumps,
        disturbed,
        source_moved_db,
        strange_db,
        reversed,
    })
}

/// Stretches that sound alike and are of two nodes: the longest silence lies where the clip moved.
fn split(blocks: &Blocks, class: &[usize]) -> Vec<Vec<usize>> {
    if let [first, second, third] = *class {
        return vec![vec![first, third], vec![second]];
    }
    let pause = |pair: &[usize]| {
        let (before, after) = (&blocks.runs[pair[0]], &blocks.runs[pair[1]]);
        after.frames.start.saturating_sub(before.frames.end)
    };
    let longest = class
        .windows(2)
        .enumerate()
        .max_by_key(|(_, pair)| pause(pair));
    match longest {
        Some((i, _)) => {
            let (a, b) = class.split_at(i + 1);
            vec![a.to_vec(), b.to_vec()]
        }
        None => vec![class.to_vec()],
    }
}

/// The longest of a class's stretches, and those between which and it no frame is missing.
fn counted(blocks: &Blocks, class: &[usize]) -> Vec<usize> {
    let longest = class
        .iter()
        .copied()
        .max_by_key(|&run| blocks.runs[run].blocks.len());
    let Some(longest) = longest else {
        return vec![];
    };
    let counts = |run: &usize| *run == longest || shift(blocks, longest, *run).abs() <= COUNTED;
    class.iter().copied().filter(counts).collect()
}

/// Standard uncertainties that noise may move a band by.
const COVERAGE: f64 = 4.0;

/// Whether two stretches are of one node: no band's level differs by more than noise explains and a little.
fn same_node(blocks: &Blocks, a: usize, b: usize) -> bool {
    let runs = [&blocks.runs[a], &blocks.runs[b]];
    let noises = runs.map(Run::variances);
    let multiples = &blocks.multiples;
    let mut from = 0;
    while from < multiples.len() {
        let end = (multiples[from] as f64 * BAND) as usize;
        let to = multiples.partition_point(|&k| k <= end).max(from + 1);
        let (mut db, mut variance) = ([0.0; 2], 0.0);
        for ((run, noise), db) in runs.iter().zip(&noises).zip(&mut db) {
            let lines = &run.mean[from..to];
            let power: f64 = lines.iter().map(Complex64::norm_sqr).sum();
            let doubt: f64 = lines
                .iter()
                .zip(&noise[from..to])
                .map(|(line, noise)| 2.0 * line.norm_sqr() * noise)
                .sum();
            *db = 10.0 * power.log10();
            variance += doubt / (power * power);
        }
        let allowed = SAME_DB + COVERAGE * 10.0 * variance.sqrt() / std::f64::consts::LN_10;
        if (db[1] - db[0]).abs() > allowed {
            return false;
        }
        from = to;
    }
    true
}

/// Level of the second of two stretches over the first, dB.
fn level_db(blocks: &Blocks, a: usize, b: usize) -> f64 {
    let [a, b] = [a, b].map(|run| {
        let lines = blocks.runs[run].mean.iter();
        lines.map(Complex64::norm_sqr).sum::<f64>()
    });
    10.0 * (b / a).log10()
}

/// By how many frames the second of two stretches of one node is behind the first, up to whole periods.
fn shift(blocks: &Blocks, first: usize, second: usize) -> f64 {
    let (a, b) = (&blocks.runs[first].mean, &blocks.runs[second].mean);
    let n = blocks.period.round() as usize;
    let inverse = RealFftPlanner::<f64>::new().plan_fft_inverse(n);
    let mut bins = inverse.make_input_vec();
    for ((&k, a), b) in blocks.multiples.iter().zip(a).zip(b) {
        // In proportion to frequency, so that the lines of a pink signal count alike.
        bins[k] = b * a.conj() * k as f64;
    }
    let mut alike = inverse.make_output_vec();
    let done = inverse.process(&mut bins, &mut alike);
    debug_assert!(done.is_ok(), "buffers come from the plan: {done:?}");
    // cross = |a|²·e^(−jωs) adds up at the place s.
    let (mut best, mut at) = (f64::NEG_INFINITY, 0);
    for (i, &value) in alike.iter().enumerate() {
        // What lies n − s behind is s ahead.
        if value > best {
            (best, at) = (value, i);
        }
    }
    let behind = n - at;
    let coarse = if behind > n / 2 {
        behind as f64 - n as f64
    } else {
        behind as f64
    };
    let omegas = blocks.omegas();
    let turned: Vec<Complex64> = b
        .iter()
        .zip(&omegas)
        .map(|(line, omega)| line * transform::turn(omega * coarse))
        .collect();
    coarse + late(&turned, a, &omegas)
}
