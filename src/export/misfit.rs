//! How far the exported circuit is from what was measured, for the head of a file.

use crate::sheet::Sheet;

/// Share of the points that the figure holds for: a few stray ones must not speak for the rest.
const OF_POINTS: f64 = 0.95;

/// One line about it.
pub(super) fn misfit_line(sheet: &Sheet) -> String {
    match misfit(sheet) {
        Some((part, low_hz, high_hz)) => format!(
            "Fitted and measured impedance agree within {:.2} % at {:.0} % of the points from {low_hz:.0} Hz to {high_hz:.0} Hz",
            100.0 * part,
            100.0 * OF_POINTS
        ),
        None => "How far the fitted impedance is from the measured one is unknown".to_owned(),
    }
}

/// |Z fitted less Z measured| as a part of |Z measured| that most points stay within, and the band.
fn misfit(sheet: &Sheet) -> Option<(f64, f64, f64)> {
    let curve = sheet.curves.first()?;
    let (re, im) = (
        curve.modelled_re_ohm.as_ref()?,
        curve.modelled_im_ohm.as_ref()?,
    );
    let measured = curve.measured_re_ohm.iter().zip(&curve.measured_im_ohm);
    let mut parts: Vec<f64> = measured
        .zip(re.iter().zip(im))
        .map(|((re, im), (fitted_re, fitted_im))| {
            (fitted_re - re).hypot(fitted_im - im) / re.hypot(*im)
        })
        .filter(|part| part.is_finite())
        .collect();
    parts.sort_by(f64::total_cmp);
    let at = (OF_POINTS * parts.len() as f64) as usize;
    let (low_hz, high_hz) = (curve.frequency_hz.first()?, curve.frequency_hz.last()?);
    Some((*parts.get(at)?, *low_hz, *high_hz))
}
