//! Distortion near the resonance: the driver's, and the output's own.

use crate::finding::{Code, Finding, Severity};
use crate::signal::{HarmonicPoint, Harmonics};

/// More than this and small-signal parameters are no longer what is measured (common practice, no source).
pub const DISTORTED: f64 = 0.03;
/// An output's own distortion above this is one that cannot deliver the level (common practice, no source): working outputs
/// stay below a tenth of it.
pub const OUTPUT_DISTORTED: f64 = 0.01;
/// Octaves to either side of the resonance that are looked at: the cone moves most there.
const OCTAVES: f64 = 1.0;
/// Points next to each other that have to show it: a single one may be noise.
const FEWEST: usize = 2;

/// What the channels show, and what follows from it.
#[derive(Clone, Debug, PartialEq)]
pub struct Distortion {
    /// Findings.
    pub findings: Vec<Finding>,
    /// The driver channel's distortion beyond the source's, the largest near the resonance, as a ratio; `None` if all of it is
    /// below the noise.
    pub driver: Option<f64>,
    /// The source channel's own, likewise.
    pub source: Option<f64>,
    /// Up to which ratio noise hides distortion there; `None` if nothing was recorded.
    pub floor: Option<f64>,
}

/// Compares both channels' harmonics within an octave of a resonance, or over the whole sweep where none is known yet.
pub fn distortion(
    name: &str,
    source: &Harmonics,
    driver: &Harmonics,
    resonance_hz: Option<f64>,
) -> Distortion {
    let near = |point: &&HarmonicPoint| {
        resonance_hz.is_none_or(|fs_hz| (point.frequency_hz / fs_hz).log2().abs() <= OCTAVES)
    };
    let pairs: Vec<(f64, f64)> = driver
        .points
        .iter()
        .filter(near)
        .map(|point| {
            let same = |other: &&HarmonicPoint| other.frequency_hz == point.frequency_hz;
            let of_source = source.points.iter().find(same).map_or(0.0, total);
            let power = total(point).powi(2) - of_source.powi(2);
            (if power > 0.0 { power.sqrt() } else { 0.0 }, of_source)
        })
        .collect();
    let floor = driver
        .points
        .iter()
        .filter(near)
        .map(|point| point.floor[0].hypot(point.floor[1]))
        .filter(|floor| floor.is_finite())
        .max_by(f64::total_cmp);
    let lasting = |part: fn(&(f64, f64)) -> f64| {
        pairs
            .windows(FEWEST)
            .map(|run| {
                run.iter()
                    .map(part)
                    .fold(f64::INFINITY, |m, v| if v < m { v } else { m })
            })
            .filter(|ratio| *ratio > 0.0)
            .max_by(f64::total_cmp)
    };
    let (of_driver, of_source) = (lasting(|pair| pair.0), lasting(|pair| pair.1));
    let mut findings = vec![];
    if let Some(ratio) = of_driver.filter(|ratio| *ratio > DISTORTED) {
        findings.push(
            Finding::new(
                Code::Distorted,
                Severity::Caution,
                format!(
                    "the driver distorts by {:.1} % near its resonance: it moves further than its small-signal range, or \
                     something touches the cone",
                    100.0 * ratio
                ),
                "play at a lower level; check that nothing touches the cone and the putty holds",
            )
            .with_evidence(ratio, "1", Some(DISTORTED))
            .about(name),
        );
    }
    if let Some(ratio) = of_source.filter(|ratio| *ratio > OUTPUT_DISTORTED) {
        findings.push(
            Finding::new(
                Code::OutputLimited,
                Severity::Caution,
                format!(
                    "the source itself distorts by {:.1} %: the output cannot deliver the current, or an input is overdriven",
                    100.0 * ratio
                ),
                "use a larger sense resistor or a line output, or play at a lower level; check that neither input is overdriven",
            )
            .with_evidence(ratio, "1", Some(OUTPUT_DISTORTED))
            .about(name),
        );
    }
    Distortion {
        findings,
        driver: of_driver,
        source: of_source,
        floor,
    }
}

/// Root of the sum of the squares of what was seen.
fn total(point: &HarmonicPoint) -> f64 {
    let [second, third] = point.ratio.map(|ratio| ratio.unwrap_or(0.0));
    second.hypot(third)
}
