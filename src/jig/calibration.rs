//! Calibration takes and the one correction that they make: (J4) to (J7).

use std::sync::Arc;

use num_complex::Complex64;

use super::model::{Model, Solved, Standard};
use super::three_term::Ratios;
use super::{CalibrationNoise, Jig, SmoothRatio};
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

/// What the calibration takes say about the jig.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Corrections {
    same_node: Option<Arc<SmoothRatio>>,
    /// The check resistor, with its resistance, ohm.
    check: Option<(Arc<SmoothRatio>, f64)>,
    short: Option<Arc<SmoothRatio>>,
    open: Option<Arc<SmoothRatio>>,
}

/// The jig at one frequency, as calibration takes and typed values tell it together.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct JigState {
    /// Channel 2 over channel 1 for the same voltage.
    pub channels: Complex64,
    /// Loop of the leads from the sense points to the terminals, ohm.
    pub leads_ohm: Complex64,
    /// What stays connected across the sense points when the terminals are open, siemens.
    pub admittance_s: Complex64,
}

impl Corrections {
    /// Takes the calibrations up. Of several takes of one kind the last counts.
    ///
    /// Open leads, shorted leads and a check resistor are complete: nothing else is used, not even the sense resistor's
    /// value, and a same-node take is then redundant. Short of that a same-node take outranks a check resistor, since it
    /// needs no resistor's value; the check resistor is then not used.
    pub fn new(calibrations: &[Calibration<'_>]) -> Self {
        let mut corrections = Self::default();
        for calibration in calibrations {
            match calibration {
                Calibration::SameNode(ratio) => corrections.same_node = smooth(ratio),
                Calibration::CheckResistor(ratio, ohm) => {
                    corrections.check = smooth(ratio).map(|ratio| (ratio, *ohm));
                }
                Calibration::ShortedLeads(ratio) => corrections.short = smooth(ratio),
                Calibration::OpenLeads(ratio) => corrections.open = smooth(ratio),
            }
        }
        if corrections.is_complete() {
            corrections.same_node = None;
        } else if corrections.same_node.is_some() {
            corrections.check = None;
        }
        corrections
    }

    /// Whether open, short and load were all measured: then any linear fault of the jig is corrected, and the check
    /// resistor carries the scale in place of the sense resistor.
    pub fn is_complete(&self) -> bool {
        self.open.is_some() && self.short.is_some() && self.check.is_some()
    }

    /// The jig at one frequency. With open leads, shorted leads and a check resistor this is what they say if the sense
    /// resistor is as typed.
    pub fn state(&self, jig: &Jig, frequency_hz: f64) -> JigState {
        let measured = measured(&self.takes(), frequency_hz);
        let ratios: Vec<_> = measured.iter().map(|(s, h, _)| (*s, *h)).collect();
        let Solved { model, .. } = Model::typed(jig).solved(&ratios);
        JigState {
            channels: model.gain(),
            leads_ohm: model.leads_ohm(),
            admittance_s: model.admittance_s(),
        }
    }

    /// The impedance at the driver's terminals for each point of a ratio, with its covariance: (J4), (J7).
    pub fn impedance(&self, jig: &Jig, ratio: &ChannelRatio) -> (Vec<Complex64>, Vec<Covariance2>) {
        let apart = self.impedance_apart(jig, ratio);
        let both = apart.own.iter().zip(&apart.calibration.covariance);
        let covariance = both.map(|(own, shared)| own.plus(shared)).collect();
        (apart.z_ohm, covariance)
    }

    /// The same with the doubt apart.
    pub fn impedance_apart(&self, jig: &Jig, ratio: &ChannelRatio) -> Apart {
        // Without calibration takes the jig is the same at all frequencies.
        let typed = self.is_empty().then(|| self.standards(jig, &[]));
        let f_hz = ratio.frequency.as_slice();
        let takes = self.takes();
        let mut apart = Apart {
            z_ohm: vec![],
            own: vec![],
            calibration: CalibrationNoise {
                frequency_hz: f_hz.to_vec(),
                covariance: vec![],
                takes: takes
                    .iter()
                    .map(|(take, _)| (Arc::clone(take), vec![]))
                    .collect(),
            },
        };
        let points = f_hz.iter().zip(ratio.h.iter().zip(&ratio.covariance));
        for (&f_hz, (&h, covariance)) in points {
            let measured = measured(&takes, f_hz);
            let (standards, slopes) = typed.unwrap_or_else(|| self.standards(jig, &measured));
            let at = standards.impedance(h);
            let mut shared = Covariance2::default();
            for (k, (_, _, own)) in measured.iter().enumerate() {
                let by: Complex64 = at
                    .by_standard
                    .iter()
                    .zip(&slopes)
                    .map(|(by, follows)| by * follows[k])
                    .sum();
                shared = shared.plus(&own.through(by));
                apart.calibration.takes[k].1.push(by);
            }
            apart.z_ohm.push(at.z_ohm);
            apart.own.push(covariance.through(at.by_ratio));
            apart.calibration.covariance.push(shared);
        }
        apart
    }

    fn is_empty(&self) -> bool {
        let ratios = [&self.same_node, &self.short, &self.open];
        self.check.is_none() && ratios.into_iter().all(Option::is_none)
    }

    /// The calibration takes that are used, each with what was in the driver's place.
    fn takes(&self) -> Vec<(&Arc<SmoothRatio>, Standard)> {
        let check = self.check.as_ref();
        let kinds = [
            (self.same_node.as_ref(), Standard::SameNode),
            (self.open.as_ref(), Standard::Open),
            (self.short.as_ref(), Standard::Short),
            (
                check.map(|(ratio, _)| ratio),
                Standard::Load(check.map_or(f64::NAN, |(_, ohm)| *ohm)),
            ),
        ];
        kinds
            .into_iter()
            .filter_map(|(ratio, standard)| Some((ratio?, standard)))
            .collect()
    }

    /// Open, short and load, each measured or predicted, and how each follows the measured ones.
    fn standards(
        &self,
        jig: &Jig,
        measured: &[(Standard, Complex64, Covariance2)],
    ) -> (Ratios, [[Complex64; 3]; 3]) {
        // Any load would do where none was measured: the predicted three lie on the model's own map.
        let load_ohm = self.check.as_ref().map_or(jig.sense_ohm, |(_, ohm)| *ohm);
        let wanted = [Standard::Open, Standard::Short, Standard::Load(load_ohm)];
        let mut solved = None;
        let mut follows = [[Complex64::ZERO; 3]; 3];
        let mut ratios = [Complex64::ZERO; 3];
        for (i, standard) in wanted.into_iter().enumerate() {
            if let Some(k) = measured.iter().position(|(s, _, _)| *s == standard) {
                ratios[i] = measured[k].1;
                follows[i][k] = Complex64::ONE;
            } else {
                let solved = solved.get_or_insert_with(|| {
                    let list: Vec<_> = measured.iter().map(|(s, h, _)| (*s, *h)).collect();
                    Model::typed(jig).solved(&list)
                });
                (ratios[i], follows[i]) = solved.predicted(standard);
            }
        }
        let [open, short, load] = ratios;
        let ratios = Ratios {
            open,
            short,
            load,
            load_ohm,
        };
        (ratios, follows)
    }
}

/// Impedances with the doubt of the take's own ratio and that of the calibration takes apart. The lists have the ratio's length.
#[derive(Clone, Debug, PartialEq)]
pub struct Apart {
    /// At the driver's terminals, ohm.
    pub z_ohm: Vec<Complex64>,
    /// What the take's own noise does, ohm squared.
    pub own: Vec<Covariance2>,
    /// What the noise of the calibration takes does.
    pub calibration: CalibrationNoise,
}

/// The measured standards at one frequency: ratio and covariance.
fn measured(
    takes: &[(&Arc<SmoothRatio>, Standard)],
    frequency_hz: f64,
) -> Vec<(Standard, Complex64, Covariance2)> {
    takes
        .iter()
        .map(|(ratio, standard)| {
            let (h, doubt) = ratio.at(frequency_hz);
            (*standard, h, doubt)
        })
        .collect()
}

fn smooth(ratio: &ChannelRatio) -> Option<Arc<SmoothRatio>> {
    let frequency_hz = ratio.frequency.as_slice();
    SmoothRatio::new(frequency_hz, ratio.h.clone(), ratio.covariance.clone()).map(Arc::new)
}
