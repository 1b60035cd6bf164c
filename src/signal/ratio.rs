//! The channel ratio H(f) = channel 2 / channel 1 with its covariance, for any stimulus.

use num_complex::Complex64;

use super::bands::{bins_between, edges_hz, excited_hz};
use super::noise::Noise;
use super::spectra::{Spectra, spectra};
use crate::progress::Watcher;
use crate::quantity::{Covariance2, FrequencyGrid};

/// Share of the curvature correction that is counted as its own doubt: its next order is 13 % of it, (S10).
const CORRECTION_DOUBT: f64 = 0.15;
/// A point whose relative standard uncertainty exceeds this says nothing that its neighbours do not say better, and
/// its value is biased by the noise in channel 1.
pub(super) const WORST_RELATIVE: f64 = 0.3;

/// Shortest take, s: it resolves 2 Hz, too coarse for a woofer but enough for a tweeter.
const SHORTEST_S: f64 = 0.5;

/// Why no ratio could be formed.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum SignalError {
    /// The take is too short to hold even one resolved band.
    #[error("the take is only {length_s} s long; at least 0.5 s is needed")]
    TooShort {
        /// Its length, s.
        length_s: f64,
    },
    /// The channels have different lengths.
    #[error("the channels have different lengths: {source_samples} and {driver_samples} samples")]
    Lengths {
        /// Samples in channel 1.
        source_samples: usize,
        /// Samples in channel 2.
        driver_samples: usize,
    },
    /// Nothing in the band rises above the noise.
    #[error("between {low_hz} Hz and {high_hz} Hz no signal rises above the noise")]
    NoSignal {
        /// Lowest frequency looked at, Hz.
        low_hz: f64,
        /// Highest frequency looked at, Hz.
        high_hz: f64,
    },
    /// The caller asked to stop.
    #[error("stopped on request")]
    Cancelled,
}

/// A narrow stretch of the spectrum that holds something foreign, such as a line of mains hum.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LeftOut {
    /// Its middle, Hz.
    pub frequency_hz: f64,
    /// How far it reaches to either side, Hz.
    pub half_width_hz: f64,
}

/// What part of the spectrum to use.
#[derive(Clone, Debug, PartialEq)]
pub struct RatioSettings {
    /// Lowest frequency, Hz.
    pub low_hz: f64,
    /// Highest frequency, Hz.
    pub high_hz: f64,
    /// Narrowest band, Hz. Takes that are to be combined share it: the widest [`RatioSettings::resolution_hz`] of them.
    pub resolution_hz: f64,
    /// Whether channel 2 may hold next to nothing, as with shorted leads: then a point counts by its uncertainty relative to
    /// channel 1, not to the ratio, since leaving out what noise makes small would bias the rest.
    pub may_vanish: bool,
    /// Stretches whose bins are used neither for the ratio nor for its noise. A band that loses more than half of its bins is
    /// left out altogether.
    pub left_out: Vec<LeftOut>,
}

impl RatioSettings {
    /// The narrowest band that a take of this length can resolve, Hz: one independent bin.
    pub fn resolution_hz(n_frames: usize, sample_rate_hz: f64) -> f64 {
        super::spectra::bin_width_hz(n_frames, sample_rate_hz)
    }
}

/// H = channel 2 / channel 1. All lists have the length of the grid.
#[derive(Clone, Debug, PartialEq)]
pub struct ChannelRatio {
    /// Frequencies, Hz.
    pub frequency: FrequencyGrid,
    /// H, dimensionless.
    pub h: Vec<Complex64>,
    /// Covariance of the real and imaginary part of H.
    pub covariance: Vec<Covariance2>,
}

/// One band's sums, reduced.
pub(super) struct Band {
    pub middle_hz: f64,
    pub width_hz: f64,
    /// Centroid and variance of frequency, weighted by |X1|².
    pub centroid_hz: f64,
    pub spread_hz2: f64,
    pub h: Complex64,
    /// Variance of each part of H.
    pub variance: f64,
}

/// Estimates H on bands of bins; see `docs/signal.md`, (S4) to (S10).
///
/// Works for any stimulus: sweeps with silence around them, multisines, noise. Neither the stimulus nor its timing is
/// needed. Bands without signal are left out.
///
/// # Errors
/// See [`SignalError`].
pub fn channel_ratio(
    source: &[f32],
    driver: &[f32],
    sample_rate_hz: f64,
    settings: &RatioSettings,
    watcher: &mut dyn Watcher,
) -> Result<ChannelRatio, SignalError> {
    if source.len() != driver.len() {
        return Err(SignalError::Lengths {
            source_samples: source.len(),
            driver_samples: driver.len(),
        });
    }
    let length_s = source.len() as f64 / sample_rate_hz;
    if length_s.is_nan() || length_s < SHORTEST_S {
        return Err(SignalError::TooShort { length_s });
    }
    let nothing = SignalError::NoSignal {
        low_hz: settings.low_hz,
        high_hz: settings.high_hz,
    };
    let usable =
        settings.low_hz > 0.0 && settings.high_hz > settings.low_hz && settings.resolution_hz > 0.0;
    if !usable || !settings.high_hz.is_finite() {
        return Err(nothing);
    }
    let mut spectra = spectra(source, driver, sample_rate_hz, watcher)?;
    spectra.leave_out(&settings.left_out);
    let spectra = spectra;
    let (low_hz, high_hz) =
        excited_hz(&spectra, settings.low_hz, settings.high_hz).ok_or(nothing.clone())?;
    let edges = edges_hz(settings.low_hz, settings.high_hz, settings.resolution_hz);
    let noise = Noise::of(&spectra, low_hz, high_hz);
    let bands: Vec<Band> = edges
        .windows(2)
        .filter(|pair| {
            pair[0] >= low_hz - settings.resolution_hz
                && pair[1] <= high_hz + settings.resolution_hz
        })
        .filter_map(|pair| reduce(&spectra, &noise, pair[0], pair[1], settings.may_vanish))
        .collect();
    let points = centred(&bands);
    let frequency =
        FrequencyGrid::new(points.iter().map(|p| p.0).collect()).map_err(|_| nothing)?;
    Ok(ChannelRatio {
        frequency,
        h: points.iter().map(|p| p.1).collect(),
        covariance: points.iter().map(|p| Covariance2::circular(p.2)).collect(),
    })
}

/// Sums of one band; `None` if it holds no bin, or no signal above the noise.
fn reduce(
    spectra: &Spectra,
    noise: &Noise,
    low_hz: f64,
    high_hz: f64,
    may_vanish: bool,
) -> Option<Band> {
    let (first, last) = bins_between(spectra, low_hz, high_hz);
    let n_kept = spectra.kept(first, last).count();
    if n_kept == 0 || 2 * n_kept < last - first {
        return None;
    }
    let noise = noise.around(first, last)?;
    let (mut s11, mut s12, mut moment1, mut moment2) = (0.0, Complex64::default(), 0.0, 0.0);
    let middle_hz = 0.5 * (low_hz + high_hz);
    for k in spectra.kept(first, last) {
        let offset_hz = k as f64 * spectra.bin_hz - middle_hz;
        s11 += spectra.s11[k];
        s12 += spectra.s12[k];
        moment1 += spectra.s11[k] * offset_hz;
        moment2 += spectra.s11[k] * offset_hz * offset_hz;
    }
    let rough = s12 / s11;
    // (S9): the residual holds the noise of both channels. Both inputs of one converter are taken as equally noisy;
    // channel 1's share would otherwise pull H towards zero.
    let own_noise = n_kept as f64 * spectra.n_blocks as f64 * noise / (1.0 + rough.norm_sqr());
    let signal = s11 - own_noise;
    let above_noise = signal > 0.5 * s11;
    if !above_noise {
        return None;
    }
    let h = s12 / signal;
    let variance = 0.5 * noise * spectra.inflation * s11 / (signal * signal);
    let relative_to = if may_vanish { 1.0 } else { h.norm_sqr() };
    let sure = 2.0 * variance <= WORST_RELATIVE * WORST_RELATIVE * relative_to;
    if !sure {
        return None;
    }
    let centroid_offset_hz = moment1 / s11;
    Some(Band {
        middle_hz,
        width_hz: high_hz - low_hz,
        centroid_hz: middle_hz + centroid_offset_hz,
        spread_hz2: moment2 / s11 - centroid_offset_hz * centroid_offset_hz,
        h,
        variance,
    })
}

/// Moves each band's mean to the value at its middle: formula (S10). A band with fewer than two neighbours stays at its
/// centroid, uncorrected.
pub(super) fn centred(bands: &[Band]) -> Vec<(f64, Complex64, f64)> {
    (0..bands.len())
        .map(|i| {
            let band = &bands[i];
            let Some((slope, curvature)) = local_shape(bands, i) else {
                return (band.centroid_hz, band.h, band.variance);
            };
            let shift_hz = band.middle_hz - band.centroid_hz;
            let bend = curvature * (0.5 * (shift_hz * shift_hz - band.spread_hz2));
            let doubt = CORRECTION_DOUBT * bend.norm();
            (
                band.middle_hz,
                band.h + slope * shift_hz + bend,
                band.variance + 0.5 * doubt * doubt,
            )
        })
        .collect()
}

/// Neighbours on either side that a band's shape is judged by. One would let the band's own noise into its correction
/// (and make the points' scatter 18 % larger than stated), three would blunt a sharp resonance.
const NEIGHBOURS: usize = 2;

/// Slope and second derivative of H at a band's centroid, by a parabola through it and its neighbours.
fn local_shape(bands: &[Band], i: usize) -> Option<(Complex64, Complex64)> {
    let band = &bands[i];
    // A gap (between the lines of a multisine, or where a line of hum was left out) makes the far side no neighbour.
    let gap = |a: &Band, b: &Band| b.middle_hz - a.middle_hz > 1.5 * b.width_hz;
    let mut first = i;
    while first > 0 && i - first < NEIGHBOURS && !gap(&bands[first - 1], &bands[first]) {
        first -= 1;
    }
    let mut last = i;
    while last + 1 < bands.len() && last - i < NEIGHBOURS && !gap(&bands[last], &bands[last + 1]) {
        last += 1;
    }
    // As many on either side; beside an end or a gap, what there is on one.
    let even = (i - first).min(last - i);
    if even > 0 {
        (first, last) = (i - even, i + even);
    }
    let near = &bands[first..=last];
    if near.len() < 3 {
        return None;
    }
    let mut moments = [0.0; 5];
    let mut right = [Complex64::default(); 3];
    for other in near {
        let x = (other.centroid_hz - band.centroid_hz) / band.width_hz;
        let mut power = 1.0;
        for (p, moment) in moments.iter_mut().enumerate() {
            *moment += power;
            if p < 3 {
                right[p] += other.h * power;
            }
            power *= x;
        }
    }
    let inverse = nalgebra::Matrix3::from_fn(|r, c| moments[r + c]).try_inverse()?;
    let row = |r: usize| {
        (0..3)
            .map(|c| right[c] * inverse[(r, c)])
            .sum::<Complex64>()
    };
    Some((
        row(1) / band.width_hz,
        row(2) * (2.0 / (band.width_hz * band.width_hz)),
    ))
}
