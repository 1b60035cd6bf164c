//! Whether the top of the band arrived.

use crate::finding::{Code, Finding, Severity};
use crate::signal::{BandGain, Follow, FollowWindow};

/// How far a band has to fall below the middle of the spectrum, dB. Filters of converters lose a few dB at 0.47 of the rate
/// (common practice, no source).
pub const COLLAPSE_DB: f64 = 25.0;
/// Shares of the sample rate between which the usual gain is taken: below what a server at two thirds of the rate passes.
const USUAL: (f64, f64) = (0.12, 0.28);
/// A fall is steep if it happens within this share of the sample rate: a response that falls all the way up is none.
const STEEP: f64 = 0.12;
/// Where a fall may begin, dB below the usual gain.
const BEGINS_DB: f64 = 6.0;

/// Where the band ends.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Top {
    /// Where it begins to fall, Hz.
    pub from_hz: f64,
    /// Where it is gone, Hz.
    pub gone_hz: f64,
    /// How far it fell, dB.
    pub fall_db: f64,
}

/// Looks for the end of the band below the top of what was played.
pub(super) fn collapse(bands: &[BandGain], rate_hz: f64) -> Option<Top> {
    let mut usual: Vec<f64> = bands
        .iter()
        .filter(|b| b.frequency_hz > USUAL.0 * rate_hz && b.frequency_hz < USUAL.1 * rate_hz)
        .map(|b| b.gain_db)
        .collect();
    let usual_db = super::statistics::median(&mut usual)?;
    let gone = |b: &BandGain| b.gain_db < usual_db - COLLAPSE_DB;
    // The last band may hold no more than the edge of what was played.
    let (_, bands) = bands.split_last()?;
    // From the top down, as long as it is gone.
    let n_gone = bands.iter().rev().take_while(|b| gone(b)).count();
    let first_gone = bands.get(bands.len() - n_gone)?;
    let last_whole = bands.iter().rfind(|b| b.gain_db > usual_db - BEGINS_DB)?;
    let fall_db = bands[bands.len() - n_gone..]
        .iter()
        .map(|b| usual_db - b.gain_db)
        .fold(0.0, |m: f64, v| if v > m { v } else { m });
    let steep = first_gone.frequency_hz - last_whole.frequency_hz < STEEP * rate_hz;
    (n_gone > 0 && steep && last_whole.frequency_hz > USUAL.0 * rate_hz).then_some(Top {
        from_hz: last_whole.frequency_hz,
        gone_hz: first_gone.frequency_hz,
        fall_db,
    })
}

/// Whether the end of the band is a filter's: a sweep that passes it fades over several windows, where sound that stops is gone
/// from one to the next. Stimuli that come back to lower frequencies later show it by that.
pub(super) fn fades(followed: &Follow, top: &Top) -> bool {
    /// Windows that a stop of the sound makes look like a fade, since they overlap.
    const STRADDLING: usize = 3;
    /// Part of the fade that is counted, dB.
    const FADE_DB: (f64, f64) = (-25.0, -1.0);
    let comes_back = followed
        .windows
        .last()
        .is_some_and(|last| last.delay_frames.is_some());
    let below = |w: &&FollowWindow| {
        w.delay_frames.is_some() && (0.5 * top.from_hz..0.8 * top.from_hz).contains(&w.frequency_hz)
    };
    let mut usual: Vec<f64> = followed
        .windows
        .iter()
        .filter(below)
        .map(|w| w.gain)
        .collect();
    let Some(usual) = super::statistics::median(&mut usual) else {
        return false;
    };
    let n_fading = followed
        .windows
        .iter()
        .filter(|w| (0.8 * top.from_hz..1.2 * top.gone_hz).contains(&w.frequency_hz))
        .filter(|w| {
            let gain_db = 20.0 * (w.gain / usual).log10();
            gain_db > FADE_DB.0 && gain_db < FADE_DB.1
        })
        .count();
    comes_back || n_fading > STRADDLING
}

pub(super) fn resampled(name: &str, top: &Top, rate_hz: f64) -> Finding {
    Finding::new(
        Code::Resampled,
        Severity::Redo,
        format!(
            "nothing of what was played arrives above {:.1} kHz: somewhere on the way sound passes at a lower rate than {:.1} \
             kHz (about {:.0} kHz or below)",
            1e-3 * top.gone_hz,
            1e-3 * rate_hz,
            2e-3 * top.gone_hz
        ),
        "set the sound server to the rate asked for, or ask for the device's own rate (--rate), and make the take again; resampling \
         to a higher rate and back cannot be seen here",
    )
    .with_evidence(top.fall_db, "dB", Some(COLLAPSE_DB))
    .about(name)
}
