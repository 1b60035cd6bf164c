//! A bench, what is connected to it, and the take that comes of it.

use std::ops::Range;

use num_complex::Complex64;
use rand_distr::{Distribution, Uniform};
use rand_pcg::Pcg64;
use rand_pcg::rand_core::SeedableRng;

use super::channel::delay;
use super::converter::Hum;
use super::divider::Between;
use super::response::Spectrum;
use super::{BenchError, Channel, Crosstalk, Wiring};
use crate::circuit::Circuit;

/// A jig with its source and its recorder.
#[derive(Clone, Debug, PartialEq)]
pub struct Bench {
    /// Wiring of the jig.
    pub wiring: Wiring,
    /// Sense resistor, ohm.
    pub sense_ohm: f64,
    /// Output impedance of the source, ohm.
    pub source_ohm: f64,
    /// The loop of leads from the sense points to the terminals and back, ohm.
    pub lead_ohm: f64,
    /// A capacitor left in series with the driver, farad; `None`: there is none.
    pub series_f: Option<f64>,
    /// Crosstalk between the inputs.
    pub crosstalk: Crosstalk,
    /// How many samples channel 2 comes later than channel 1; any fraction, either sign.
    pub skew_samples: f64,
    /// Relative change of the circuit's `re_ohm` from the first sample to the last. The take crossfades from the exact
    /// response before to the one after, true to first order in the change.
    pub re_drift: f64,
    /// Mains frequency, Hz; heard where a channel has hum.
    pub mains_hz: f64,
    /// Channel 1.
    pub source: Channel,
    /// Channel 2.
    pub driver: Channel,
}

/// What is connected to the jig's terminals.
#[derive(Clone, Copy)]
#[non_exhaustive]
pub enum Element<'a> {
    /// A circuit with its values: a driver in whatever condition.
    Driver {
        /// The circuit.
        circuit: &'a dyn Circuit,
        /// Its values, in the order of its parameters.
        values: &'a [f64],
    },
    /// A resistor in place of the driver, ohm.
    Resistor(f64),
    /// Nothing: the leads end in a short.
    Shorted,
    /// Nothing: the leads end open.
    Open,
    /// Nothing, and both inputs are on the source node.
    SameNode,
}

/// A two-channel recording; both channels have the length of the stimulus.
#[derive(Clone, Debug, PartialEq)]
pub struct BenchTake {
    /// Samples per second and channel.
    pub sample_rate_hz: f64,
    /// Channel 1, full scale = 1.
    pub source: Vec<f32>,
    /// Channel 2, full scale = 1.
    pub driver: Vec<f32>,
}

/// Stands in for a short without any leads: far below what a recording can show.
const SHORT_OHM: f64 = 1e-12;

impl Bench {
    /// A bench without any fault: no source impedance, no leads, ideal inputs.
    pub fn new(wiring: Wiring, sense_ohm: f64) -> Self {
        Self {
            wiring,
            sense_ohm,
            source_ohm: 0.0,
            lead_ohm: 0.0,
            series_f: None,
            crosstalk: Crosstalk::default(),
            skew_samples: 0.0,
            re_drift: 0.0,
            mains_hz: 50.0,
            source: Channel::default(),
            driver: Channel::default(),
        }
    }

    /// Plays `stimulus` (volt) through the jig and records both channels. The recording is as long as the stimulus: put
    /// silence before and after it as wanted. The same seed gives the same noise and hum.
    ///
    /// # Errors
    /// See [`BenchError`].
    pub fn record(
        &self,
        element: &Element<'_>,
        stimulus: &[f64],
        sample_rate_hz: f64,
        seed: u64,
    ) -> Result<BenchTake, BenchError> {
        self.check(element, stimulus, sample_rate_hz)?;
        let mut spectrum = Spectrum::of(stimulus, sample_rate_hz)?;
        let skew_s = self.skew_samples / sample_rate_hz;
        let at_start = spectrum.through(|f_hz| self.responses(element, f_hz, skew_s))?;
        let [source, driver] = match (*element, self.drifted_values(element)?) {
            (Element::Driver { circuit, .. }, Some(values)) => {
                let end = Element::Driver {
                    circuit,
                    values: &values,
                };
                let at_end = spectrum.through(|f_hz| self.responses(&end, f_hz, skew_s))?;
                crossfaded(at_start, &at_end)
            }
            _ => at_start,
        };
        Ok(self.converted(source, driver, stimulus, sample_rate_hz, seed))
    }

    /// What both channels make of the voltages at their inputs: noise, hum, and their converters.
    pub(super) fn converted(
        &self,
        source: Vec<f64>,
        driver: Vec<f64>,
        stimulus: &[f64],
        sample_rate_hz: f64,
        seed: u64,
    ) -> BenchTake {
        let mut generator = Pcg64::seed_from_u64(seed);
        let hum = self.hum(sample_rate_hz, &mut generator);
        let playing = playing(stimulus);
        BenchTake {
            sample_rate_hz,
            source: self
                .source
                .convert(source, playing.clone(), &hum, &mut generator),
            driver: self.driver.convert(driver, playing, &hum, &mut generator),
        }
    }

    /// Both channels' response to one volt of the source.
    pub(super) fn responses(
        &self,
        element: &Element<'_>,
        frequency_hz: f64,
        skew_s: f64,
    ) -> [Complex64; 2] {
        let between = match *element {
            Element::Driver { circuit, values } => {
                let admittance = (circuit.impedance(frequency_hz, values) + self.lead_ohm).inv();
                Between::SensePoints(match self.series_f {
                    None => admittance,
                    // Two admittances in series; at 0 Hz the capacitor's is zero, and so is the whole.
                    Some(farad) => {
                        let capacitor =
                            Complex64::new(0.0, std::f64::consts::TAU * frequency_hz * farad);
                        admittance * capacitor / (admittance + capacitor)
                    }
                })
            }
            Element::Resistor(ohm) => Between::SensePoints((1.0 / (ohm + self.lead_ohm)).into()),
            Element::Shorted if self.lead_ohm > SHORT_OHM => {
                Between::SensePoints((1.0 / self.lead_ohm).into())
            }
            Element::Shorted => Between::SensePoints((1.0 / SHORT_OHM).into()),
            Element::Open => Between::SensePoints(Complex64::ZERO),
            Element::SameNode => Between::SameNode,
        };
        let nodes = self.node_voltages(between);
        let [v_1, v_2] = self.crosstalk.heard(frequency_hz, nodes);
        let late = if skew_s == 0.0 {
            Complex64::ONE
        } else {
            delay(frequency_hz, skew_s)
        };
        [
            v_1 * self.source.response(frequency_hz),
            v_2 * self.driver.response(frequency_hz) * late,
        ]
    }

    /// The circuit's values at the end of a take in which `re_ohm` drifts; `None` without drift.
    fn drifted_values(&self, element: &Element<'_>) -> Result<Option<Vec<f64>>, BenchError> {
        if self.re_drift == 0.0 {
            return Ok(None);
        }
        let Element::Driver { circuit, values } = *element else {
            return Err(BenchError::NothingDrifts);
        };
        let at = circuit
            .parameters()
            .iter()
            .position(|parameter| parameter.name == "re_ohm");
        let at = at.ok_or(BenchError::NothingDrifts)?;
        let mut values = values.to_vec();
        values[at] *= 1.0 + self.re_drift;
        Ok(Some(values))
    }

    /// Where in the mains' turn a take begins is chance, and the same for both channels.
    pub(super) fn hum(&self, sample_rate_hz: f64, generator: &mut Pcg64) -> Hum {
        let n_harmonics = self.source.hum_peak.len().max(self.driver.hum_peak.len());
        let turn = Uniform::new(0.0, std::f64::consts::TAU).ok();
        let phases_rad = turn
            .map(|turn| (0..n_harmonics).map(|_| turn.sample(generator)).collect())
            .unwrap_or_default();
        Hum {
            cycles_per_sample: self.mains_hz / sample_rate_hz,
            phases_rad,
        }
    }

    pub(super) fn check(
        &self,
        element: &Element<'_>,
        stimulus: &[f64],
        sample_rate_hz: f64,
    ) -> Result<(), BenchError> {
        if stimulus.is_empty() {
            return Err(BenchError::EmptyStimulus);
        }
        if let Some(position) = stimulus.iter().position(|sample| !sample.is_finite()) {
            return Err(BenchError::NotFinite {
                position,
                value: stimulus[position],
            });
        }
        positive("sample_rate_hz", sample_rate_hz)?;
        positive("sense_ohm", self.sense_ohm)?;
        positive("mains_hz", self.mains_hz)?;
        not_negative("source_ohm", self.source_ohm)?;
        not_negative("lead_ohm", self.lead_ohm)?;
        if !self.skew_samples.is_finite() {
            let value = self.skew_samples;
            return Err(BenchError::Setting {
                setting: "skew_samples",
                value,
                allowed: "finite",
            });
        }
        if !(self.re_drift > -1.0 && self.re_drift.is_finite()) {
            let value = self.re_drift;
            return Err(BenchError::Setting {
                setting: "re_drift",
                value,
                allowed: "above -1 and finite",
            });
        }
        if let Some(farad) = self.series_f {
            positive("series_f", farad)?;
        }
        self.crosstalk.check()?;
        self.source.check()?;
        self.driver.check()?;
        match *element {
            Element::Driver { circuit, values } if circuit.parameters().len() != values.len() => {
                Err(BenchError::ValueCount {
                    expected: circuit.parameters().len(),
                    found: values.len(),
                })
            }
            Element::Resistor(ohm) => positive("the resistor in place of the driver", ohm),
            _ => Ok(()),
        }
    }
}

/// From the first sample that is not zero to the last; empty for silence.
fn playing(stimulus: &[f64]) -> Range<usize> {
    let first = stimulus.iter().position(|&sample| sample != 0.0);
    let last = stimulus.iter().rposition(|&sample| sample != 0.0);
    match (first, last) {
        (Some(first), Some(last)) => first..last + 1,
        _ => 0..0,
    }
}

/// Fades linearly from one take to another.
fn crossfaded(mut from: [Vec<f64>; 2], to: &[Vec<f64>; 2]) -> [Vec<f64>; 2] {
    for (from, to) in from.iter_mut().zip(to) {
        let n_steps = from.len().saturating_sub(1).max(1) as f64;
        for (index, (sample, end)) in from.iter_mut().zip(to).enumerate() {
            *sample += (end - *sample) * (index as f64 / n_steps);
        }
    }
    from
}

fn positive(setting: &'static str, value: f64) -> Result<(), BenchError> {
    if value > 0.0 && value.is_finite() {
        return Ok(());
    }
    Err(BenchError::Setting {
        setting,
        value,
        allowed: "positive and finite",
    })
}

fn not_negative(setting: &'static str, value: f64) -> Result<(), BenchError> {
    if value >= 0.0 && value.is_finite() {
        return Ok(());
    }
    Err(BenchError::Setting {
        setting,
        value,
        allowed: "zero or positive, and finite",
    })
}
