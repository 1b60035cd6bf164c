//! Curves of sheets, ready to be drawn.

use num_complex::Complex64;

use super::band::{Band, band};
use crate::quantity::{DisplayUnit, format_estimate};
use crate::sheet::{CurveEntry, Sheet, StatedEntry};

/// One measured curve with what was fitted to it.
#[derive(Clone, Debug)]
pub struct Trace {
    /// What stands beside it in a plot.
    pub name: String,
    pub frequency_hz: Vec<f64>,
    pub measured: Vec<Complex64>,
    /// Standard uncertainties of the measured magnitude over the magnitude; `None` if unknown.
    pub noise: Option<Vec<f64>>,
    pub fitted: Option<Vec<Complex64>>,
    /// 95 % band of the fitted curve, where the sheet tells it.
    pub band: Option<Band>,
}

impl Trace {
    /// What is drawn as a line: the fitted curve, or the measured one without a fit.
    pub fn line(&self) -> &[Complex64] {
        self.fitted.as_deref().unwrap_or(&self.measured)
    }

    /// The point where the line is highest below 2 kHz: the resonance. With its index.
    pub fn peak(&self) -> Option<(usize, f64, f64)> {
        /// Above this a coil may be higher than the resonance.
        const COIL_FROM_HZ: f64 = 2000.0;
        let points = self.frequency_hz.iter().zip(self.line()).enumerate();
        let points = points.map(|(i, (f, z))| (i, *f, z.norm()));
        let all = points.filter(|(_, f, z)| *f < COIL_FROM_HZ && z.is_finite());
        all.max_by(|a, b| a.2.total_cmp(&b.2))
    }
}

/// The curves of one sheet, or of several the free-air ones alone.
pub fn traces(sheets: &[Sheet]) -> Vec<Trace> {
    match sheets {
        [sheet] => sheet
            .curves
            .iter()
            .enumerate()
            .filter_map(|(i, curve)| trace(sheet, curve, name(sheet, curve), i == 0))
            .collect(),
        _ => sheets
            .iter()
            .enumerate()
            .filter_map(|(i, sheet)| {
                let letter = crate::report::letter(i);
                trace(sheet, sheet.curves.first()?, letter, true)
            })
            .collect(),
    }
}

fn trace(sheet: &Sheet, curve: &CurveEntry, name: String, with_band: bool) -> Option<Trace> {
    let complex = |re: &[f64], im: &[f64]| -> Vec<Complex64> {
        re.iter()
            .zip(im)
            .map(|(re, im)| Complex64::new(*re, *im))
            .collect()
    };
    let n = curve.frequency_hz.len();
    let measured = complex(&curve.measured_re_ohm, &curve.measured_im_ohm);
    // A curve that somebody cut by hand would be drawn askew.
    if n < 2 || measured.len() != n {
        return None;
    }
    let noise = curve
        .uncertainty_re_ohm
        .as_ref()
        .zip(curve.uncertainty_im_ohm.as_ref());
    let noise = noise.map(|(re, im)| {
        let parts = measured.iter().zip(re.iter().zip(im));
        // Along the magnitude.
        parts
            .map(|(z, (re, im))| (z.re * re).hypot(z.im * im) / z.norm_sqr())
            .collect()
    });
    let fitted = curve
        .modelled_re_ohm
        .as_ref()
        .zip(curve.modelled_im_ohm.as_ref());
    let fitted = fitted
        .map(|(re, im)| complex(re, im))
        .filter(|fitted| fitted.len() == n);
    Some(Trace {
        name,
        band: (with_band && fitted.is_some())
            .then(|| band(sheet, &curve.frequency_hz))
            .flatten(),
        frequency_hz: curve.frequency_hz.clone(),
        measured,
        noise,
        fitted,
    })
}

/// Longer names do not fit beside a curve.
const LONGEST_NAME: usize = 27;

/// `free air`, `added mass, 2.40 g`.
fn name(sheet: &Sheet, curve: &CurveEntry) -> String {
    let plain = curve.name.replace('-', " ");
    let stated = sheet
        .origin
        .takes
        .iter()
        .find(|take| curve.takes.contains(&take.name))
        .and_then(|take| take.stated.as_ref());
    let name = match stated.and_then(load) {
        Some(load) => format!("{plain}, {load}"),
        None => plain,
    };
    if name.chars().count() <= LONGEST_NAME {
        return name;
    }
    let kept: String = name.chars().take(LONGEST_NAME - 1).collect();
    format!("{kept}…")
}

/// What a condition was made with.
pub fn load(stated: &StatedEntry) -> Option<String> {
    let unit = match stated.unit.as_str() {
        "kg" => DisplayUnit::Gram,
        "m3" => DisplayUnit::Litre,
        "Ohm" => DisplayUnit::Ohm,
        _ => return None,
    };
    let shown = format_estimate(stated.value, stated.standard_uncertainty, unit);
    Some(format!("{} {}", shown.value, shown.unit))
}

/// Places along a line that are at least so far apart; every bend stays, since what moves further is kept.
pub fn thinned(points: &[(f64, f64)], least: f64) -> Vec<(f64, f64)> {
    let mut kept: Vec<(f64, f64)> = vec![];
    for (i, point) in points.iter().enumerate() {
        let far = kept
            .last()
            .is_none_or(|last: &(f64, f64)| (point.0 - last.0).hypot(point.1 - last.1) >= least);
        if far || i + 1 == points.len() {
            kept.push(*point);
        }
    }
    kept
}
