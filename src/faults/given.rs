//! A recording against the stimulus that was played, where somebody gave it.

use super::playback::{PlaybackCheck, playback_check};
use super::recording::Expected;
use super::statistics::median;
use crate::capture::{Playback, Recorded};
use crate::finding::{Code, Finding, Severity};
use crate::recording::Take;
use crate::signal::{follow, resampled};

/// Clocks of playback and recording differ by less than this, parts per million (common practice, no source: crystals are within
/// 100, cheap ones within 300). More is another rate.
const CLOCKS_PPM: f64 = 1000.0;
/// Rates of the world, Hz: recordings whose header is wrong were made at one and are labelled with another.
const RATES_HZ: [f64; 9] = [
    8_000.0, 16_000.0, 22_050.0, 32_000.0, 44_100.0, 48_000.0, 88_200.0, 96_000.0, 192_000.0,
];
/// At a rate that is the right one, the stimulus explains this much of the median window.
const EXPLAINED: f64 = 0.9;
/// And this share of the windows is found.
const FOUND_SHARE: f64 = 0.6;
/// A copy differs from the stimulus by rounding alone: this many steps of the coarser of both.
const COPY_STEPS: f64 = 1.5;

/// A stimulus that was played.
#[derive(Clone, Debug, PartialEq)]
pub struct Played {
    /// Samples, full scale ±1, silence included.
    pub samples: Vec<f32>,
    /// Sample rate, Hz; not zero.
    pub sample_rate_hz: u32,
}

/// Findings about a take of which the stimulus is known. The recording may begin at any time and have another sample rate than the
/// stimulus; what lies above the lower of both half rates is then not looked at.
pub(super) fn given_findings(
    name: &str,
    take: &Take,
    played: &Played,
    expected: Expected,
) -> Vec<Finding> {
    let rate_hz = f64::from(take.sample_rate_hz());
    let ratio = rate_hz / f64::from(played.sample_rate_hz);
    let converted = ratio != 1.0;
    let samples = if converted {
        resampled(&played.samples, ratio)
    } else {
        played.samples.clone()
    };
    if !converted && let Some(which) = copied(&samples, take) {
        return vec![copy(name, which)];
    }
    let Some(check) = laid(name, take, &samples, expected) else {
        return vec![];
    };
    if let Some(drift_ppm) = check.drift_ppm.filter(|ppm| ppm.abs() > CLOCKS_PPM) {
        let factor = 1.0 - 1e-6 * drift_ppm;
        // Lost frames lean the delays as well, on the average. With the factor in place, those of a wrong rate lie straight.
        let straight = || laid(name, take, &resampled(&samples, 1.0 / factor), expected);
        if !has(&check, Code::FramesLost)
            || straight().is_none_or(|check| !has(&check, Code::FramesLost))
        {
            return vec![wrong_rate(name, rate_hz, factor)];
        }
    }
    if has(&check, Code::PlaybackAbsent)
        && let Some(stretch) = stretch_of(&samples, take.source(), rate_hz)
    {
        return vec![wrong_rate(name, rate_hz, 1.0 / stretch)];
    }
    let mut findings = check.findings;
    if converted {
        // Whoever changed the rate on purpose took the top with it.
        findings.retain(|finding| finding.code != Code::Resampled);
    }
    findings
}

/// The recording against a stimulus at its own rate; `None` for one that begins with a step, which was played all the same, but cannot be
/// followed as one of ours.
fn laid(name: &str, take: &Take, samples: &[f32], expected: Expected) -> Option<PlaybackCheck> {
    let stimulus: Vec<f64> = samples.iter().map(|&v| f64::from(v)).collect();
    let playback = Playback::new(&stimulus, take.sample_rate_hz(), 0.0).ok()?;
    let recorded = Recorded {
        take: take.clone(),
        n_reported_losses: 0,
    };
    Some(playback_check(name, &playback, &recorded, expected))
}

fn has(check: &PlaybackCheck, code: Code) -> bool {
    check.findings.iter().any(|finding| finding.code == code)
}

/// By how much longer the recording is than what was played, if one of the usual mistakes explains it.
fn stretch_of(played: &[f32], source: &[f32], rate_hz: f64) -> Option<f64> {
    let mut stretches: Vec<f64> = vec![];
    for a in RATES_HZ {
        for b in RATES_HZ {
            let stretch = a / b;
            let known = stretches.iter().any(|s| (s / stretch - 1.0).abs() < 1e-6);
            if a != b && !known && (0.3..3.2).contains(&stretch) {
                stretches.push(stretch);
            }
        }
    }
    stretches.into_iter().find(|&stretch| {
        let followed = follow(&resampled(played, stretch), source, rate_hz);
        let asked: Vec<_> = followed
            .windows
            .iter()
            .filter(|w| w.frequency_hz > 100.0 && w.frequency_hz < 0.3 * rate_hz)
            .collect();
        let n_found = asked.iter().filter(|w| w.delay_frames.is_some()).count();
        let mut explained: Vec<f64> = asked.iter().map(|w| w.explained).collect();
        n_found as f64 > FOUND_SHARE * asked.len() as f64
            && median(&mut explained).is_some_and(|explained| explained > EXPLAINED)
    })
}

/// Which channel is the stimulus itself, to the last bit but for a delay and a gain.
fn copied(played: &[f32], take: &Take) -> Option<&'static str> {
    [
        ("channel 1 (source)", take.source()),
        ("channel 2 (driver)", take.driver()),
    ]
    .into_iter()
    .find(|(_, samples)| is_copy(played, samples, f64::from(take.sample_rate_hz())))
    .map(|(what, _)| what)
}

fn is_copy(played: &[f32], recorded: &[f32], rate_hz: f64) -> bool {
    let Some(delay_frames) = follow(played, recorded, rate_hz).delay_frames else {
        return false;
    };
    let shift = delay_frames.round() as isize;
    let pairs = || {
        recorded.iter().enumerate().map(move |(i, &y)| {
            let x = usize::try_from(i as isize - shift)
                .ok()
                .and_then(|k| played.get(k))
                .copied()
                .unwrap_or(0.0);
            (f64::from(x), f64::from(y))
        })
    };
    let (mut xx, mut xy) = (0.0, 0.0);
    for (x, y) in pairs() {
        xx += x * x;
        xy += x * y;
    }
    if xx == 0.0 || xy == 0.0 {
        return false;
    }
    let gain = xy / xx;
    let steps = super::clipping::smallest_step(recorded)
        + gain.abs() * super::clipping::smallest_step(played);
    // Steps of samples without steps are the rounding of numbers.
    let limit = COPY_STEPS * if steps > 1e-6 { steps } else { 1e-6 };
    let limit = if limit < 2e-4 { limit } else { 2e-4 };
    pairs().all(|(x, y)| (y - gain * x).abs() <= limit)
}

fn copy(name: &str, which: &str) -> Finding {
    Finding::new(
        Code::PlaybackCopied,
        Severity::Redo,
        format!("{which} is what was played, bit by bit: a digital copy, and no recording of the jig"),
        "choose the real input instead of the computer's own mix (\"stereo mix\", \"monitor of\", \"what you hear\"), and make \
         the take again",
    )
    .about(name)
}

fn wrong_rate(name: &str, rate_hz: f64, factor: f64) -> Finding {
    Finding::new(
        Code::WrongRate,
        Severity::Redo,
        format!(
            "the recording runs {:.4} times as fast as what was played: its header states {:.1} kHz, but it was made at about \
             {:.1} kHz",
            factor,
            1e-3 * rate_hz,
            1e-3 * rate_hz / factor
        ),
        "record again and save the file as it is; do not change its sample rate by hand, and set recorder and computer to one rate",
    )
    .with_evidence(factor, "1", Some(1.0 + 1e-6 * CLOCKS_PPM))
    .about(name)
}
