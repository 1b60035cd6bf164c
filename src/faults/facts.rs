//! What several detectors need to know of one recording, found once.

use super::clipping::smallest_step;
use super::extent::{Extent, extent};
use super::hum::{Hum, hum_in_silence};
use crate::recording::Take;
use crate::signal::largest;

/// Facts about a recording.
#[derive(Clone, Debug, PartialEq)]
pub struct Facts {
    /// Where it sounds.
    pub(super) extent: Extent,
    /// Source and driver.
    pub(super) channels: [ChannelFacts; 2],
    hum: Option<Hum>,
}

/// Facts about one channel.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct ChannelFacts {
    /// The largest sample, relative to full scale.
    pub peak: f64,
    /// The smallest difference between neighbouring samples.
    pub step: f64,
}

impl Facts {
    /// Looks through a recording.
    pub fn of(take: &Take) -> Self {
        let extent = extent(take);
        let channels = [take.source(), take.driver()].map(|samples| ChannelFacts {
            peak: peak(samples),
            step: smallest_step(samples),
        });
        let hum = hum_in_silence(take, &extent);
        Self {
            extent,
            channels,
            hum,
        }
    }

    /// The hum in the silence before or after the stimulus; `None` if there is none, or no silence to see it in.
    pub fn hum(&self) -> Option<&Hum> {
        self.hum.as_ref()
    }
}

fn peak(samples: &[f32]) -> f64 {
    f64::from(largest(samples, 0.0, f32::abs))
}
