//! What the inputs hold before any sound was played.

use super::statistics::{mean, rms_dbfs};
use crate::finding::{Code, Finding, Severity};
use crate::recording::Take;

/// Louder than this, RMS in dBFS, something plays, howls or hums: noise and hum of usable inputs stay some 20 dB below
/// (common practice, no source).
pub const LOUD_DBFS: f64 = -30.0;
/// An offset above this takes away range that the signal needs (common practice, no source).
pub const OFFSET: f64 = 0.05;
/// Samples that have to differ from zero before equal channels mean anything.
const FEWEST_LIVE: usize = 100;

/// Findings about half a second or more that was recorded while nothing played.
///
/// Digital silence is no finding: a sound server's null device and inputs with a gate are silent to the bit.
pub fn quiet_findings(name: &str, take: &Take) -> Vec<Finding> {
    let mut findings = vec![];
    for (what, samples) in [
        ("channel 1 (source)", take.source()),
        ("channel 2 (driver)", take.driver()),
    ] {
        let level_dbfs = rms_dbfs(samples);
        if level_dbfs > LOUD_DBFS {
            findings.push(
                Finding::new(
                    Code::LoudBeforeSound,
                    Severity::Redo,
                    format!("{what} is at {level_dbfs:.0} dBFS although nothing plays: feedback, hum, or another program's sound"),
                    "turn off direct monitoring, sidetone and \"listen to this device\"; close other programs that play; turn \
                     the input's gain down; keep leads away from mains transformers",
                )
                .with_evidence(level_dbfs, "dB", Some(LOUD_DBFS))
                .about(name),
            );
        }
        let offset = mean(samples);
        if offset.abs() > OFFSET {
            findings.push(
                Finding::new(
                    Code::LoudBeforeSound,
                    Severity::Redo,
                    format!("{what} has a steady offset of {:.0} % of full scale: a voltage comes in, or the input puts one out", 100.0 * offset),
                    "turn off phantom power and plug-in power, use line inputs, and measure DC at the plugs before connecting \
                     them again",
                )
                .with_evidence(offset, "1", Some(OFFSET))
                .about(name),
            );
        }
    }
    let n_live = take.source().iter().filter(|&&v| v != 0.0).count();
    if n_live >= FEWEST_LIVE && take.source() == take.driver() {
        findings.push(
            Finding::new(
                Code::IdenticalChannels,
                Severity::Redo,
                "both channels are the same, sample by sample: this is one input recorded twice",
                "choose a device with two separate line inputs (stereo, no mono mix, no microphone input)",
            )
            .about(name),
        );
    }
    findings
}
