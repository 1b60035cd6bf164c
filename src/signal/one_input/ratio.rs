//! The ratio of the nodes on bands of lines, (O9).

use num_complex::Complex64;

use super::OneInput;
use super::blocks::Line;
use crate::quantity::{Covariance2, FrequencyGrid};
use crate::signal::bands::BAND_WIDTH;
use crate::signal::ratio::{Band, WORST_RELATIVE, centred};
use crate::signal::{ChannelRatio, RatioSettings, SignalError};

impl OneInput {
    /// The ratio of the driver's side to the source, on bands that takes of one period share. Lines are named by the player's clock.
    ///
    /// # Errors
    /// [`SignalError::NoSignal`] where no line of the band rises above the noise.
    pub fn ratio(&self, settings: &RatioSettings) -> Result<ChannelRatio, SignalError> {
        let nothing = SignalError::NoSignal {
            low_hz: settings.low_hz,
            high_hz: settings.high_hz,
        };
        let mut bands = vec![];
        let mut rest = self.lines.as_slice();
        // Counted from the lowest line that there could be, so that takes share their bands whatever sounds in them.
        let mut first = 1;
        while let Some(top) = rest.last() {
            let width = (first as f64 * BAND_WIDTH) as usize & !1;
            let last = first + width;
            if first > top.multiple {
                break;
            }
            let from = rest.partition_point(|line| line.multiple < first);
            let to = rest.partition_point(|line| line.multiple <= last);
            let whole = to - from == 1 + width / 2;
            let (low_hz, high_hz) = (self.period.line_hz(first), self.period.line_hz(last));
            if whole && low_hz >= settings.low_hz && high_hz <= settings.high_hz {
                bands.extend(self.band(&rest[from..to], settings.may_vanish));
            }
            rest = &rest[to..];
            first = last + 2;
        }
        let points = centred(&bands);
        let frequency =
            FrequencyGrid::new(points.iter().map(|p| p.0).collect()).map_err(|_| nothing)?;
        Ok(ChannelRatio {
            frequency,
            h: points.iter().map(|p| p.1).collect(),
            covariance: points.iter().map(|p| Covariance2::circular(p.2)).collect(),
        })
    }

    /// The lines of a band, by their power in the source.
    fn band(&self, lines: &[Line], may_vanish: bool) -> Option<Band> {
        let low_hz = self.period.line_hz(lines.first()?.multiple);
        let high_hz = self.period.line_hz(lines.last()?.multiple);
        let middle_hz = 0.5 * (low_hz + high_hz);
        let (mut all, mut h, mut variance, mut moment1, mut moment2) =
            (0.0, Complex64::default(), 0.0, 0.0, 0.0);
        for line in lines {
            let weight = line.source.norm_sqr();
            let offset_hz = self.period.line_hz(line.multiple) - middle_hz;
            all += weight;
            h += line.ratio * weight;
            variance += weight * weight * line.variance;
            moment1 += weight * offset_hz;
            moment2 += weight * offset_hz * offset_hz;
        }
        let h = h / all;
        let variance = variance / (all * all);
        let relative_to = if may_vanish { 1.0 } else { h.norm_sqr() };
        let sure = 2.0 * variance <= WORST_RELATIVE * WORST_RELATIVE * relative_to;
        let centroid_offset_hz = moment1 / all;
        sure.then_some(Band {
            middle_hz,
            width_hz: high_hz - low_hz + self.period.spacing_hz(),
            centroid_hz: middle_hz + centroid_offset_hz,
            spread_hz2: moment2 / all - centroid_offset_hz * centroid_offset_hz,
            h,
            variance,
        })
    }
}
