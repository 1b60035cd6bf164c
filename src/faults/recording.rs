//! What a recording shows before anything is computed from it.

use super::basics::{no_silence, offset, too_quiet};
use super::blind::blind_findings;
use super::clipping::{clipped, flat_tops};
use super::facts::Facts;
use super::floor::{FloorSays, floor_says};
use super::given::{Played, given_findings};
use super::hum::hum;
use super::mixed::channels_mixed;
use crate::finding::{Code, Finding, Severity};
use crate::recording::Take;

/// Below this peak a channel holds nothing: the last two bits of a 16-bit recording (1 bit is −90 dBFS).
const DEAD_DBFS: f64 = -80.0;

/// What a condition makes legitimate.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Expected {
    /// Both channels carry the same voltage.
    pub alike: bool,
    /// Channel 2 carries none.
    pub silent_driver: bool,
}

/// Findings about one recording.
///
/// With the stimulus that was played the recording is laid against it; without, a sweep is recovered from the recording, and what
/// holds none is judged by its levels and its noise alone.
pub fn recording_findings(
    name: &str,
    take: &Take,
    facts: &Facts,
    expected: Expected,
    played: Option<&Played>,
) -> Vec<Finding> {
    let (mut findings, floor) = seen(name, take, facts, expected);
    let Some(floor) = floor else {
        return findings;
    };
    // A codec, a gate and automatic gain move levels about themselves; a step and a gap move the noise.
    let laid = match played {
        Some(played) => given_findings(name, take, played, expected),
        None if floor.finding.is_none() || floor.from_one_event => {
            blind_findings(name, take, expected, &facts.extent)
        }
        None => vec![],
    };
    findings.extend(floor.unless_explained_by(&laid));
    findings.extend(laid);
    findings
}

/// Findings about one recording that need nothing of what was played, beside those of laying it against that
/// ([`playback_check`](super::playback_check)): what is in `laid` already is not found twice.
pub fn own_findings(name: &str, take: &Take, expected: Expected, laid: &[Finding]) -> Vec<Finding> {
    let (mut findings, floor) = seen(name, take, &Facts::of(take), expected);
    findings.extend(floor.and_then(|floor| floor.unless_explained_by(laid)));
    findings.retain(|own| laid.iter().all(|other| other.code != own.code));
    findings
}

/// What levels and noise show; and what the noise floor says, where it can be asked.
fn seen(
    name: &str,
    take: &Take,
    facts: &Facts,
    expected: Expected,
) -> (Vec<Finding>, Option<FloorSays>) {
    let mut findings = vec![];
    let channels = [
        ("channel 1 (source)", take.source(), false),
        ("channel 2 (driver)", take.driver(), true),
    ];
    for ((what, _, is_driver), channel) in channels.iter().zip(&facts.channels) {
        let peak_dbfs = 20.0 * channel.peak.log10();
        if peak_dbfs < DEAD_DBFS && !(*is_driver && expected.silent_driver) {
            findings.push(
                Finding::new(
                    Code::DeadChannel,
                    Severity::Redo,
                    if peak_dbfs.is_finite() {
                        format!("{what} holds no signal (its peak is {peak_dbfs:.0} dBFS)")
                    } else {
                        format!("{what} holds no signal, not even noise: every sample is zero")
                    },
                    "check that this input is plugged in, switched to line and turned up, and that two channels are \
                     being recorded",
                )
                .with_evidence(peak_dbfs, "dB", Some(DEAD_DBFS))
                .about(name),
            );
        }
    }
    if findings.is_empty() && !expected.alike && take.source() == take.driver() {
        findings.push(
            Finding::new(
                Code::IdenticalChannels,
                Severity::Redo,
                "both channels are the same, sample by sample: this is a mono recording, or nothing is connected",
                "record two separate inputs (stereo, no mono mix, no microphone input), and check that the driver is \
                 connected",
            )
            .about(name),
        );
    }
    if !findings.is_empty() {
        return (findings, None);
    }
    let rate_hz = f64::from(take.sample_rate_hz());
    let extent = &facts.extent;
    for ((what, samples, is_driver), channel) in channels.into_iter().zip(&facts.channels) {
        let silent = is_driver && expected.silent_driver;
        if let Some(flat) = flat_tops(samples, channel.step).filter(|_| !silent) {
            findings.push(clipped(name, what, flat, rate_hz));
        } else if !silent {
            findings.extend(too_quiet(name, what, channel));
        }
        findings.extend(offset(name, what, samples, extent));
    }
    findings.extend(no_silence(name, take, extent));
    findings.extend(facts.hum().map(|found| hum(name, found)));
    if findings.iter().any(|f| f.code == Code::Clipped) {
        return (findings, None);
    }
    let mixed = if expected.alike {
        None
    } else {
        channels_mixed(name, take, extent)
    };
    let floor = floor_says(name, take, facts);
    // Codecs mix the channels as well.
    let is_lossy = |found: &Finding| found.code == Code::LossyCoding;
    if mixed.is_some() && !floor.finding.as_ref().is_some_and(is_lossy) {
        findings.extend(mixed);
        return (findings, None);
    }
    (findings, Some(floor))
}
