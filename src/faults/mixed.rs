//! Whether each channel holds part of the other: their noise in the silence then is partly the same.

use super::extent::Extent;
use super::statistics::median;
use crate::finding::{Code, Finding, Severity};
use crate::recording::Take;
use crate::signal::shared_noise;

/// Coherence of the channels' noise: a share a of each in the other makes 2a/(1 + a²). A share of a sixteenth (−24 dB) makes an
/// eighth; less is crosstalk.
const SHARED: f64 = 0.12;
/// Share of the bands that has to show half of it: interference comes in some bands only.
const MOST_BANDS: f64 = 0.8;
/// Mixed channels are about equally noisy, dB; noise of the source is weaker behind the sense resistor.
const ALIKE_DB: f64 = 1.5;
/// Bands that have to be there.
const FEWEST_BANDS: usize = 4;

/// The finding, if the channels are mixed.
pub(super) fn channels_mixed(name: &str, take: &Take, extent: &Extent) -> Option<Finding> {
    let rate_hz = f64::from(take.sample_rate_hz());
    let parts = [extent.before.clone(), extent.after.clone()];
    let bands = shared_noise(take.source(), take.driver(), rate_hz, &parts);
    if bands.len() < FEWEST_BANDS {
        return None;
    }
    let real: Vec<f64> = bands.iter().map(|band| band.coherence.re.abs()).collect();
    let shared = median(&mut real.clone())?;
    let n_shared = real.iter().filter(|&&v| v > 0.5 * SHARED).count();
    let mut ratios: Vec<f64> = bands
        .iter()
        .map(|band| 10.0 * band.power_ratio.log10())
        .collect();
    let apart_db = median(&mut ratios)?.abs();
    let mixed = shared > SHARED
        && n_shared as f64 >= MOST_BANDS * bands.len() as f64
        && apart_db < ALIKE_DB;
    mixed.then(|| {
        Finding::new(
            Code::ChannelsMixed,
            Severity::Redo,
            format!(
                "the two channels share {:.0} % of their noise in the silence: each holds part of the other",
                100.0 * shared
            ),
            "record two separate inputs: switch off mono mixes, stereo widening, \"enhancements\" and microphone modes, and use a \
             stereo line input",
        )
        .with_evidence(shared, "1", Some(SHARED))
        .about(name)
    })
}
