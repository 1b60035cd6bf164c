//! Calibration takes, each applied singly as a complex function of frequency: (J4) to (J6).

use num_complex::Complex64;

use super::{Jig, SmoothRatio};
use crate::quantity::Covariance2;
use crate::signal::ChannelRatio;

/// A calibration take and what was in place of the driver.
#[derive(Clone, Copy, Debug, PartialEq)]
#[non_exhaustive]
pub enum Calibration<'a> {
    /// Both inputs on one node: the ratio is the channels' own.
    SameNode(&'a ChannelRatio),
    /// A known resistor (ohm) in place of the driver.
    CheckResistor(&'a ChannelRatio, f64),
    /// The leads shorted at the driver's end.
    ShortedLeads(&'a ChannelRatio),
    /// The leads open at the driver's end.
    OpenLeads(&'a ChannelRatio),
}

/// Passes over calibration takes that need each other; the fourth changes less than 1e-6.
const PASSES: usize = 4;

/// What the calibration takes say about the jig.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Corrections {
    /// Channel 2 over channel 1 for the same voltage.
    channels: Option<SmoothRatio>,
    /// Impedance of the leads, ohm.
    leads: Option<SmoothRatio>,
    /// Admittance that stays when nothing is connected, siemens.
    open: Option<SmoothRatio>,
}

impl Corrections {
    /// Works out the corrections: channels first, then what stays open, then the leads. Of several takes of one kind
    /// the last counts; a same-node take outranks a check resistor, since it needs no resistor's value.
    pub fn new(jig: &Jig, calibrations: &[Calibration<'_>]) -> Self {
        let mut corrections = Self::default();
        corrections.pass(jig, calibrations);
        // A check resistor is read through the leads and beside the load that only the first pass has shown, and those
        // were read with channels that it had not calibrated yet. Each pass leaves some percent of the error before.
        if corrections.leads.is_some() || corrections.open.is_some() {
            for _ in 1..PASSES {
                corrections.pass(jig, calibrations);
            }
        }
        corrections
    }

    fn pass(&mut self, jig: &Jig, calibrations: &[Calibration<'_>]) {
        let one = Complex64::new(1.0, 0.0);
        let mut same_node = false;
        for calibration in calibrations {
            if let Calibration::SameNode(ratio) = calibration {
                same_node = true;
                self.channels = from_ratio(ratio, |_, h| (h, one));
            }
        }
        for calibration in calibrations {
            if let (Calibration::CheckResistor(ratio, ohm), false) = (calibration, same_node) {
                let channels = from_ratio(ratio, |f_hz, h| {
                    let expected = self.expected_ratio(jig, f_hz, *ohm);
                    (h / expected, one / expected)
                });
                self.channels = channels;
            }
        }
        // What stays when the leads are open holds the input's load, so the typed one is not taken off as well.
        for calibration in calibrations {
            if let Calibration::OpenLeads(ratio) = calibration {
                let jig = self.jig(jig);
                let open = from_ratio(&self.alike(ratio), |_, h| jig.sense_point_admittance(h));
                self.open = open;
            }
        }
        for calibration in calibrations {
            if let Calibration::ShortedLeads(ratio) = calibration {
                let jig = self.jig(jig);
                self.leads = from_ratio(&self.alike(ratio), |_, h| jig.sense_point_impedance(h));
            }
        }
    }

    /// The ratio that alike channels would show with a resistor in the driver's place.
    fn expected_ratio(&self, jig: &Jig, frequency_hz: f64, ohm: f64) -> Complex64 {
        let leads = self.leads.as_ref();
        let z = ohm + leads.map_or(jig.lead_ohm.into(), |leads| leads.at(frequency_hz).0);
        match &self.open {
            Some(open) => {
                let unloaded = Jig {
                    load_ohm: f64::INFINITY,
                    ..*jig
                };
                unloaded.ratio(1.0 / (1.0 / z + open.at(frequency_hz).0))
            }
            None => jig.ratio(z),
        }
    }

    /// Whether a take calibrated the channels against each other.
    pub fn channels_known(&self) -> bool {
        self.channels.is_some()
    }

    /// Whether a take measured the leads.
    pub fn leads_known(&self) -> bool {
        self.leads.is_some()
    }

    /// Whether a take measured what stays connected with open leads.
    pub fn open_known(&self) -> bool {
        self.open.is_some()
    }

    /// The impedance at the driver's terminals for each point of a ratio, with its covariance.
    pub fn impedance(&self, jig: &Jig, ratio: &ChannelRatio) -> (Vec<Complex64>, Vec<Covariance2>) {
        let ratio = self.alike(ratio);
        let jig = self.jig(jig);
        let one = Complex64::new(1.0, 0.0);
        let points = ratio
            .frequency
            .as_slice()
            .iter()
            .zip(ratio.h.iter().zip(&ratio.covariance));
        points
            .map(|(&f, (&h, covariance))| {
                let (mut z, mut slope) = jig.sense_point_impedance(h);
                let mut extra = Covariance2::default();
                if let Some(open) = &self.open {
                    let (y, doubt) = open.at(f);
                    let off = one / (one - z * y);
                    extra = extra.plus(&doubt.through(z * z * off * off));
                    slope *= off * off;
                    z *= off;
                }
                match &self.leads {
                    Some(leads) => {
                        let (lead, doubt) = leads.at(f);
                        z -= lead;
                        extra = extra.plus(&doubt);
                    }
                    None => z -= jig.lead_ohm,
                }
                (z, covariance.through(slope).plus(&extra))
            })
            .unzip()
    }

    /// The jig with what the takes have replaced taken out of it.
    fn jig(&self, jig: &Jig) -> Jig {
        Jig {
            load_ohm: if self.open.is_some() {
                f64::INFINITY
            } else {
                jig.load_ohm
            },
            gain: if self.channels.is_some() {
                1.0
            } else {
                jig.gain
            },
            ..*jig
        }
    }

    /// The ratio as alike channels would show it.
    fn alike(&self, ratio: &ChannelRatio) -> ChannelRatio {
        let mut out = ratio.clone();
        let Some(channels) = &self.channels else {
            return out;
        };
        for (i, &f) in ratio.frequency.as_slice().iter().enumerate() {
            let (g, doubt) = channels.at(f);
            out.h[i] = ratio.h[i] / g;
            let from_channels = doubt.through(ratio.h[i] / (g * g));
            out.covariance[i] = ratio.covariance[i].through(1.0 / g).plus(&from_channels);
        }
        out
    }
}

/// Applies a function (of frequency and ratio, with its derivative) to each point.
fn from_ratio(
    ratio: &ChannelRatio,
    apply: impl Fn(f64, Complex64) -> (Complex64, Complex64),
) -> Option<SmoothRatio> {
    let (mut value, mut covariance) = (vec![], vec![]);
    let points = ratio.frequency.as_slice().iter().zip(&ratio.h);
    for ((&f_hz, &h), doubt) in points.zip(&ratio.covariance) {
        let (v, slope) = apply(f_hz, h);
        value.push(v);
        covariance.push(doubt.through(slope));
    }
    SmoothRatio::new(ratio.frequency.as_slice(), value, covariance)
}
