//! A hundred sheets of every kind through every format and back.

use farcone::circuit::Circuit;
use farcone::export::{Format, TOUCHSTONE_REFERENCE_OHM, export};
use farcone::impedance::table::{read_csv, read_touchstone};
use farcone::parameters::Key;
use farcone::sheet::{Dimensions, Sheet};

use super::labels::HOSTILE;
use super::literal::{self, Given};

/// Draws for one sheet; the stream is Knuth's linear congruential generator, so that a seed stays what it is.
struct Draws(u64);

impl Draws {
    fn unit(&mut self) -> f64 {
        self.0 = self
            .0
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 11) as f64 / (1_u64 << 53) as f64
    }

    /// Between two values, even in the logarithm.
    fn between(&mut self, low: f64, high: f64) -> f64 {
        low * (high / low).powf(self.unit())
    }

    fn chance(&mut self, share: f64) -> bool {
        self.unit() < share
    }

    fn pick<'a, T>(&mut self, all: &'a [T]) -> &'a T {
        &all[(self.unit() * all.len() as f64) as usize]
    }

    fn maybe(&mut self, low: f64, high: f64) -> Option<f64> {
        let value = self.between(low, high);
        self.chance(0.6).then_some(value)
    }
}

/// A driver of any kind, from a tweeter to a large woofer, of which anything may be unknown.
pub fn any_sheet(seed: u64) -> Sheet {
    let mut draws = Draws(seed);
    let d = &mut draws;
    let coil = *d.pick(&["plain", "lr-2", "power-law", "semi-inductor"]);
    let coil_values = match coil {
        "plain" => vec![("le_h", "H", d.between(1e-5, 5e-3))],
        "lr-2" => vec![
            ("le_h", "H", d.between(1e-5, 5e-3)),
            ("l2_h", "H", d.between(1e-5, 5e-3)),
            ("r2_ohm", "Ohm", d.between(0.3, 100.0)),
        ],
        "power-law" => vec![
            ("coil_1khz_ohm", "Ohm", d.between(0.1, 40.0)),
            ("coil_exponent", "1", 0.3 + 0.65 * d.unit()),
        ],
        _ => vec![
            ("leb_h", "H", d.between(1e-5, 1e-3)),
            ("le_parallel_h", "H", d.between(1e-4, 1e-1)),
            ("ke_1khz_ohm", "Ohm", d.between(0.3, 30.0)),
            ("rss_ohm", "Ohm", d.between(3.0, 1e4)),
        ],
    };
    let (fs_hz, mms_kg) = (d.between(18.0, 1500.0), d.between(2e-4, 0.2));
    let omega = std::f64::consts::TAU * fs_hz;
    let re_ohm = d.between(2.5, 16.0);
    let creep = (d.between(1e-4, 0.45), fs_hz * d.between(0.8, 1.25));
    let given = Given {
        label: (*d.pick(HOSTILE)).to_owned(),
        coil,
        coil_values,
        re_ohm,
        bl_t_m: (omega * mms_kg * re_ohm / d.between(0.2, 3.0)).sqrt(),
        mms_kg,
        cms_m_per_n: 1.0 / (omega * omega * mms_kg),
        rms_kg_per_s: omega * mms_kg / d.between(1.2, 20.0),
        creep: d.chance(0.5).then_some(creep),
        sd_m2: d.maybe(5e-4, 0.1),
        known: d.chance(0.6),
        dimensions: None,
        frequency_hz: (0..40)
            .map(|i| 5.0 * (f64::from(i) * 0.21).exp() * (1.0 + 0.1 * d.unit()))
            .collect(),
        uncertainty_ohm: d.maybe(1e-4, 0.1),
    };
    let mut sheet = given.sheet();
    let scale = d.between(0.03, 0.4);
    let dimensions = Dimensions {
        flange_m: d.chance(0.6).then_some(scale),
        cutout_m: d.chance(0.6).then_some(0.8 * scale),
        screw_circle_m: d.chance(0.6).then_some(0.9 * scale),
        n_screws: d.chance(0.6).then_some(3 + (9.0 * d.unit()) as u32),
        depth_m: d.maybe(0.01, 0.2),
        magnet_m: d.maybe(0.01, 0.2),
    };
    sheet.dimensions = (!dimensions.is_empty()).then_some(dimensions);
    for &key in Key::ALL {
        if d.chance(0.3) {
            let mut entry = literal::entry(key, d.between(1e-6, 1e6));
            if d.chance(0.4) {
                entry.standard_uncertainty = None;
                entry.interval_95 = None;
            }
            sheet.parameters.set(key, entry);
        }
    }
    let curve = &mut sheet.curves[0];
    for value in curve
        .measured_re_ohm
        .iter_mut()
        .chain(&mut curve.measured_im_ohm)
    {
        *value *= 1.0 + 0.01 * (d.unit() - 0.5);
    }
    if d.chance(0.1) {
        curve.modelled_re_ohm = None;
        curve.modelled_im_ohm = None;
    }
    sheet
}

const N_SHEETS: u64 = 100;

#[test]
fn touchstone_comes_back() {
    for seed in 0..N_SHEETS {
        let sheet = any_sheet(seed);
        let text = export(&sheet, Format::Touchstone).unwrap();
        let curve = read_touchstone(text.as_bytes()).unwrap();
        let (circuit, values) = sheet.circuit.unwrap().driver().unwrap();
        let f_hz = curve.frequency_hz();
        assert!(f_hz.len() >= 527, "{}", f_hz.len());
        // Rounding: the grid's own logarithms.
        assert!((f_hz[0] - 10.0).abs() < 1e-9 && (f_hz[f_hz.len() - 1] - 20_000.0).abs() < 1e-6);
        assert!(
            f_hz.windows(2)
                .all(|pair| pair[1] / pair[0] < 2_f64.powf(1.0 / 47.9))
        );
        for (&f_hz, &z_ohm) in f_hz.iter().zip(curve.z_ohm()) {
            // With a reference of one ohm nothing is rounded.
            assert_eq!(
                z_ohm,
                circuit.impedance(f_hz, &values),
                "seed {seed}, {f_hz} Hz"
            );
        }
    }
    assert_eq!(TOUCHSTONE_REFERENCE_OHM, 1.0);
}

#[test]
fn the_impedance_table_comes_back() {
    for seed in 0..N_SHEETS {
        let sheet = any_sheet(seed);
        let text = export(&sheet, Format::Csv).unwrap();
        let read = read_csv(text.as_bytes()).unwrap();
        let curve = &sheet.curves[0];
        assert_eq!(read.frequency_hz(), curve.frequency_hz, "seed {seed}");
        let re: Vec<f64> = read.z_ohm().iter().map(|z| z.re).collect();
        let im: Vec<f64> = read.z_ohm().iter().map(|z| z.im).collect();
        assert_eq!(
            (re, im),
            (curve.measured_re_ohm.clone(), curve.measured_im_ohm.clone())
        );
        match (read.covariance(), &curve.uncertainty_re_ohm) {
            (None, None) => {}
            (Some(covariance), Some(u)) => {
                assert!(
                    covariance
                        .iter()
                        .zip(u)
                        .all(|(c, u)| c.re_re == u * u && c.im_im == u * u)
                );
            }
            (read, written) => panic!("seed {seed}: {} {}", read.is_some(), written.is_some()),
        }
        assert!(
            text.split_terminator("\r\n")
                .all(|line| !line.contains('\n'))
        );
    }
}

#[test]
fn the_parameter_table_comes_back() {
    for seed in 0..N_SHEETS {
        let sheet = any_sheet(seed);
        let text = export(&sheet, Format::CsvParameters).unwrap();
        let mut reader = csv::Reader::from_reader(text.as_bytes());
        let records: Vec<_> = reader.records().map(|record| record.unwrap()).collect();
        assert_eq!(records.len(), Key::ALL.len());
        for (record, &key) in records.iter().zip(Key::ALL) {
            let field =
                |i: usize| (!record[i].is_empty()).then(|| record[i].parse::<f64>().unwrap());
            let entry = sheet.parameters.get(key);
            assert_eq!(&record[2], key.as_str());
            assert_eq!(field(4), entry.map(|e| e.value), "seed {seed}, {key:?}");
            assert_eq!(field(6), entry.and_then(|e| e.standard_uncertainty));
            assert_eq!(
                field(7).zip(field(8)),
                entry.and_then(|e| e.interval_95).map(|[a, b]| (a, b))
            );
            assert_eq!(field(9), entry.and_then(|e| e.setup_uncertainty));
        }
    }
}

#[test]
fn json_comes_back() {
    for seed in 0..N_SHEETS {
        let sheet = any_sheet(seed);
        assert_eq!(
            Sheet::from_json(&export(&sheet, Format::Json).unwrap()).unwrap(),
            sheet
        );
    }
}

/// No number is infinite or none, each part has a positive value, and the pins are those that are known.
#[test]
fn netlists_are_passive_and_complete() {
    let mut worst: f64 = 0.0;
    for seed in 0..N_SHEETS {
        let sheet = any_sheet(seed);
        let text = export(&sheet, Format::Spice).unwrap();
        let mut first = None;
        for line in text.lines().filter(|line| !line.starts_with('*')) {
            if line.starts_with('.') {
                first = first.or(Some(line));
                continue;
            }
            let value: f64 = line.rsplit(' ').next().unwrap().parse().unwrap();
            let may_be_zero = line.starts_with('V');
            assert!(
                value.is_finite() && (value > 0.0 || may_be_zero),
                "seed {seed}: {line}"
            );
        }
        let known = sheet.circuit.as_ref().unwrap().mechanical_values_known;
        let pins: Vec<&str> = first.unwrap().split(' ').skip(2).collect();
        let expected = match (known, sheet.parameters.sd.is_some()) {
            (false, _) => vec!["plus", "minus"],
            (true, false) => vec!["plus", "minus", "velocity", "displacement"],
            (true, true) => vec![
                "plus",
                "minus",
                "velocity",
                "displacement",
                "volume_velocity",
            ],
        };
        assert_eq!(pins, expected, "seed {seed}");
        for percent in text
            .lines()
            .filter_map(|line| line.strip_suffix(" % off at most, 10 Hz to 20000 Hz."))
        {
            let percent: f64 = percent.rsplit(' ').next().unwrap().parse().unwrap();
            worst = if percent > worst { percent } else { worst };
        }
    }
    // Promised is 1 %, with a creep of up to 0.45.
    println!("worst error of a ladder: {worst} %");
    assert!(worst > 0.0 && worst < 1.0, "{worst} %");
}

/// Every line of a model sets a variable; only a dimension that nobody typed may stop it.
#[test]
fn models_set_every_variable() {
    for seed in 0..N_SHEETS {
        let sheet = any_sheet(seed);
        let text = export(&sheet, Format::Openscad).unwrap();
        let code: Vec<&str> = text
            .lines()
            .filter(|line| !line.is_empty() && !line.starts_with("//"))
            .collect();
        // Label, verdict, the parameters, the cone, five lengths and the screws.
        assert_eq!(code.len(), 2 + Key::ALL.len() + 7, "seed {seed}");
        for line in &code {
            assert!(
                line.starts_with("driver_") && line.contains(" = "),
                "{line}"
            );
        }
        let dimensions = sheet.dimensions.unwrap_or_default();
        let n_untyped = dimensions
            .lengths()
            .iter()
            .filter(|(_, length)| length.is_none())
            .count()
            + usize::from(dimensions.n_screws.is_none())
            + usize::from(sheet.parameters.sd.is_none());
        let n_stops = code
            .iter()
            .filter(|line| line.contains("= assert(false, "))
            .count();
        assert_eq!(n_stops, n_untyped, "seed {seed}");
    }
}
