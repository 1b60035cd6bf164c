//! What one burst shows.

use crate::fit::{Choice, Observation, fit_by_noise, resonance};
use crate::impedance::from_ratio;
use crate::jig::{Corrections, Jig};
use crate::parameters::{Readout, readout};
use crate::progress::Unwatched;
use crate::recording::Take;
use crate::signal::{ChannelRatio, RatioSettings, channel_ratio};

/// The jig as far as it is known while the level is sought: nominal values do.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BurstJig {
    /// Nominal values; leads and loads left out.
    pub jig: Jig,
    /// Lowest and highest frequency of the burst, Hz.
    pub band_hz: (f64, f64),
    /// Peak volts at the source input's full scale; `None` where nobody measured it.
    pub input_full_scale_v: Option<f64>,
}

/// The voltage across the driver at its impedance peak.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DriverVolts {
    /// Its peak value relative to the source node's, 0 to 1.
    pub share: f64,
    /// Its peak value, V; `None` if the input is not calibrated in volts.
    pub peak_v: Option<f64>,
}

/// What one burst showed.
#[derive(Clone, Debug, PartialEq)]
pub struct Reading {
    /// Peak level that was played, dBFS.
    pub playback_dbfs: f64,
    /// Peak of the recording, source channel, dBFS.
    pub source_peak_dbfs: f64,
    /// Peak of the recording, louder channel, dBFS.
    pub input_peak_dbfs: f64,
    /// Relative standard uncertainty that one such burst gives; `None` if it was too noisy to say.
    pub relative_uncertainty: Option<f64>,
    /// The driver's voltage; `None` if no impedance could be read.
    pub driver: Option<DriverVolts>,
    /// The driver as this burst sees it; `None` for a calibration, or if nothing could be fitted.
    pub readout: Option<Readout>,
    /// Whether an input clipped, the output gave in, or the driver left its small-signal range.
    pub strained: Option<Limitation>,
}

/// What speaks against going louder, or against this level already.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Limitation {
    /// An input clipped.
    Clipped,
    /// The output delivered less than it should.
    OutputGaveIn,
    /// The driver distorts.
    Distorted,
}

/// Reads a burst with a driver on the jig, (N1): the uncertainty is the larger one of fs and Qts.
pub fn read_burst(take: &Take, playback_dbfs: f64, burst: &BurstJig) -> Reading {
    let mut reading = peaks(take, playback_dbfs);
    let Some(curve) = ratio_of(take, burst, false)
        .and_then(|ratio| from_ratio(&ratio, &burst.jig, &Corrections::default()))
    else {
        return reading;
    };
    let share = resonance(&curve).and_then(|seen| {
        let near = |f_hz: f64| (f_hz / seen.fs_hz).ln().abs() < std::f64::consts::LN_2;
        let points = curve.frequency_hz().iter().zip(curve.z_ohm());
        points
            .filter(|(f_hz, _)| near(**f_hz))
            .map(|(_, z)| (z / (z + burst.jig.sense_ohm)).norm())
            .max_by(f64::total_cmp)
    });
    reading.driver = share.map(|share| DriverVolts {
        share,
        peak_v: burst
            .input_full_scale_v
            .map(|full_scale_v| share * full_scale_v * from_db(reading.source_peak_dbfs)),
    });
    let observation = Observation::free("burst", curve);
    let choice = Choice {
        creep: false,
        ..Choice::default()
    };
    if let Ok(fit) = fit_by_noise(&[observation], &choice) {
        let seen = readout(fit.best());
        let relative = |estimate: crate::quantity::Estimate| {
            estimate
                .standard_uncertainty
                .map(|u| u / estimate.value)
                .filter(|u| u.is_finite())
        };
        reading.relative_uncertainty = match (relative(seen.fs_hz), relative(seen.qts)) {
            (Some(fs), Some(qts)) => Some(if fs > qts { fs } else { qts }),
            _ => None,
        };
        reading.readout = Some(seen);
    }
    reading
}

/// Reads a burst without a driver: the uncertainty is the middle one of the ratio over the band, relative to channel 1, since
/// channel 2 may legitimately hold next to nothing.
pub fn read_calibration_burst(take: &Take, playback_dbfs: f64, burst: &BurstJig) -> Reading {
    let mut reading = peaks(take, playback_dbfs);
    reading.relative_uncertainty = ratio_of(take, burst, true).and_then(|ratio| {
        let mut relative: Vec<f64> = ratio
            .covariance
            .iter()
            .map(|c| ((c.re_re + c.im_im) / 2.0).sqrt())
            .filter(|u| u.is_finite())
            .collect();
        if relative.is_empty() {
            return None;
        }
        let middle = relative.len() / 2;
        let (_, median, _) = relative.select_nth_unstable_by(middle, f64::total_cmp);
        Some(*median)
    });
    reading
}

fn peaks(take: &Take, playback_dbfs: f64) -> Reading {
    let (source, driver) = (peak_dbfs(take.source()), peak_dbfs(take.driver()));
    Reading {
        playback_dbfs,
        source_peak_dbfs: source,
        input_peak_dbfs: if source > driver { source } else { driver },
        relative_uncertainty: None,
        driver: None,
        readout: None,
        strained: None,
    }
}

fn ratio_of(take: &Take, burst: &BurstJig, may_vanish: bool) -> Option<ChannelRatio> {
    let rate_hz = f64::from(take.sample_rate_hz());
    let settings = RatioSettings {
        low_hz: burst.band_hz.0,
        high_hz: burst.band_hz.1,
        resolution_hz: RatioSettings::resolution_hz(take.n_frames(), rate_hz),
        may_vanish,
        left_out: vec![],
    };
    channel_ratio(
        take.source(),
        take.driver(),
        rate_hz,
        &settings,
        &mut Unwatched,
    )
    .ok()
}

fn peak_dbfs(samples: &[f32]) -> f64 {
    let peak = samples
        .iter()
        .fold(0.0, |m: f32, v| if v.abs() > m { v.abs() } else { m });
    20.0 * f64::from(peak).log10()
}

fn from_db(level_db: f64) -> f64 {
    10f64.powf(level_db / 20.0)
}
