//! From readings to the next level.

use super::reading::{Limitation, Reading};

/// What is wanted, and what must not be exceeded.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Goal {
    /// Relative standard uncertainty that the full take shall give.
    pub relative_uncertainty: f64,
    /// How much longer the full take's sounding part is than a burst's.
    pub full_over_burst: f64,
    /// First level, dBFS.
    pub start_dbfs: f64,
    /// Never above this, dBFS.
    pub ceiling_dbfs: f64,
    /// Peak volts across the driver at its impedance peak that are never exceeded.
    pub driver_peak_v: f64,
    /// Peak volts of the output at full scale, assumed or known: what bounds a level where no input is calibrated in volts.
    pub output_full_scale_v: Option<f64>,
}

impl Goal {
    /// First level: far below what harms even behind a power amplifier (−60 dBFS of an amplifier that delivers 30 V is 30 mV).
    pub const START_DBFS: f64 = -60.0;
    /// At most this across the driver at its impedance peak, V: small-signal for every driver of the trade (common practice,
    /// no source).
    pub const DRIVER_PEAK_V: f64 = 0.3;
    /// Twice this is the 95 % interval that is wanted of fs and Qts from noise alone. What is typed is doubted more than that.
    pub const RELATIVE_UNCERTAINTY: f64 = 0.001;
    /// The same of each point of a calibration's channel ratio: whatever is off there is off in every take, and leads of
    /// 0.05 ohm are a thousandth of what channel 1 holds.
    pub const CALIBRATION_UNCERTAINTY: f64 = 0.000_2;
    /// Peak volts at full scale of a headphone or line output of 2 V RMS, where nobody measured it (common practice, no
    /// source; balanced studio outputs deliver more, which is why the voltage is asked for behind an amplifier).
    pub const LINE_OUTPUT_PEAK_V: f64 = 2.83;
}

/// Inputs are not driven above this peak, dBFS.
pub const INPUT_PEAK_DBFS: f64 = -6.0;
/// Largest step, dB: a factor of four shows enough of what comes, and a wrong guess at the noise cannot run away.
const LARGEST_STEP_DB: f64 = 12.0;
/// Smallest step worth a burst, dB.
const SMALLEST_STEP_DB: f64 = 2.0;
/// On top of what is missing, dB: the uncertainty of a burst is known to a tenth itself, and a burst that just misses is
/// followed by another.
const MARGIN_DB: f64 = 1.0;
/// Back from a level that strained something, dB.
const STEP_BACK_DB: f64 = 6.0;

/// What ended the search.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub enum Limit {
    /// The wanted uncertainty.
    Served,
    /// The ceiling of the output.
    Ceiling,
    /// The voltage across the driver.
    DriverVolts,
    /// The peak of an input.
    InputPeak,
    /// Clipping, an output that gave in, or distortion, at the level before.
    Strain(Limitation),
}

/// The level to use.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Chosen {
    /// Peak level to play, dBFS.
    pub playback_dbfs: f64,
    /// Relative standard uncertainty expected of the full take; `None` if no burst could tell.
    pub relative_uncertainty: Option<f64>,
    /// Peak volts expected across the driver at its impedance peak; `None` if the input is not calibrated in volts.
    pub driver_peak_v: Option<f64>,
    /// Why not louder.
    pub limit: Limit,
}

/// What to do next.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Next {
    /// Play a burst at this peak level, dBFS.
    Burst(f64),
    /// The search is over.
    Use(Chosen),
}

/// The search.
#[derive(Clone, Debug)]
pub struct Seek {
    goal: Goal,
    last: Option<Reading>,
    next: Next,
}

impl Seek {
    /// Starts at the goal's first level, or at the ceiling if that is lower.
    pub fn new(goal: Goal) -> Self {
        let start = least(goal.start_dbfs, goal.ceiling_dbfs);
        Self {
            goal,
            last: None,
            next: Next::Burst(start),
        }
    }

    /// What to do next.
    pub fn next(&self) -> Next {
        self.next
    }

    /// Takes note of the burst that [`Seek::next`] asked for. A reading after the search is over changes nothing.
    pub fn saw(&mut self, reading: Reading) {
        if let Next::Burst(_) = self.next {
            self.next = self.after(&reading);
            self.last = Some(reading);
        }
    }

    fn after(&self, reading: &Reading) -> Next {
        let level = reading.playback_dbfs;
        if let Some(strain) = reading.strained {
            // The level before showed no strain; without one, below the very first.
            let back = self
                .last
                .as_ref()
                .map_or(level - STEP_BACK_DB, |last| last.playback_dbfs);
            return self.use_level(
                least(back, level - STEP_BACK_DB),
                reading,
                Limit::Strain(strain),
            );
        }
        let (bound, limit) = self.bound(reading);
        let expected = reading
            .relative_uncertainty
            .map(|u| u / self.goal.full_over_burst.sqrt());
        if expected.is_some_and(|u| u <= self.goal.relative_uncertainty) && level <= bound {
            return self.use_level(level, reading, Limit::Served);
        }
        // Noise stays while the signal grows: twice the level, half the uncertainty, (N2).
        let wanted = expected.map_or(LARGEST_STEP_DB, |u| {
            20.0 * (u / self.goal.relative_uncertainty).log10() + MARGIN_DB
        });
        let step = wanted.clamp(SMALLEST_STEP_DB, LARGEST_STEP_DB);
        let next = least(level + step, bound);
        if next < level + SMALLEST_STEP_DB {
            return self.use_level(least(level, bound), reading, limit);
        }
        Next::Burst(next)
    }

    /// The highest level that this reading allows, (N3), and what sets it.
    fn bound(&self, reading: &Reading) -> (f64, Limit) {
        let level = reading.playback_dbfs;
        let mut bounds = vec![
            (self.goal.ceiling_dbfs, Limit::Ceiling),
            (
                level + INPUT_PEAK_DBFS - reading.input_peak_dbfs,
                Limit::InputPeak,
            ),
        ];
        // Until the driver's share is known, all of the source's voltage counts as the driver's.
        let share = reading.driver.map_or(1.0, |driver| driver.share);
        let measured = reading.driver.and_then(|driver| driver.peak_v);
        if let Some(peak_v) = measured {
            let db = 20.0 * (self.goal.driver_peak_v / peak_v).log10();
            bounds.push((level + db, Limit::DriverVolts));
        } else if let Some(full_scale_v) = self.goal.output_full_scale_v {
            let db = 20.0 * (self.goal.driver_peak_v / (share * full_scale_v)).log10();
            bounds.push((db, Limit::DriverVolts));
        }
        bounds
            .into_iter()
            .min_by(|a, b| a.0.total_cmp(&b.0))
            .unwrap_or((self.goal.ceiling_dbfs, Limit::Ceiling))
    }

    fn use_level(&self, playback_dbfs: f64, reading: &Reading, limit: Limit) -> Next {
        let higher = 10f64.powf((playback_dbfs - reading.playback_dbfs) / 20.0);
        Next::Use(Chosen {
            playback_dbfs,
            relative_uncertainty: reading
                .relative_uncertainty
                .map(|u| u / self.goal.full_over_burst.sqrt() / higher),
            driver_peak_v: reading
                .driver
                .and_then(|driver| driver.peak_v)
                .map(|v| v * higher),
            limit,
        })
    }
}

fn least(a: f64, b: f64) -> f64 {
    if a < b { a } else { b }
}

#[cfg(test)]
mod tests;
