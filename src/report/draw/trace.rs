//! Curves of sheets, ready to be drawn.

use num_complex::Complex64;

use super::band::{Band, band};
use crate::parameters::Key;
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
    /// Where the line is drawn: all frequencies, and of a fitted curve also those that were left out.
    pub drawn_hz: Vec<f64>,
    /// The line there: the fitted curve, or the measured one without a fit.
    pub drawn: Vec<Complex64>,
    /// The resonance that the sheet states for this curve, Hz.
    pub stated_fs_hz: Option<f64>,
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
        let points = self.drawn_hz.iter().zip(&self.drawn).enumerate();
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
    let (drawn_hz, drawn) = match &fitted {
        Some(fitted) => bridged(&curve.frequency_hz, fitted),
        None => (curve.frequency_hz.clone(), measured.clone()),
    };
    let stated = sheet.parameters.get(Key::Fs).map(|entry| entry.value);
    Some(Trace {
        name,
        drawn_hz,
        drawn,
        stated_fs_hz: stated.filter(|_| with_band),
        band: (with_band && fitted.is_some())
            .then(|| band(sheet, &curve.frequency_hz))
            .flatten(),
        frequency_hz: curve.frequency_hz.clone(),
        measured,
        noise,
        fitted,
    })
}

/// A fitted curve with points where frequencies were left out, such as those of hum: it is smooth, so a cubic through both ends with
/// their slopes follows it.
fn bridged(hz: &[f64], line: &[Complex64]) -> (Vec<f64>, Vec<Complex64>) {
    /// So much wider than the usual step is a gap.
    const GAP: f64 = 1.7;
    /// As many points may be put into one.
    const MOST_POINTS: usize = 200;
    let x: Vec<f64> = hz.iter().map(|f| f.ln()).collect();
    let mut steps: Vec<f64> = x.windows(2).map(|pair| pair[1] - pair[0]).collect();
    steps.sort_by(f64::total_cmp);
    let usual = steps.get(steps.len() / 2).copied().unwrap_or(0.0);
    let mut out = (vec![], vec![]);
    for (i, (&f, &z)) in hz.iter().zip(line).enumerate() {
        out.0.push(f);
        out.1.push(z);
        let Some((&next_x, &next_z)) = x.get(i + 1).zip(line.get(i + 1)) else {
            continue;
        };
        let step = next_x - x[i];
        if !(usual > 0.0 && step > GAP * usual) {
            continue;
        }
        let (Some(first), Some(second)) = (
            i.checked_sub(2)
                .and_then(|a| slope(&x, line, [i, i - 1, a])),
            slope(&x, line, [i + 1, i + 2, i + 3]),
        ) else {
            continue;
        };
        let n = ((step / usual) as usize).clamp(4, MOST_POINTS);
        for k in 1..n {
            let t = k as f64 / n as f64;
            let (t2, t3) = (t * t, t * t * t);
            out.0.push((x[i] + t * step).exp());
            out.1.push(
                z * (2.0 * t3 - 3.0 * t2 + 1.0)
                    + first * (step * (t3 - 2.0 * t2 + t))
                    + next_z * (3.0 * t2 - 2.0 * t3)
                    + second * (step * (t3 - t2)),
            );
        }
    }
    out
}

/// Slope at the first of three points of a parabola through them.
fn slope(x: &[f64], line: &[Complex64], [a, b, c]: [usize; 3]) -> Option<Complex64> {
    let (xa, xb, xc) = (*x.get(a)?, *x.get(b)?, *x.get(c)?);
    let (za, zb, zc) = (*line.get(a)?, *line.get(b)?, *line.get(c)?);
    let near = (zb - za) / (xb - xa);
    let far = (zc - za) / (xc - xa);
    Some((near * (xc - xa) - far * (xb - xa)) / (xc - xb))
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

/// The unit in which a condition's load is shown.
pub fn load_unit(stated: &StatedEntry) -> Option<DisplayUnit> {
    match stated.unit.as_str() {
        "kg" => Some(DisplayUnit::Gram),
        "m3" => Some(DisplayUnit::Litre),
        "Ohm" => Some(DisplayUnit::Ohm),
        _ => None,
    }
}

/// What a condition was made with, in short: without the doubt, zeros at the end would pretend one.
fn load(stated: &StatedEntry) -> Option<String> {
    let unit = load_unit(stated)?;
    let shown = format_estimate(stated.value, stated.standard_uncertainty, unit);
    let value = match shown.value.contains('.') {
        true => shown.value.trim_end_matches('0').trim_end_matches('.'),
        false => shown.value.as_str(),
    };
    Some(format!("{value} {}", shown.unit))
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

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a test fails by panicking")]
mod tests {
    use super::*;

    /// The circle of a resonance at 95 Hz with Q 3, without 97.9 to 102.3 Hz: what is put in lies on it.
    #[test]
    fn a_gap_is_bridged_on_the_circle() {
        const OFF: f64 = 2e-3;
        let at = |f: f64| {
            let detuned = f / 95.0 - 95.0 / f;
            Complex64::new(10.0, 0.0) / Complex64::new(1.0, 3.0 * detuned)
        };
        let all = (0..400).map(|i| 20.0 * 10_f64.powf(i as f64 / 200.0));
        let hz: Vec<f64> = all.filter(|f| !(97.9..102.3).contains(f)).collect();
        let line: Vec<Complex64> = hz.iter().map(|f| at(*f)).collect();
        let (drawn_hz, drawn) = bridged(&hz, &line);
        let within = drawn_hz.iter().filter(|f| (97.9..102.3).contains(*f));
        assert!(within.count() >= 3, "the gap is empty");
        assert_eq!(drawn.len(), drawn_hz.len());
        for (f, z) in drawn_hz.iter().zip(&drawn) {
            let off = (z - at(*f)).norm() / 10.0;
            assert!(off < OFF, "{off} at {f} Hz");
        }
    }
}
