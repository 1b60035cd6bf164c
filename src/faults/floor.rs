//! What the noise floor tells: lossy coding, gates, gain that is turned up and down.
//!
//! The noise of an honest recording is the same before, under and after the stimulus, close to the wave that sounds and far from
//! it. A lossy codec leaves out bands of it and puts its own beside the wave; a gate takes it away in the silence; automatic gain
//! turns it up there.

use std::ops::Range;

use super::extent::Extent;
use super::facts::Facts;
use super::flattened::is_flattened;
use super::statistics::median;
use crate::finding::{Code, Finding, Severity};
use crate::recording::Take;
use crate::signal::{FloorFrame, noise_floor};

/// Noise beside the wave over the noise elsewhere, dB: without a codec the two are the same within 1 dB, with an output that is overdriven
/// within 3 dB.
const FOLLOWS_DB: f64 = 6.0;
/// Depth of the emptiest band below the median one, dB: an input's noise is flat within 1 to 2 dB (common practice, no source), and
/// harmonics of an overdriven output lift the median by up to 5 dB.
const HOLE_DB: f64 = 7.0;
/// Noise in the silence below that under the stimulus, dB: a gate of a few dB already turns the quiet ends down.
const GATED_DB: f64 = 5.0;
/// Noise in the silence over that under the stimulus, dB: the gain was turned down when the stimulus came.
const TURNED_DB: f64 = 1.5;
/// Noise under the stimulus at its largest over its smallest, dB: of honest takes of two seconds one in two hundred gets to 2.
const WANDERS_DB: f64 = 3.0;
/// The same in standard uncertainties of the difference: short sweeps leave few frames to a part, and of six parts the largest and the smallest
/// are looked at.
const WANDERS_SIGMA: f64 = 5.0;
/// Beyond this it is no chance, dB, however much the frames scatter: a gain that is turned quickly scatters them too.
const WANDERS_MOST_DB: f64 = 6.0;
/// A channel whose noise rises by less than this under the stimulus is steady, dB.
const STEADY_DB: f64 = 1.0;
/// The driver heard through the source's own impedance: so much weaker in power and against the noise than in its own channel. Across
/// the driver the source's impedance may be half the sense resistor's, across the resistor a third of it.
const HEARD_AT_THE_SOURCE: f64 = 0.12;
const FAINTER_DB: f64 = 6.0;
/// Noise has to stand this far above what rounding to the steps of the samples makes before it tells anything.
const ABOVE_ROUNDING: f64 = 2.5;
/// No input is quieter than this, −130 dBFS as a variance: what lies below is the arithmetic of whoever made the samples.
const LEAST_NOISE: f64 = 1e-13;
/// Frames of a stretch before its floor counts.
const FEWEST_FRAMES: usize = 5;
/// Parts of the stimulus whose floors are compared.
const N_PARTS: usize = 6;
/// Bands of a frame before their median counts.
const FEWEST_BANDS: usize = 6;

/// Floors of one channel, as variances relative to full scale squared.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct ChannelFloor {
    /// Bands of the silence before and after.
    silence: Option<Vec<f64>>,
    /// Median over the bands of each silence.
    quiet: [Option<f64>; 2],
    /// Bands under the stimulus.
    under: Vec<Option<f64>>,
    /// Median over the bands, of parts of the stimulus.
    parts: Vec<f64>,
    /// Relative standard uncertainty of one of these.
    parts_doubt: f64,
    /// Beside the wave, over the larger of the floors under the stimulus and in the silence.
    follows: Option<f64>,
    /// Beside the wave.
    near: Option<f64>,
    /// What rounding makes.
    rounding: f64,
}

/// By how much a channel is noisier under the stimulus than in the silence.
struct Rise {
    rise_db: f64,
    /// Variance.
    by: f64,
}

/// What the noise floor tells.
pub(super) struct FloorSays {
    /// At most one finding, the most telling.
    pub finding: Option<Finding>,
    /// Whether it may as well come from what happened once during the stimulus: a step, a gap.
    pub from_one_event: bool,
}

impl FloorSays {
    /// The finding, unless something that happened once explains it.
    pub fn unless_explained_by(self, laid: &[Finding]) -> Option<Finding> {
        let explained = self.from_one_event && !laid.is_empty();
        self.finding.filter(|_| !explained)
    }
}

/// Judges the noise floor.
pub(super) fn floor_says(name: &str, take: &Take, facts: &Facts) -> FloorSays {
    let nothing = FloorSays {
        finding: None,
        from_one_event: false,
    };
    let rate_hz = f64::from(take.sample_rate_hz());
    let extent = &facts.extent;
    let frames = noise_floor(take.source(), take.driver(), rate_hz, &extent.sounding);
    let Some(size) = frames.first().map(|first| first.n_frames) else {
        return nothing;
    };
    let channels =
        [0, 1].map(|c: usize| ChannelFloor::of(&frames, c, extent, size, facts.channels[c].step));
    let judged = [lossy as fn(&ChannelFloor) -> Option<Sign>, gated, turned];
    for judge in judged {
        let signs: Vec<(usize, Sign)> = channels
            .iter()
            .enumerate()
            .filter_map(|(c, floor)| Some((c, judge(floor)?)))
            // Noise that rises and falls in the driver channel alone is the driver's, unless the source channel is too quiet to
            // show any; noise that falls below that of the silence is not.
            .filter(|(c, sign)| {
                *c == 0
                    || sign.code != Code::GainControl
                    || channels[0].is_mute()
                    || channels[1].falls()
            })
            .collect();
        if let Some((channel, sign)) = signs.first() {
            if is_of_the_driver(&channels) || is_flattened(take.source(), rate_hz) {
                // What it covers cannot be told; what is missing in the silence can.
                let missing = channels.iter().map(|floor| hole(floor, &floor.silence));
                let found = missing.enumerate().find_map(|(c, sign)| Some((c, sign?)));
                return FloorSays {
                    finding: found.map(|(channel, sign)| sign.finding(name, channel)),
                    from_one_event: false,
                };
            }
            return FloorSays {
                finding: Some(sign.finding(name, *channel)),
                from_one_event: sign.code == Code::GainControl
                    && [true, false]
                        .into_iter()
                        .any(|start| channels.iter().all(|floor| floor.goes_on(start))),
            };
        }
    }
    nothing
}

/// What a channel's floor shows.
struct Sign {
    code: Code,
    what: &'static str,
    value_db: f64,
    limit_db: f64,
}

impl Sign {
    fn finding(&self, name: &str, channel: usize) -> Finding {
        let which = ["channel 1 (source)", "channel 2 (driver)"][channel];
        let advice = match self.code {
            Code::LossyCoding => {
                "send the WAV or FLAC file itself, as a document or in a ZIP, not as a voice message or through a messenger that \
                 makes sound files smaller"
            }
            Code::Gated => {
                "turn off noise suppression, echo cancelling, gates and \"voice\" modes of the recorder or the system, then make \
                 the take again"
            }
            _ => {
                "turn off automatic gain (AGC, ALC, \"auto level\") in the recorder or the system, set the level by hand, then make \
                 the take again"
            }
        };
        Finding::new(
            self.code,
            Severity::Redo,
            format!("{which}: {} ({:.0} dB)", self.what, self.value_db),
            advice,
        )
        .with_evidence(self.value_db, "dB", Some(self.limit_db))
        .about(name)
    }
}

/// Whether what sounds beside the wave comes from the driver: it rubs, buzzes or distorts. Codecs, gates and automatic gain work on
/// the source channel as much as on the driver's; there the driver is heard through the source's own impedance at most.
fn is_of_the_driver([source, driver]: &[ChannelFloor; 2]) -> bool {
    // A driver adds noise and never takes it away.
    if source.falls() || driver.falls() {
        return false;
    }
    let Some((source, driver)) = source.rise().zip(driver.rise()) else {
        return false;
    };
    let steady = source.rise_db < STEADY_DB;
    let faint =
        driver.rise_db > source.rise_db + FAINTER_DB && source.by < HEARD_AT_THE_SOURCE * driver.by;
    driver.rise_db > TURNED_DB && (steady || faint)
}

fn lossy(floor: &ChannelFloor) -> Option<Sign> {
    if let Some(follows_db) = floor.follows.map(db).filter(|&db| db > FOLLOWS_DB) {
        return Some(Sign {
            code: Code::LossyCoding,
            what: "noise follows the wave that sounds, as a lossy codec makes it",
            value_db: follows_db,
            limit_db: FOLLOWS_DB,
        });
    }
    let under: Vec<f64> = floor.under.iter().copied().flatten().collect();
    [hole(floor, &floor.silence), hole(floor, &Some(under))]
        .into_iter()
        .flatten()
        .max_by(|a, b| a.value_db.total_cmp(&b.value_db))
}

/// Bands that are missing.
fn hole(floor: &ChannelFloor, bands: &Option<Vec<f64>>) -> Option<Sign> {
    let hole_db = floor.hole_db(bands.as_ref()?)?;
    (hole_db > HOLE_DB).then_some(Sign {
        code: Code::LossyCoding,
        what: "parts of the noise are missing, as a lossy codec leaves them out",
        value_db: hole_db,
        limit_db: HOLE_DB,
    })
}

fn gated(floor: &ChannelFloor) -> Option<Sign> {
    let under = floor
        .under_median()
        .filter(|&v| v > ABOVE_ROUNDING * floor.rounding)?;
    let quietest = floor
        .quiet
        .iter()
        .flatten()
        .copied()
        .min_by(f64::total_cmp)?;
    // A silence of zeros is as far down as rounding goes.
    let quietest = if quietest > 0.1 * floor.rounding && quietest > 0.0 {
        quietest
    } else {
        0.1 * floor.rounding + 1e-15
    };
    let value_db = db(under / quietest);
    (value_db > GATED_DB).then_some(Sign {
        code: Code::Gated,
        what: "the noise is turned down where nothing plays, so quiet sound is as well",
        value_db,
        limit_db: GATED_DB,
    })
}

fn turned(floor: &ChannelFloor) -> Option<Sign> {
    let under = floor.under_median().filter(|&v| v > 0.0)?;
    let loudest = floor.quiet.iter().flatten().copied().max_by(f64::total_cmp);
    let sign = |what, value_db, limit_db| Sign {
        code: Code::GainControl,
        what,
        value_db,
        limit_db,
    };
    if let Some(rise_db) = loudest
        .map(|quiet| db(quiet / under))
        .filter(|&v| v > TURNED_DB)
    {
        let what = "the noise is louder where nothing plays: the gain was turned down while the stimulus played";
        return Some(sign(what, rise_db, TURNED_DB));
    }
    let lowest = floor.parts.iter().copied().min_by(f64::total_cmp)?;
    let highest = floor.parts.iter().copied().max_by(f64::total_cmp)?;
    let wanders_db = db(highest / lowest);
    let tells = lowest > ABOVE_ROUNDING * floor.rounding;
    let chance_db = db((WANDERS_SIGMA * std::f64::consts::SQRT_2 * floor.parts_doubt).exp());
    let limit_db = if chance_db.is_finite() {
        chance_db.clamp(WANDERS_DB, WANDERS_MOST_DB)
    } else {
        WANDERS_DB
    };
    (tells && wanders_db > limit_db).then(|| {
        let what =
            "the noise rises and falls while the stimulus plays: the gain is turned up and down";
        sign(what, wanders_db, limit_db)
    })
}

/// A normal scatter's standard deviation over the median distance from its middle.
const OVER_MEDIAN_DISTANCE: f64 = 1.4826;

/// Relative standard uncertainty of a part's median, from how its frames scatter around it; a median scatters √(π/2) times as much as a mean.
fn doubt_of_medians(parts: &[(f64, Vec<f64>)]) -> f64 {
    let away = parts.iter().flat_map(|(middle, of_frames)| {
        of_frames
            .iter()
            .filter(|v| **v > 0.0 && *middle > 0.0)
            .map(move |v| (v / middle).ln().abs())
    });
    let fewest = parts.iter().map(|(_, of_frames)| of_frames.len()).min();
    let scatter = OVER_MEDIAN_DISTANCE * median(&mut away.collect::<Vec<f64>>()).unwrap_or(0.0);
    let n = fewest.unwrap_or(1).max(1) as f64;
    std::f64::consts::FRAC_PI_2.sqrt() * scatter / n.sqrt()
}

fn db(ratio: f64) -> f64 {
    10.0 * ratio.log10()
}

impl ChannelFloor {
    fn of(frames: &[FloorFrame], channel: usize, extent: &Extent, size: usize, step: f64) -> Self {
        let n_bands = frames.first().map_or(0, |frame| frame.bands[channel].len());
        let inside = |part: &Range<usize>| -> Vec<&FloorFrame> {
            frames
                .iter()
                .filter(|f| f.start >= part.start && f.start + size <= part.end)
                .collect()
        };
        let means = |frames: &[&FloorFrame]| -> Vec<Option<f64>> {
            (0..n_bands)
                .map(|i| {
                    let known: Vec<f64> =
                        frames.iter().filter_map(|f| f.bands[channel][i]).collect();
                    (known.len() >= FEWEST_FRAMES)
                        .then(|| known.iter().sum::<f64>() / known.len() as f64)
                })
                .collect()
        };
        let middle = |bands: &[Option<f64>]| {
            let mut known: Vec<f64> = bands.iter().copied().flatten().collect();
            (known.len() >= FEWEST_BANDS)
                .then(|| median(&mut known))
                .flatten()
        };
        let silences = [&extent.before, &extent.after].map(inside);
        let quiet = [0, 1].map(|i: usize| middle(&means(&silences[i])));
        let silence: Vec<Option<f64>> = means(&silences.concat());
        // The stimulus's own start and end splash over a frame or two.
        let under = inside(
            &(extent.sounding.start + 2 * size..extent.sounding.end.saturating_sub(2 * size)),
        );
        let tellable: Vec<&FloorFrame> = under
            .into_iter()
            .filter(|f| f.bands[channel].iter().flatten().count() >= FEWEST_BANDS)
            .collect();
        // Single frames with a click do not count.
        let medians: Vec<Option<f64>> = (0..n_bands)
            .map(|i| {
                let mut known: Vec<f64> = tellable
                    .iter()
                    .filter_map(|f| f.bands[channel][i])
                    .collect();
                (known.len() >= FEWEST_FRAMES)
                    .then(|| median(&mut known))
                    .flatten()
            })
            .collect();
        let part = tellable.len().div_ceil(N_PARTS).max(FEWEST_FRAMES);
        let of_parts: Vec<(f64, Vec<f64>)> = tellable
            .chunks(part)
            .filter(|frames| frames.len() >= FEWEST_FRAMES)
            .filter_map(|frames| {
                let of_frames: Vec<f64> = frames
                    .iter()
                    .filter_map(|f| middle(&f.bands[channel]))
                    .collect();
                Some((median(&mut of_frames.clone())?, of_frames))
            })
            .collect();
        let parts_doubt = doubt_of_medians(&of_parts);
        let parts = of_parts.into_iter().map(|(middle, _)| middle).collect();
        let of_steps = step * step / 12.0;
        let rounding = if of_steps > LEAST_NOISE {
            of_steps
        } else {
            LEAST_NOISE
        };
        let elsewhere = [middle(&medians), quiet[0], quiet[1], Some(2.0 * rounding)]
            .into_iter()
            .flatten()
            .max_by(f64::total_cmp);
        let mut near: Vec<f64> = tellable.iter().filter_map(|f| f.near[channel]).collect();
        let near = (near.len() >= FEWEST_FRAMES)
            .then(|| median(&mut near))
            .flatten();
        let follows = near
            .zip(elsewhere)
            .map(|(near, elsewhere)| near / elsewhere)
            .filter(|ratio| ratio.is_finite());
        Self {
            silence: silence.into_iter().collect(),
            quiet,
            under: medians,
            parts,
            parts_doubt,
            follows,
            near,
            rounding,
        }
    }

    /// From the silence to where the stimulus is noisiest; without silence, from where it is quietest.
    fn rise(&self) -> Option<Rise> {
        let all = self.under_median().into_iter().chain(self.near);
        let loudest = all
            .chain(self.parts.iter().copied())
            .max_by(f64::total_cmp)?;
        let quiet = self.quiet.iter().flatten().copied().max_by(f64::total_cmp);
        let quiet = quiet.or_else(|| self.parts.iter().copied().min_by(f64::total_cmp))?;
        let rounding = 2.0 * self.rounding;
        Some(Rise {
            rise_db: db((loudest + rounding) / (quiet + rounding)),
            by: loudest - quiet,
        })
    }

    /// Whether the noise before the stimulus goes on under its first part, or that of its last part after it. A gain that is turned
    /// by what plays is turned at both ends.
    fn goes_on(&self, at_start: bool) -> bool {
        let (quiet, part) = if at_start {
            (self.quiet[0], self.parts.first())
        } else {
            (self.quiet[1], self.parts.last())
        };
        quiet.zip(part.copied()).is_some_and(|(quiet, part)| {
            let rounding = 2.0 * self.rounding;
            (db((quiet + rounding) / (part + rounding))).abs() < TURNED_DB
        })
    }

    /// Whether it is quieter under the stimulus than in the silence.
    fn falls(&self) -> bool {
        let loudest = self.quiet.iter().flatten().copied().max_by(f64::total_cmp);
        self.under_median()
            .zip(loudest)
            .is_some_and(|(under, quiet)| under > 0.0 && db(quiet / under) > TURNED_DB)
    }

    /// Whether rounding alone makes the floor under the stimulus.
    fn is_mute(&self) -> bool {
        self.under_median()
            .is_none_or(|under| under <= ABOVE_ROUNDING * self.rounding)
    }

    fn under_median(&self) -> Option<f64> {
        median(&mut self.under.iter().copied().flatten().collect::<Vec<f64>>())
    }

    /// How far the emptiest band lies below the median one, dB; `None` where rounding alone makes the floor.
    fn hole_db(&self, bands: &[f64]) -> Option<f64> {
        let middle = median(&mut bands.to_vec())?;
        let lowest = bands.iter().copied().min_by(f64::total_cmp)?;
        let tells = bands.len() >= FEWEST_BANDS && middle > ABOVE_ROUNDING * self.rounding;
        (tells && lowest > 0.0).then(|| db(middle / lowest))
    }
}
