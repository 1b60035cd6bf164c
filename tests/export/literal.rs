//! Sheets written down, not computed by the instrument.

use std::collections::BTreeMap;
use std::f64::consts::TAU;

use farcone::circuit::Circuit;
use farcone::parameters::Key;
use farcone::sheet::{
    AirEntry, CircuitEntry, Conditions, CurveEntry, Dimensions, ParameterEntry, Parameters, SCHEMA,
    Sheet, StatedEntry, ValueEntry,
};

/// What a literal sheet is made of.
#[derive(Clone, Debug)]
pub struct Given {
    pub label: String,
    pub coil: &'static str,
    pub coil_values: Vec<(&'static str, &'static str, f64)>,
    pub re_ohm: f64,
    pub bl_t_m: f64,
    pub mms_kg: f64,
    pub cms_m_per_n: f64,
    pub rms_kg_per_s: f64,
    /// λ, and where Cms is the nominal compliance, Hz.
    pub creep: Option<(f64, f64)>,
    pub sd_m2: Option<f64>,
    /// Whether a mass or a box told the mechanical values.
    pub known: bool,
    pub dimensions: Option<Dimensions>,
    pub frequency_hz: Vec<f64>,
    /// Of real and imaginary part alike, ohm.
    pub uncertainty_ohm: Option<f64>,
}

/// ρc² of the air in all of them, Pa.
pub const RHO_C2_PA: f64 = 141_911.0;

pub fn plain() -> Given {
    Given {
        label: "Tidepool 3".to_owned(),
        coil: "plain",
        coil_values: vec![("le_h", "H", 0.31e-3)],
        re_ohm: 5.5,
        bl_t_m: 7.2,
        mms_kg: 21.2e-3,
        cms_m_per_n: 0.65e-3,
        rms_kg_per_s: 1.35,
        creep: None,
        sd_m2: Some(0.0215),
        known: true,
        dimensions: Some(Dimensions {
            flange_m: Some(0.218),
            cutout_m: Some(0.186),
            screw_circle_m: Some(0.2035),
            n_screws: Some(6),
            depth_m: Some(0.0921),
            magnet_m: Some(0.11),
        }),
        frequency_hz: vec![
            5.0, 10.0, 20.0, 31.7, 42.9, 60.0, 100.0, 333.3, 1e3, 1e4, 2e4,
        ],
        uncertainty_ohm: Some(0.0125),
    }
}

pub fn lr2() -> Given {
    Given {
        coil: "lr-2",
        coil_values: vec![
            ("le_h", "H", 0.4e-3),
            ("l2_h", "H", 0.6e-3),
            ("r2_ohm", "Ohm", 6.0),
        ],
        ..plain()
    }
}

pub fn power_law() -> Given {
    Given {
        coil: "power-law",
        coil_values: vec![("coil_1khz_ohm", "Ohm", 9.1), ("coil_exponent", "1", 0.7)],
        ..plain()
    }
}

pub fn semi_inductor() -> Given {
    Given {
        coil: "semi-inductor",
        coil_values: vec![
            ("leb_h", "H", 0.15e-3),
            ("le_parallel_h", "H", 3e-3),
            ("ke_1khz_ohm", "Ohm", 3.2),
            ("rss_ohm", "Ohm", 100.0),
        ],
        ..plain()
    }
}

/// The same driver of which only free-air takes were made and nothing was typed.
pub fn little_known() -> Given {
    Given {
        sd_m2: None,
        known: false,
        dimensions: None,
        uncertainty_ohm: None,
        ..plain()
    }
}

pub fn entry(key: Key, value: f64) -> ParameterEntry {
    ParameterEntry {
        value,
        unit: key.unit().to_owned(),
        standard_uncertainty: Some(1e-3 * value),
        setup_uncertainty: (key == Key::Fs).then_some(1e-2 * value),
        setup_origin: (key == Key::Fs).then(|| "assumed".to_owned()),
        interval_95: Some([0.998 * value, 1.002 * value]),
        budget: vec![],
    }
}

impl Given {
    fn circuit(&self) -> CircuitEntry {
        let own = [
            ("re_ohm", "Ohm", self.re_ohm),
            ("bl_t_m", "T.m", self.bl_t_m),
            ("mms_kg", "kg", self.mms_kg),
            ("cms_m_per_n", "m/N", self.cms_m_per_n),
            ("rms_kg_per_s", "kg/s", self.rms_kg_per_s),
        ];
        let creep = self.creep.map(|(creep, _)| ("creep", "1", creep));
        let values = own
            .into_iter()
            .chain(self.coil_values.iter().copied())
            .chain(creep)
            .map(|(name, unit, value)| {
                let unit = unit.to_owned();
                let standard_uncertainty = self.known.then_some(1e-3 * value);
                (
                    name.to_owned(),
                    ValueEntry {
                        value,
                        unit,
                        standard_uncertainty,
                    },
                )
            })
            .collect::<BTreeMap<_, _>>();
        CircuitEntry {
            coil: self.coil.to_owned(),
            creep_reference_hz: self.creep.map(|(_, reference_hz)| reference_hz),
            values,
            mechanical_values_known: self.known,
            candidates: vec![],
        }
    }

    fn parameters(&self) -> Parameters {
        let fs_hz = 1.0 / (TAU * (self.mms_kg * self.cms_m_per_n).sqrt());
        let qms = TAU * fs_hz * self.mms_kg / self.rms_kg_per_s;
        let qes = TAU * fs_hz * self.mms_kg * self.re_ohm / (self.bl_t_m * self.bl_t_m);
        let mut all = vec![
            (Key::Fs, fs_hz),
            (Key::Re, self.re_ohm),
            (Key::Qms, qms),
            (Key::Qes, qes),
            (Key::Qts, qms * qes / (qms + qes)),
        ];
        if self.known {
            all.extend([
                (Key::Mms, self.mms_kg),
                (Key::Cms, self.cms_m_per_n),
                (Key::Rms, self.rms_kg_per_s),
                (Key::Bl, self.bl_t_m),
            ]);
        }
        if let Some(sd_m2) = self.sd_m2 {
            all.push((Key::Sd, sd_m2));
            if self.known {
                all.push((Key::Vas, RHO_C2_PA * sd_m2 * sd_m2 * self.cms_m_per_n));
            }
        }
        let mut parameters = Parameters::default();
        for (key, value) in all {
            parameters.set(key, entry(key, value));
        }
        parameters
    }

    pub fn sheet(&self) -> Sheet {
        let circuit = self.circuit();
        let (series, values) = circuit.driver().unwrap();
        let z_ohm: Vec<_> = self
            .frequency_hz
            .iter()
            .map(|&f_hz| series.impedance(f_hz, &values))
            .collect();
        let doubt = self.uncertainty_ohm.map(|u| vec![u; z_ohm.len()]);
        let curve = CurveEntry {
            name: "free-air".to_owned(),
            takes: vec!["free-air".to_owned()],
            frequency_hz: self.frequency_hz.clone(),
            // A thousandth off, so that measured and fitted are told apart.
            measured_re_ohm: z_ohm.iter().map(|z| 1.001 * z.re).collect(),
            measured_im_ohm: z_ohm.iter().map(|z| 1.001 * z.im).collect(),
            uncertainty_re_ohm: doubt.clone(),
            uncertainty_im_ohm: doubt,
            modelled_re_ohm: Some(z_ohm.iter().map(|z| z.re).collect()),
            modelled_im_ohm: Some(z_ohm.iter().map(|z| z.im).collect()),
            spread: None,
        };
        let stated = |value: f64, unit: &str| StatedEntry {
            value,
            unit: unit.to_owned(),
            standard_uncertainty: None,
        };
        Sheet {
            schema: SCHEMA.to_owned(),
            label: self.label.clone(),
            verdict: "good".to_owned(),
            findings: vec![],
            parameters: self.parameters(),
            correlation: None,
            circuit: Some(circuit),
            derived_rating_ohm: Some(6.0),
            dimensions: self.dimensions,
            conditions: Conditions {
                air: AirEntry {
                    temperature: stated(293.15, "K"),
                    pressure: stated(101_325.0, "Pa"),
                    relative_humidity: stated(0.5, "1"),
                    density_kg_per_m3: 1.199,
                    speed_of_sound_m_per_s: 344.0,
                },
                jig: None,
                level_dbfs: None,
                driver_peak_v: None,
                band_hz: [5.0, 20_000.0],
            },
            levels: vec![],
            curves: vec![curve],
            // As JSON, which may leave out what is added later.
            origin: serde_json::from_value(serde_json::json!({
                "program": "farcone",
                "version": "0.0.0-literal",
                "draws": 10_000,
                "seed": 0,
                "takes": [],
            }))
            .unwrap(),
        }
    }
}
