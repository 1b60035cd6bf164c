//! How much the parameters move from one set-up to the next: taking the driver out and putting it back.

use super::Key;
use super::core::{LN_FS, LN_QES, LN_QMS, LN_RE};

/// Where a figure for the set-up comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SpreadOrigin {
    /// Scatter of remounted takes of this driver.
    Measured,
    /// Common practice, no source.
    Assumed,
}

/// Relative standard uncertainties from one set-up to the next.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SetupSpread {
    fs: (f64, SpreadOrigin),
    qms: (f64, SpreadOrigin),
    qes: (f64, SpreadOrigin),
    qts: (f64, SpreadOrigin),
    re: Option<(f64, SpreadOrigin)>,
    vas: (f64, SpreadOrigin),
}

/// Repeatability between set-ups as a relative standard uncertainty (common practice, no source).
const ASSUMED_FS: f64 = 0.01;
const ASSUMED_Q: f64 = 0.05;
const ASSUMED_VAS: f64 = 0.10;
/// What of the last is the weighing's: Vas goes with 1/(fs²·Mms), so the rest of it is fs's, (P18).
const ASSUMED_MMS: f64 = 0.098;
/// Remounted takes from which the scatter is taken as it is. With two there is one degree of freedom, whose scatter is
/// as likely as not far too small; it then only counts if it exceeds what is assumed.
const ENOUGH: usize = 3;

impl SetupSpread {
    /// What is assumed where nothing was measured.
    pub fn assumed() -> Self {
        let assumed = |u| (u, SpreadOrigin::Assumed);
        Self {
            fs: assumed(ASSUMED_FS),
            qms: assumed(ASSUMED_Q),
            qes: assumed(ASSUMED_Q),
            qts: assumed(ASSUMED_Q),
            re: None,
            vas: assumed(ASSUMED_VAS),
        }
    }

    /// From the core numbers of each remounted take. Vas stays assumed: remounting says nothing about a second
    /// weighing.
    pub(super) fn measured(cores: &[Vec<f64>]) -> Self {
        let mut spread = Self::assumed();
        let scatter = |of: &dyn Fn(&[f64]) -> f64| {
            let values: Vec<f64> = cores.iter().map(|core| of(core)).collect();
            let mean = values.iter().sum::<f64>() / values.len() as f64;
            (values.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / (values.len() - 1) as f64)
                .sqrt()
        };
        let qts = |core: &[f64]| -((-core[LN_QMS]).exp() + (-core[LN_QES]).exp()).ln();
        if cores.len() < 2 {
            return spread;
        }
        let enough = cores.len() >= ENOUGH;
        let take = |slot: &mut (f64, SpreadOrigin), seen: f64| {
            if enough || seen > slot.0 {
                *slot = (seen, SpreadOrigin::Measured);
            }
        };
        take(&mut spread.fs, scatter(&|core| core[LN_FS]));
        take(&mut spread.qms, scatter(&|core| core[LN_QMS]));
        take(&mut spread.qes, scatter(&|core| core[LN_QES]));
        take(&mut spread.qts, scatter(&qts));
        if enough {
            spread.re = Some((scatter(&|core| core[LN_RE]), SpreadOrigin::Measured));
        }
        spread
    }

    /// Of fs·Mms over a Q, relative (P18).
    fn with_mass(&self, q: f64) -> f64 {
        self.fs.0.hypot(ASSUMED_MMS).hypot(q)
    }

    /// Relative standard uncertainty of one parameter; `None` where nobody knows it.
    pub fn relative(&self, key: Key) -> Option<(f64, SpreadOrigin)> {
        match key {
            Key::Fs => Some(self.fs),
            Key::Qms => Some(self.qms),
            Key::Qes => Some(self.qes),
            Key::Qts => Some(self.qts),
            Key::Re => self.re,
            // Vas is Cms in the cone's own units.
            Key::Vas | Key::Cms => Some(self.vas),
            Key::Mms | Key::Mmd => Some((ASSUMED_MMS, SpreadOrigin::Assumed)),
            Key::Bl => Some((0.5 * self.with_mass(self.qes.0), SpreadOrigin::Assumed)),
            Key::Rms => Some((self.with_mass(self.qms.0), SpreadOrigin::Assumed)),
            _ => None,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// (P18) backwards: what is stated of fs, Mms and the Qs makes up what is stated of Vas.
    #[test]
    fn the_weighing_is_what_vas_has_beyond_fs() {
        /// Three digits are stated.
        const ROUNDING: f64 = 1e-3;
        let spread = SetupSpread::assumed();
        let of = |key| spread.relative(key).unwrap().0;
        let vas = (2.0 * of(Key::Fs)).hypot(of(Key::Mms));
        assert!((vas / of(Key::Vas) - 1.0).abs() < ROUNDING, "{vas}");
        assert_eq!(of(Key::Cms), of(Key::Vas));
        let bl = 0.5 * (0.01_f64.powi(2) + 0.098_f64.powi(2) + 0.05_f64.powi(2)).sqrt();
        assert!((of(Key::Bl) / bl - 1.0).abs() < 1e-12);
        assert_eq!(spread.relative(Key::Re), None);
        assert_eq!(spread.relative(Key::Sd), None);
    }
}
