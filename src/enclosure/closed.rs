//! A closed box, (E1) to (E7).

use super::Doubtful;

/// Qtc above which the bass is louder than the rest by more than 1.8 dB and lingers: what most people call boomy (common practice, no source).
pub const MOST_QTC: f64 = 1.1;
/// Qtc below which the bass is lower than at -6 dB already at resonance: the box is larger than it need be (common practice, no source).
const LEAST_QTC: f64 = 0.5;
/// Above this much of Vas over the volume the air in the box is so much stiffer than the suspension that litres and another unit
/// were probably mixed up: fc is more than five times fs (common practice, no source).
const MOST_ALPHA: f64 = 30.0;
/// Below this much the box changes Qts and fs by less than 5 %, which is what free air does (common practice, no source).
const LEAST_ALPHA: f64 = 0.1;
/// A box beyond three times Vas brings Qtc by no more than a seventh closer to Qts (common practice, no source).
const ENOUGH_OF_VAS: f64 = 3.0;
/// Above this Qtc the response has a peak: 1/√2.
const PEAKLESS_QTC: f64 = std::f64::consts::FRAC_1_SQRT_2;

/// What a box needs to know of a driver. `None` is unknown.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct SmallDriver {
    /// Resonance in free air, Hz.
    pub fs_hz: Option<Doubtful>,
    /// Total Q.
    pub qts: Option<Doubtful>,
    /// Volume of air that is as stiff as the suspension, m³.
    pub vas_m3: Option<Doubtful>,
    /// Correlation coefficients within the takes: fs with Qts, fs with Vas, Qts with Vas; `None` if unknown, which counts as none.
    pub correlation: Option<[f64; 3]>,
}

/// Why nothing can be said of a box.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum EnclosureError {
    /// A parameter that the takes do not tell.
    #[error("{name} is not known, so nothing can be said of a box; {advice}")]
    Unknown {
        /// Which.
        name: &'static str,
        /// What to do.
        advice: &'static str,
    },
    /// A volume that is none.
    #[error("a box of {net_m3} m³ is none; state its net volume, as in 2.4L")]
    Volume {
        /// What was stated, m³.
        net_m3: f64,
    },
    /// A parameter that no driver has.
    #[error(
        "{name} is {value}, which no driver has; look at the sheet's findings and make its takes again"
    )]
    Implausible {
        /// Which.
        name: &'static str,
        /// Its value, SI.
        value: f64,
    },
}

/// Whether a volume stands a chance.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub enum Chance {
    /// The whole interval of Qtc is at most [`MOST_QTC`].
    Good,
    /// As [`Chance::Good`], but all of it is below 0.5: less volume would do.
    Roomy,
    /// Vas over the volume is below 0.1, and Qtc is no more than [`MOST_QTC`] for sure: nearly as in free air.
    Vast,
    /// Vas over the volume is above 30: probably another unit was meant.
    Tiny,
    /// [`MOST_QTC`] lies within the interval, or there is none.
    Open,
    /// The whole interval lies above [`MOST_QTC`].
    Poor,
}

/// A driver in a closed box.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ClosedBox {
    /// Net volume, m³.
    pub net_m3: f64,
    /// Stiffness of the air over that of the suspension, (E1).
    pub alpha: f64,
    /// Resonance in the box, Hz, (E2).
    pub fc_hz: Doubtful,
    /// Total Q in the box, (E3).
    pub qtc: Doubtful,
    /// Where the level has fallen by 3 dB, Hz, (E4).
    pub f3_hz: Doubtful,
    /// How far the response rises above its level at high frequencies, dB, (E5); zero without a peak.
    pub peak_db: f64,
    /// Net volume that brings Qtc to [`MOST_QTC`], m³, (E6); `None` if no volume does, since Qts itself is as high.
    pub least_m3: Option<f64>,
    /// Net volume beyond which little is gained, m³: what brings Qtc to 1/√2, at most three times Vas.
    pub enough_m3: f64,
}

impl ClosedBox {
    /// The driver in a closed box of this net volume.
    ///
    /// # Errors
    /// [`EnclosureError`] if fs, Qts or Vas is unknown or not above zero, or the volume is not.
    pub fn new(driver: &SmallDriver, net_m3: f64) -> Result<Self, EnclosureError> {
        if !(net_m3 > 0.0 && net_m3.is_finite()) {
            return Err(EnclosureError::Volume { net_m3 });
        }
        let free_air = "make a free-air take that fits, as the sheet's findings advise";
        let load =
            "make a take with a known added mass or in a test box, and state the size of the cone";
        let fs = known("fs", driver.fs_hz, free_air)?;
        let qts = known("Qts", driver.qts, free_air)?;
        let vas = known("Vas", driver.vas_m3, load)?;
        let alpha = vas.value / net_m3;
        let rise = (1.0 + alpha).sqrt();
        let qtc = qts.value * rise;
        let ratio = f3_over_fc(qtc);
        let f3_slope = f3_slope(qtc);
        let box_slope = 0.5 * alpha / (1.0 + alpha);
        let carry = |value: f64, logarithmic: [f64; 3]| {
            carried(value, logarithmic, [fs, qts, vas], driver.correlation)
        };
        Ok(Self {
            net_m3,
            alpha,
            fc_hz: carry(fs.value * rise, [1.0, 0.0, box_slope]),
            qtc: carry(qtc, [0.0, 1.0, box_slope]),
            f3_hz: carry(
                fs.value * rise * ratio,
                [1.0, f3_slope, (1.0 + f3_slope) * box_slope],
            ),
            peak_db: peak_db(qtc),
            enough_m3: enough_m3(qts.value, vas.value),
            least_m3: (qts.value < MOST_QTC)
                .then(|| vas.value / ((MOST_QTC / qts.value).powi(2) - 1.0)),
        })
    }

    /// Whether the volume stands a chance: Qtc with its 95 % interval, set-ups included, against what closed boxes usually have.
    pub fn chance(&self) -> Chance {
        if self.alpha > MOST_ALPHA {
            return Chance::Tiny;
        }
        match self.qtc.interval() {
            Some([_, high]) if high <= MOST_QTC && self.alpha < LEAST_ALPHA => Chance::Vast,
            Some([_, high]) if high < LEAST_QTC => Chance::Roomy,
            Some([_, high]) if high <= MOST_QTC => Chance::Good,
            Some([low, _]) if low > MOST_QTC => Chance::Poor,
            _ => Chance::Open,
        }
    }
}

fn enough_m3(qts: f64, vas_m3: f64) -> f64 {
    let most = ENOUGH_OF_VAS * vas_m3;
    let peakless = vas_m3 / ((PEAKLESS_QTC / qts).powi(2) - 1.0);
    if peakless > 0.0 && peakless < most {
        peakless
    } else {
        most
    }
}

fn known(
    name: &'static str,
    figure: Option<Doubtful>,
    advice: &'static str,
) -> Result<Doubtful, EnclosureError> {
    let figure = figure.ok_or(EnclosureError::Unknown { name, advice })?;
    if figure.value > 0.0 && figure.value.is_finite() {
        Ok(figure)
    } else {
        let value = figure.value;
        Err(EnclosureError::Implausible { name, value })
    }
}

/// The A of (E4).
fn shape(qtc: f64) -> f64 {
    qtc.powi(-2) - 2.0
}

fn f3_over_fc(qtc: f64) -> f64 {
    let a = shape(qtc);
    (0.5 * (a + a.hypot(2.0))).sqrt()
}

/// ∂ln(f3/fc)/∂ln(Qtc): of (E4), -1/(Qtc²·√(A² + 4)).
fn f3_slope(qtc: f64) -> f64 {
    -1.0 / (qtc * qtc * shape(qtc).hypot(2.0))
}

fn peak_db(qtc: f64) -> f64 {
    if qtc > PEAKLESS_QTC {
        10.0 * (qtc.powi(4) / (qtc * qtc - 0.25)).log10()
    } else {
        0.0
    }
}

/// (E7): `slopes` are logarithmic, for fs, Qts and Vas.
fn carried(
    value: f64,
    slopes: [f64; 3],
    inputs: [Doubtful; 3],
    correlation: Option<[f64; 3]>,
) -> Doubtful {
    let parts = |of: fn(&Doubtful) -> Option<f64>| -> Option<[f64; 3]> {
        let mut parts = [0.0; 3];
        for ((part, slope), input) in parts.iter_mut().zip(slopes).zip(&inputs) {
            // What a figure does not depend on need not be known.
            if slope != 0.0 {
                *part = slope * of(input)? / input.value;
            }
        }
        Some(parts)
    };
    let joint = |[a, b, c]: [f64; 3], [ab, ac, bc]: [f64; 3]| {
        let variance = a * a + b * b + c * c + 2.0 * (ab * a * b + ac * a * c + bc * b * c);
        // Rounding must not make a full correlation imaginary.
        let variance = if variance > 0.0 { variance } else { 0.0 };
        value * variance.sqrt()
    };
    Doubtful {
        value,
        takes: parts(|input| input.takes)
            .map(|parts| joint(parts, correlation.unwrap_or_default()))
            .filter(|u| *u > 0.0),
        setup: parts(|input| input.setup)
            .map(|parts| joint(parts, [0.0; 3]))
            .filter(|u| *u > 0.0),
    }
}
