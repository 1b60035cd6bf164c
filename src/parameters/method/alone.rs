//! What each observation says by itself, as if it were a driver of its own.

use num_complex::Complex64;

use crate::circuit::CoilFamily;
use crate::finding::{Code, Finding};
use crate::fit::{Choice, Fit, Loading, Observation, fit_all};
use crate::impedance::ImpedanceCurve;
use crate::parameters::coil_doubt::qes_in_doubt;
use crate::parameters::{Readout, readout};
use crate::progress::Unwatched;

/// One observation fitted alone.
pub(super) struct Alone {
    pub readout: Readout,
    /// Relative standard uncertainty that the choice of the model brings into Qes.
    pub models: f64,
    /// Whether no circuit follows it: then its numbers are not worth comparing.
    pub poor: bool,
    coil: CoilFamily,
    coil_values: Vec<f64>,
    circuit_ohm: Vec<Complex64>,
}

/// Half the stretch that a value of the curve is averaged over, as a frequency ratio: a twelfth of an octave.
const HALF_STRETCH: f64 = 1.059_463_094_359_295_3;

impl Alone {
    /// The coil's impedance without the DC resistance, ohm.
    pub fn coil_ohm(&self, frequency_hz: f64) -> Complex64 {
        self.coil.coil().impedance(frequency_hz, &self.coil_values)
    }

    /// The measured impedance of Re and the coil, ohm: the curve around a frequency without what the moving parts do there. `None`
    /// where there is no curve.
    pub fn blocked_ohm(&self, curve: &ImpedanceCurve, frequency_hz: f64) -> Option<Complex64> {
        let f_hz = curve.frequency_hz();
        let low = f_hz.partition_point(|&f| f < frequency_hz / HALF_STRETCH);
        let high = f_hz.partition_point(|&f| f <= frequency_hz * HALF_STRETCH);
        let points = low..high;
        let n = points.len() as f64;
        let sum: Complex64 = points
            .map(|i| {
                let blocked = self.readout.re_ohm.value + self.coil_ohm(f_hz[i]);
                curve.z_ohm()[i] - (self.circuit_ohm[i] - blocked)
            })
            .sum();
        (n > 0.0).then(|| sum / n)
    }
}

/// Each observation alone, with the circuit that served the whole; `None` where that does not converge. Without a loaded
/// observation there is nothing to compare, so nothing is fitted.
pub(super) fn each(observations: &[Observation], fit: &Fit) -> Vec<Option<Alone>> {
    let loaded = observations.iter().any(|o| o.loading != Loading::Free);
    let creep = fit.best().creep_reference_hz().is_some();
    let same = vec![fit.best().coil()];
    observations
        .iter()
        .filter(|_| loaded)
        .map(|observation| {
            let alone = fitted(observation, same.clone(), creep);
            // Another driver may need another coil.
            match alone {
                Some(alone) if !alone.poor => Some(alone),
                _ => fitted(observation, CoilFamily::ALL.to_vec(), true).or(alone),
            }
        })
        .collect()
}

fn fitted(observation: &Observation, coils: Vec<CoilFamily>, creep: bool) -> Option<Alone> {
    let own = Observation {
        loading: Loading::Free,
        ..observation.clone()
    };
    let fit = fit_all(&[own], &Choice { coils, creep }, &mut Unwatched).ok()?;
    let best = fit.best();
    let coil = best.coil();
    let n_coil = coil.coil().parameters().len();
    let values = best.circuit_values(0);
    let poor = |finding: &Finding| finding.code == Code::PoorResidual;
    let circuit = best.circuit(0);
    let f_hz = observation.curve.frequency_hz();
    Some(Alone {
        circuit_ohm: f_hz
            .iter()
            .map(|&f| circuit.impedance(f, &values))
            .collect(),
        readout: readout(best),
        models: qes_in_doubt(&fit),
        poor: fit.findings.iter().any(poor),
        coil,
        coil_values: values.get(1..=n_coil)?.to_vec(),
    })
}
