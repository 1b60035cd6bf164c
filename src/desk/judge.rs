//! What is agreed about jig and sound, and what one recording shows in its light.

use super::Sound;
use crate::capture::{Playback, Recorded};
use crate::faults::{Expected, distortion, own_findings, playback_check};
use crate::finding::{Code, Finding, Severity};
use crate::jig::Jig;
use crate::level::{BurstJig, Goal};
use crate::session::{Condition, JigInput, expected};
use crate::signal::harmonics;

/// Jig and sound, and how loud it may get.
#[derive(Clone, Debug, PartialEq)]
pub struct Desk {
    /// The jig.
    pub jig: JigInput,
    /// What is played.
    pub sound: Sound,
    /// Peak volts at the source input's full scale; `None` if nobody measured it.
    pub source_full_scale_v: Option<f64>,
    /// Whether a power amplifier is in between.
    pub amplifier: bool,
}

/// What one recording showed.
#[derive(Clone, Debug, PartialEq)]
pub struct Judged {
    /// What is wrong with it.
    pub findings: Vec<Finding>,
    /// Whether it would be a good one with its channels exchanged: no other take mends that, and what is found wrong with it
    /// (lost frames, a moved level) is the driver's own response.
    pub exchanged: bool,
}

impl Judged {
    /// Whether it has to be made again.
    pub fn is_damaged(&self) -> bool {
        redo(&self.findings).next().is_some()
    }
}

impl Desk {
    /// What a condition makes legitimate.
    pub fn expected(&self, condition: Condition) -> Expected {
        expected(&condition, Some(self.jig.wiring))
    }

    /// The jig as far as it is known while the level is sought.
    pub fn burst_jig(&self) -> BurstJig {
        BurstJig {
            jig: Jig {
                wiring: self.jig.wiring,
                sense_ohm: self.jig.sense_ohm.value,
                lead_ohm: 0.0,
                load_ohm: f64::INFINITY,
                gain: 1.0,
            },
            band_hz: self.sound.band_hz(),
            input_full_scale_v: self.source_full_scale_v,
        }
    }

    /// What a search for the level has to reach and to keep.
    pub fn goal(&self, condition: Condition) -> Goal {
        // Behind an amplifier nothing is assumed: an input calibrated in volts is asked for before.
        let assumed_v = (!self.amplifier).then_some(Goal::LINE_OUTPUT_PEAK_V);
        Goal {
            relative_uncertainty: if condition.is_calibration() {
                Goal::CALIBRATION_UNCERTAINTY
            } else {
                Goal::RELATIVE_UNCERTAINTY
            },
            full_over_burst: self.sound.full_over_burst(),
            start_dbfs: Goal::START_DBFS,
            ceiling_dbfs: self.sound.ceiling_dbfs,
            driver_peak_v: Goal::DRIVER_PEAK_V,
            output_full_scale_v: assumed_v,
        }
    }

    /// One take, laid against what was played and looked at by itself.
    pub fn judge(
        &self,
        name: &str,
        condition: Condition,
        playback: &Playback,
        recorded: &Recorded,
    ) -> Judged {
        let expected = self.expected(condition);
        let mut findings = playback_check(name, playback, recorded, expected).findings;
        let exchanged = exchanged(playback, recorded, &findings);
        // What is made again anyway is not looked at twice.
        if redo(&findings).next().is_none() {
            findings.extend(own_findings(name, &recorded.take, expected, &findings));
        }
        Judged {
            findings,
            exchanged,
        }
    }

    /// Whether a burst at a level shows that the driver distorts.
    pub(super) fn distorts(
        &self,
        level_dbfs: f64,
        recorded: &Recorded,
        playback: &Playback,
        fs_hz: f64,
    ) -> bool {
        let sweep = self.sound.burst_sweep(level_dbfs);
        let take = &recorded.take;
        let of = |channel: &[f32]| {
            let rate_hz = f64::from(take.sample_rate_hz());
            harmonics(&sweep, playback.samples(), channel, rate_hz)
        };
        let found = distortion("burst", &of(take.source()), &of(take.driver()), Some(fs_hz));
        !found.findings.is_empty()
    }
}

/// Whether a damaged recording would be a good one with its channels exchanged.
pub(super) fn exchanged(playback: &Playback, recorded: &Recorded, findings: &[Finding]) -> bool {
    if !fatal(findings) {
        return false;
    }
    let exchanged = Recorded {
        take: recorded.take.clone().swapped(),
        n_reported_losses: recorded.n_reported_losses,
    };
    // What is channel 1 there may be anything.
    let anything = Expected {
        silent_driver: true,
        ..Expected::default()
    };
    let check = playback_check("exchanged", playback, &exchanged, anything);
    check.delay_frames.is_some() && !fatal(&check.findings)
}

/// What a search cannot go on from. Clipping only says that it was too loud.
pub(super) fn fatal(findings: &[Finding]) -> bool {
    redo(findings).any(|finding| finding.code != Code::Clipped)
}

fn redo(findings: &[Finding]) -> impl Iterator<Item = &Finding> {
    findings
        .iter()
        .filter(|finding| finding.severity == Severity::Redo)
}

/// Whether everything that is wrong may be gone the next time: frames that got lost, a volume that somebody turned, noise.
pub fn by_chance(findings: &[Finding]) -> bool {
    redo(findings).all(|finding| {
        matches!(
            finding.code,
            Code::FramesLost | Code::LevelMoved | Code::PlaybackAbsent
        )
    })
}
