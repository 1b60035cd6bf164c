//! Where the recording repeats itself undisturbed, (O4).

use std::collections::VecDeque;
use std::ops::Range;

use num_complex::Complex64;

use super::comb::Comb;
use super::transform::Transform;

/// Steps of the windows in a period. A jump lies at most half a step from where two windows that are compared meet, so that one of
/// the pairs around it shows at least half of it.
pub(super) const STEPS: usize = 4;
/// How alike a period and the next have to be: noise 4 dB below the signal, or a third of the period disturbed.
const ALIKE: f64 = 0.7;
/// Frames that a period may come early or late: of a jump by one frame at least half is seen.
const LATE: f64 = 0.2;
/// Bands an octave in which it is asked whether anything sounds.
const BANDS: f64 = 3.0;
/// Likeness that makes a band one that sounds …
const SOUNDS: f64 = 0.5;
/// … in this share of the pairs at least: the rest is silence, and the clip in the air.
const SHARE: f64 = 0.15;

/// A band's part in the likeness of a period and the next.
#[derive(Clone, Copy, Default)]
struct Part {
    cross: f64,
    before: f64,
    after: f64,
    slope: f64,
    bend: f64,
    /// Power of the difference, and of both.
    apart: f64,
    both: f64,
}

/// The undisturbed stretches, and the lines that sound.
pub(super) struct Steady {
    pub runs: Vec<Range<usize>>,
    /// Multiples of the fundamental, odd, first and last.
    pub lines: (usize, usize),
}

/// The undisturbed stretches; `None` if no band sounds.
///
/// Windows have the nominal length, whose transform is quick, whatever the clocks do: the few frames between it and the period turn
/// the phase alone.
pub(super) fn find(comb: &Comb, nominal: f64, sample_rate_hz: f64) -> Option<Steady> {
    let mut transform = Transform::new(nominal.round() as usize);
    let n = transform.len();
    let bands = bands(n, sample_rate_hz);
    let late = comb.period - n as f64;
    let turn = std::f64::consts::TAU / n as f64;
    let back: Vec<Complex64> = (0..=n / 2)
        .map(|k| Complex64::cis(turn * k as f64 * late))
        .collect();
    let mut waiting: VecDeque<Vec<Complex64>> = VecDeque::new();
    let mut pairs: Vec<Vec<Part>> = vec![];
    for i in 0.. {
        let start = i * n / STEPS;
        if start + n > comb.samples.len() {
            break;
        }
        let bins = transform
            .of(comb.samples[start..start + n].iter().copied())
            .to_vec();
        if waiting.len() == STEPS
            && let Some(earlier) = waiting.pop_front()
        {
            let part = |band: &Range<usize>| {
                let mut part = Part::default();
                for k in band.clone() {
                    let omega = turn * k as f64;
                    let after = bins[k] * back[k];
                    let cross = after * earlier[k].conj();
                    // In proportion to frequency, so that the lines of a pink signal count alike.
                    part.cross += k as f64 * cross.re;
                    part.before += k as f64 * earlier[k].norm_sqr();
                    part.after += k as f64 * after.norm_sqr();
                    part.slope -= omega * cross.im;
                    part.bend += omega * omega * cross.re;
                    part.apart += (after - earlier[k]).norm_sqr();
                    part.both += after.norm_sqr() + earlier[k].norm_sqr();
                }
                part
            };
            pairs.push(bands.iter().map(part).collect());
        }
        waiting.push_back(bins);
    }
    let sounding = sounding(&pairs, &bands)?;
    let first = bands[*sounding.first()?].start | 1;
    let last = bands[*sounding.last()?].end | 1;
    Some(Steady {
        runs: runs(&pairs, &sounding, n, comb),
        lines: (first, last),
    })
}

/// Ranges of multiples of the fundamental, with one odd one at least.
fn bands(n: usize, sample_rate_hz: f64) -> Vec<Range<usize>> {
    /// Lowest frequency that is looked at, Hz, and the highest as a share of the sample rate.
    const LOWEST_HZ: f64 = 2.0;
    const TOP: f64 = 0.48;
    let bin_hz = sample_rate_hz / n as f64;
    let mut bands = vec![];
    let mut edge_hz = LOWEST_HZ;
    let mut start = (LOWEST_HZ / bin_hz).ceil() as usize;
    let top = (TOP * n as f64) as usize;
    while start < top {
        edge_hz *= (1.0 / BANDS).exp2();
        let end = ((edge_hz / bin_hz).ceil() as usize).min(top);
        if end >= start + 2 {
            bands.push(start..end);
            start = end;
        }
    }
    bands
}

fn likeness<'a>(parts: impl Iterator<Item = &'a Part>) -> (f64, f64) {
    let mut sum = Part::default();
    for part in parts {
        sum.cross += part.cross;
        sum.before += part.before;
        sum.after += part.after;
        sum.slope += part.slope;
        sum.bend += part.bend;
    }
    let all = (sum.before * sum.after).sqrt();
    let alike = if all > 0.0 { sum.cross / all } else { 0.0 };
    (alike, sum.slope / sum.bend)
}

/// The bands in which something repeats, from the first to the last.
fn sounding(pairs: &[Vec<Part>], bands: &[Range<usize>]) -> Option<Vec<usize>> {
    let sounds = |band: &usize| {
        let alike = pairs
            .iter()
            .filter(|pair| likeness(pair[*band..=*band].iter()).0 > SOUNDS);
        alike.count() as f64 > SHARE * pairs.len() as f64
    };
    let list: Vec<usize> = (0..bands.len()).filter(sounds).collect();
    let (first, last) = (*list.first()?, *list.last()?);
    Some((first..=last).collect())
}

fn steady(pair: &[Part], sounding: &[usize]) -> bool {
    let (alike, late) = likeness(sounding.iter().map(|&band| &pair[band]));
    alike > ALIKE && late.abs() < LATE
}

/// Frames of the stretches in which pair after pair is steady.
fn runs(pairs: &[Vec<Part>], sounding: &[usize], n: usize, comb: &Comb) -> Vec<Range<usize>> {
    let is_steady = pairs.iter().map(|pair| steady(pair, sounding));
    let mut runs = vec![];
    let mut from = None;
    for (i, steady) in is_steady.chain([false]).enumerate() {
        match (steady, from) {
            (true, None) => from = Some(i),
            (false, Some(first)) => {
                let run = &pairs[first..i];
                let usual = usual(run, sounding);
                for part in unbroken(run, &usual) {
                    let (before, after) = unsettled(&run[part.clone()], &usual);
                    let (from, to) = (first + part.start + before, first + part.end - 1 - after);
                    runs.push(from * n / STEPS..to * n / STEPS + 2 * n + comb.ahead);
                }
                from = None;
            }
            _ => {}
        }
    }
    runs
}

fn apart(part: &Part) -> f64 {
    part.apart / part.both
}

/// By how much a period and the next usually differ in a run, band by band: the noise.
fn usual(run: &[Vec<Part>], sounding: &[usize]) -> Vec<(usize, f64)> {
    let median = |&band: &usize| {
        let mut list: Vec<f64> = run.iter().map(|pair| apart(&pair[band])).collect();
        let middle = list.len() / 2;
        (band, *list.select_nth_unstable_by(middle, f64::total_cmp).1)
    };
    sounding.iter().map(median).collect()
}

/// Whether some band of a pair differs by much more than is usual, and by more than a share of its power.
fn differs(pair: &[Part], usual: &[(usize, f64)], share: f64) -> bool {
    usual.iter().any(|&(band, usual)| {
        let found = apart(&pair[band]);
        found > USUALLY * usual && found > share
    })
}

/// The parts of a run between pairs in which some band was interrupted.
fn unbroken(run: &[Vec<Part>], usual: &[(usize, f64)]) -> Vec<Range<usize>> {
    let whole: Vec<bool> = run
        .iter()
        .map(|pair| !differs(pair, usual, BROKEN))
        .collect();
    let mut from = 0;
    let mut parts = vec![];
    for same in whole.chunk_by(|a, b| a == b) {
        if same[0] {
            parts.push(from..from + same.len());
        }
        from += same.len();
    }
    parts
}

/// Pairs at either end of a run that may reach out of it: the likeness of the whole is that of the highest octave, which sounds in
/// a twelfth of the period only.
const AT_THE_ENDS: usize = 2 * STEPS;
/// By so many times of what is usual a period and the next have to differ for it to be more than noise …
const USUALLY: f64 = 16.0;
/// … and by this share of the power, a hundredth of the amplitude, at the ends of a run …
const LITTLE: f64 = 1e-4;
/// … or by this one within it: a fifth of the amplitude. Smaller changes of level are told as such.
const BROKEN: f64 = 0.02;

/// How many pairs at the start and at the end of a run have a band that has not settled; one pair is always left.
fn unsettled(run: &[Vec<Part>], usual: &[(usize, f64)]) -> (usize, usize) {
    let loose = |pair: &&Vec<Part>| differs(pair, usual, LITTLE);
    let most = AT_THE_ENDS.min(run.len() - 1);
    let before = run[..most].iter().take_while(loose).count();
    let most = AT_THE_ENDS.min(run.len() - 1 - before);
    let after = run[run.len() - most..]
        .iter()
        .rev()
        .take_while(loose)
        .count();
    (before, after)
}
