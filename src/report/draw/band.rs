//! The 95 % band of a fitted free-air curve.
//!
//! The sheet knows the doubt of fs, Re, Qms and Qes and of the inductance at 1 and 10 kHz, with their correlations. The best
//! circuit is moved by one standard uncertainty of each in turn, and the moves are added up with the correlations: first order.
//! Between 1 and 10 kHz the coil's doubt is interpolated against the logarithm of the frequency; outside it is that of the end.

use num_complex::Complex64;

use crate::circuit::{Circuit, CoilFamily, Glance, Load, driver};
use crate::parameters::Key;
use crate::quantity::COVERAGE_95;
use crate::sheet::Sheet;

/// What moves the curve; the last two move the coil.
const MOVERS: [Key; 6] = [
    Key::Re,
    Key::Fs,
    Key::Qms,
    Key::Qes,
    Key::Le1khz,
    Key::Le10khz,
];

/// Half-widths at each frequency.
#[derive(Clone, Debug, PartialEq)]
pub struct Band {
    /// Of the magnitude, as a part of it.
    pub relative: Vec<f64>,
    /// Of the phase, rad.
    pub phase_rad: Vec<f64>,
}

/// The band at these frequencies; `None` if the sheet does not have all that it takes.
pub fn band(sheet: &Sheet, frequency_hz: &[f64]) -> Option<Band> {
    let circuit = sheet.circuit.as_ref()?;
    let family = CoilFamily::parse(&circuit.coil)?;
    let model = driver(family, circuit.creep_reference_hz, Load::Free);
    let read = |of: &dyn Circuit| -> Option<Vec<f64>> {
        of.parameters()
            .iter()
            .map(|p| Some(circuit.values.get(p.name.as_ref())?.value))
            .collect()
    };
    let values = read(&model)?;
    let coil = family.coil();
    let coil_values = read(coil.as_ref())?;
    let correlation = correlation(sheet)?;
    let moved = moved_values(sheet, &model, &values)?;
    let coil_parts = [
        relative(sheet, Key::Le1khz)?,
        relative(sheet, Key::Le10khz)?,
    ];
    let mut band = Band {
        relative: vec![],
        phase_rad: vec![],
    };
    for &f in frequency_hz {
        let z = model.impedance(f, &values);
        let z_coil = coil.impedance(f, &coil_values);
        let upper = (f / 1000.0).log10().clamp(0.0, 1.0);
        let mut moves = [Complex64::ZERO; MOVERS.len()];
        for (slot, values) in moves.iter_mut().zip(&moved) {
            *slot = model.impedance(f, values) - z;
        }
        moves[4] = z_coil * ((1.0 - upper) * coil_parts[0]);
        moves[5] = z_coil * (upper * coil_parts[1]);
        // Along the magnitude and across it.
        let turned = moves.map(|dz| dz / z);
        band.relative
            .push(COVERAGE_95 * joint(turned.map(|m| m.re), &correlation));
        band.phase_rad
            .push(COVERAGE_95 * joint(turned.map(|m| m.im), &correlation));
    }
    Some(band)
}

/// Root of the sum of all products with their correlations.
fn joint(parts: [f64; 6], correlation: &[[f64; 6]; 6]) -> f64 {
    let mut variance = 0.0;
    for (a, row) in parts.iter().zip(correlation) {
        for (b, r) in parts.iter().zip(row) {
            variance += r * a * b;
        }
    }
    if variance > 0.0 { variance.sqrt() } else { 0.0 }
}

fn relative(sheet: &Sheet, key: Key) -> Option<f64> {
    let entry = sheet.parameters.get(key)?;
    let relative = entry.standard_uncertainty? / entry.value;
    relative.is_finite().then_some(relative)
}

fn correlation(sheet: &Sheet) -> Option<[[f64; 6]; 6]> {
    let known = sheet.correlation.as_ref()?;
    let mut out = [[0.0; 6]; 6];
    for (row, a) in out.iter_mut().zip(MOVERS) {
        for (slot, b) in row.iter_mut().zip(MOVERS) {
            *slot = known.coefficient(a, b)?;
        }
    }
    Some(out)
}

/// The circuit's values with Re, fs, Qms and Qes moved by one standard uncertainty each. What a move does to the circuit's own
/// values is the circuit's to say: its start values for a glance with and without the move.
fn moved_values(sheet: &Sheet, model: &dyn Circuit, values: &[f64]) -> Option<[Vec<f64>; 4]> {
    let at = |key: Key| Some(sheet.parameters.get(key)?.value);
    let glance = Glance {
        re_ohm: at(Key::Re)?,
        fs_hz: at(Key::Fs)?,
        qms: at(Key::Qms)?,
        qes: at(Key::Qes)?,
        mms_kg: sheet.circuit.as_ref()?.values.get("mms_kg")?.value,
        coil_ohm: Complex64::new(1.0, 1.0),
        coil_hz: 1000.0,
    };
    let still = model.start(&glance);
    let moved = |change: &dyn Fn(&mut Glance)| -> Vec<f64> {
        let mut glance = glance;
        change(&mut glance);
        let moved = model.start(&glance);
        let ratios = moved.iter().zip(&still);
        values
            .iter()
            .zip(ratios)
            .map(|(value, (moved, still))| {
                if *still == 0.0 {
                    *value
                } else {
                    value * moved / still
                }
            })
            .collect()
    };
    let [re, fs, qms, qes] = [
        1.0 + relative(sheet, Key::Re)?,
        1.0 + relative(sheet, Key::Fs)?,
        1.0 + relative(sheet, Key::Qms)?,
        1.0 + relative(sheet, Key::Qes)?,
    ];
    Some([
        moved(&|glance| glance.re_ohm *= re),
        moved(&|glance| glance.fs_hz *= fs),
        moved(&|glance| glance.qms *= qms),
        moved(&|glance| glance.qes *= qes),
    ])
}
