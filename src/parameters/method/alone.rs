//! What each observation says by itself, as if it were a driver of its own.

use num_complex::Complex64;

use crate::circuit::CoilFamily;
use crate::finding::{Code, Finding};
use crate::fit::{Choice, Fit, Loading, Observation, fit_all};
use crate::parameters::{Readout, readout};
use crate::progress::Unwatched;

/// One observation fitted alone.
pub(super) struct Alone {
    pub readout: Readout,
    /// Whether no circuit follows it: then its numbers are not worth comparing.
    pub poor: bool,
    coil: CoilFamily,
    coil_values: Vec<f64>,
}

impl Alone {
    /// The coil's impedance without the DC resistance, ohm.
    pub fn coil_ohm(&self, frequency_hz: f64) -> Complex64 {
        self.coil.coil().impedance(frequency_hz, &self.coil_values)
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
    Some(Alone {
        readout: readout(best),
        poor: fit.findings.iter().any(poor),
        coil,
        coil_values: values.get(1..=n_coil)?.to_vec(),
    })
}
