//! Whether the input is fed back to the output.

use crate::capture::{Playback, Recorded};
use crate::finding::{Code, Finding, Severity};
use crate::signal::{Echo, Follow, echo, follow};

/// Echoes above this, dB, are a loop (common practice, no source): they put ripples of 0.5 dB on the source.
pub const ECHO_DB: f64 = -30.0;
/// Times between which echoes are looked for, s: shorter ones belong to filters of converters, longer ones to nothing.
const AFTER_S: (f64, f64) = (1e-3, 0.5);
/// An echo above this, dB, has to repeat itself, as it does in a loop: two arrivals alone are a recording with a gap.
const REPEATS_ABOVE_DB: f64 = -18.0;
/// How much weaker than the loop says the repetition may be, dB.
const REPEATS_WITHIN_DB: f64 = 8.0;

/// Findings about feedback from the input to the output.
///
/// A loop without latency is invisible, and harmless to the ratio of the channels; so is any loop as long as it is stable, but
/// the level is then not what it seems.
pub fn monitoring(name: &str, playback: &Playback, recorded: &Recorded) -> Vec<Finding> {
    let take = &recorded.take;
    let rate_hz = f64::from(take.sample_rate_hz());
    let followed = follow(playback.samples(), take.source(), rate_hz);
    loop_echo(playback, recorded, &followed)
        .map(|echo| fed_back(name, &echo))
        .into_iter()
        .collect()
}

/// The finding about a loop.
pub(super) fn fed_back(name: &str, echo: &Echo) -> Finding {
    let after_ms = 1e3 * echo.after_s;
    Finding::new(
            Code::MonitoringOn,
            Severity::Redo,
            format!(
                "what was played comes back after {after_ms:.1} ms, {:.0} dB weaker, again and again: the input is fed back to \
                 the output",
                -echo.level_db
            ),
            "turn off direct monitoring, sidetone, loopback and \"listen to this device\", then make the take again",
        )
        .with_evidence(echo.level_db, "dB", Some(ECHO_DB))
        .about(name)
}

pub(super) fn loop_echo(
    playback: &Playback,
    recorded: &Recorded,
    followed: &Follow,
) -> Option<Echo> {
    let take = &recorded.take;
    let rate_hz = f64::from(take.sample_rate_hz());
    let echo = echo(
        playback.samples(),
        take.source(),
        followed,
        rate_hz,
        AFTER_S.0,
        AFTER_S.1,
    )?;
    let repeats = echo.level_db < REPEATS_ABOVE_DB
        || echo
            .next_db
            .is_none_or(|next_db| next_db > 2.0 * echo.level_db - REPEATS_WITHIN_DB);
    (echo.level_db > ECHO_DB && repeats).then_some(echo)
}
