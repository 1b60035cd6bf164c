//! What a recording shows before anything is computed from it.

use super::hum::{hum, hum_lines};
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
pub fn recording_findings(name: &str, take: &Take, expected: Expected) -> Vec<Finding> {
    let mut findings = vec![];
    let channels = [
        ("channel 1 (source)", take.source(), false),
        ("channel 2 (driver)", take.driver(), true),
    ];
    for (what, samples, is_driver) in channels {
        let peak_dbfs = peak_dbfs(samples);
        if peak_dbfs < DEAD_DBFS && !(is_driver && expected.silent_driver) {
            findings.push(
                Finding::new(
                    Code::DeadChannel,
                    Severity::Redo,
                    format!("{what} holds no signal (its peak is {peak_dbfs:.0} dBFS)"),
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
    if findings.is_empty() {
        findings.extend(hum_lines(take).map(|found| hum(name, &found)));
    }
    findings
}

/// Peak level, dB relative to full scale; an empty channel is −∞.
fn peak_dbfs(samples: &[f32]) -> f64 {
    let peak = samples
        .iter()
        .map(|v| v.abs())
        .fold(0.0, |m: f32, v| if v > m { v } else { m });
    20.0 * f64::from(peak).log10()
}
