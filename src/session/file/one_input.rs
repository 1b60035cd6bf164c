//! The period of a take of one input, as JSON.

use serde::{Deserialize, Serialize};

use super::SessionFileError;
use crate::signal::Period;

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct OneInputJson {
    period_frames: u32,
    sample_rate_hz: u32,
}

impl OneInputJson {
    pub fn new(period: Period) -> Self {
        Self {
            period_frames: period.frames,
            sample_rate_hz: period.sample_rate_hz,
        }
    }

    pub fn read(self, take: &str, n_files: usize) -> Result<Period, SessionFileError> {
        let wrong = |needed| SessionFileError::OneInput {
            take: take.to_owned(),
            needed,
        };
        if n_files != 1 {
            return Err(wrong("one file"));
        }
        let period = Period {
            frames: self.period_frames,
            sample_rate_hz: self.sample_rate_hz,
        };
        if period.frames == 0 || period.sample_rate_hz == 0 {
            return Err(wrong("a period and a sample rate above 0"));
        }
        Ok(period)
    }
}
