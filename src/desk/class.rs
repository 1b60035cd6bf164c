//! What is played to which kind of driver.

use super::Sound;
use crate::capture::CEILING_DBFS;
use crate::coins::DriverClass;

impl DriverClass {
    /// Lowest frequency that is played to it, Hz: for a tweeter no lower than a quarter of the lowest usual resonance, 500 to
    /// 2000 Hz, and a bit more (common practice, no source).
    pub fn start_hz(self) -> f64 {
        match self {
            Self::Small | Self::Woofer => 5.0,
            Self::Tweeter => 200.0,
        }
    }

    /// Never above this peak level, dBFS: a tweeter's coil is light and its gap narrow, and a small driver's stroke short (common
    /// practice, no source).
    pub fn ceiling_dbfs(self) -> f64 {
        match self {
            Self::Woofer => CEILING_DBFS,
            Self::Small => CEILING_DBFS - 3.0,
            Self::Tweeter => CEILING_DBFS - 9.0,
        }
    }

    /// What is played to it.
    pub fn sound(self, length_s: f64, sample_rate_hz: u32) -> Sound {
        Sound {
            multisine: false,
            length_s,
            start_hz: self.start_hz(),
            ceiling_dbfs: self.ceiling_dbfs(),
            sample_rate_hz,
        }
    }
}
