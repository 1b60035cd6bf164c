//! Circuits one after the other.

use std::ops::Range;

use num_complex::Complex64;

use super::{Circuit, Glance, Parameter};

/// Circuits in series. Parameters of the same name are one parameter.
pub struct Series {
    name: String,
    parts: Vec<Part>,
    parameters: Vec<Parameter>,
}

struct Part {
    circuit: Box<dyn Circuit>,
    place: Place,
}

/// Where a part's values stand in the list of all.
enum Place {
    /// In one run, and no earlier part knows any of them: its slices can be handed on as they are.
    Run(Range<usize>),
    /// Each at its own index, some of them shared.
    Scattered(Vec<usize>),
}

/// Parts with shared parameters and up to this many of them need no heap.
const N_ON_STACK: usize = 16;

impl Series {
    /// Circuits in series under a name. Where two parts have a parameter of the same name, the first one's unit, domain
    /// and start value hold.
    pub fn new(name: impl Into<String>, circuits: Vec<Box<dyn Circuit>>) -> Self {
        let mut parameters: Vec<Parameter> = Vec::new();
        let mut parts = Vec::with_capacity(circuits.len());
        for circuit in circuits {
            let n_before = parameters.len();
            let mut indices = Vec::with_capacity(circuit.parameters().len());
            for parameter in circuit.parameters() {
                let known = parameters
                    .iter()
                    .position(|other| other.name == parameter.name);
                indices.push(known.unwrap_or_else(|| {
                    parameters.push(parameter.clone());
                    parameters.len() - 1
                }));
            }
            let all_new = parameters.len() - n_before == indices.len();
            let place = if all_new {
                Place::Run(n_before..parameters.len())
            } else {
                Place::Scattered(indices)
            };
            parts.push(Part { circuit, place });
        }
        Self {
            name: name.into(),
            parts,
            parameters,
        }
    }
}

/// Hands a buffer of `n` to `work`, from the stack where it fits.
fn with_buffer<T: Copy, R>(n: usize, blank: T, work: impl FnOnce(&mut [T]) -> R) -> R {
    if n <= N_ON_STACK {
        work(&mut [blank; N_ON_STACK][..n])
    } else {
        work(&mut vec![blank; n])
    }
}

fn with_gathered<R>(indices: &[usize], values: &[f64], work: impl FnOnce(&[f64]) -> R) -> R {
    with_buffer(indices.len(), 0.0, |own| {
        for (slot, &index) in own.iter_mut().zip(indices) {
            *slot = values[index];
        }
        work(own)
    })
}

impl Circuit for Series {
    fn name(&self) -> &str {
        &self.name
    }

    fn parameters(&self) -> &[Parameter] {
        &self.parameters
    }

    fn impedance(&self, frequency_hz: f64, values: &[f64]) -> Complex64 {
        let mut sum = Complex64::ZERO;
        for part in &self.parts {
            sum += match &part.place {
                Place::Run(run) => part.circuit.impedance(frequency_hz, &values[run.clone()]),
                Place::Scattered(indices) => with_gathered(indices, values, |own| {
                    part.circuit.impedance(frequency_hz, own)
                }),
            };
        }
        sum
    }

    fn impedance_and_derivatives(
        &self,
        frequency_hz: f64,
        values: &[f64],
        derivatives: &mut [Complex64],
    ) -> Complex64 {
        let mut sum = Complex64::ZERO;
        derivatives[..self.parameters.len()].fill(Complex64::ZERO);
        for part in &self.parts {
            sum += match &part.place {
                Place::Run(run) => part.circuit.impedance_and_derivatives(
                    frequency_hz,
                    &values[run.clone()],
                    &mut derivatives[run.clone()],
                ),
                Place::Scattered(indices) => with_gathered(indices, values, |own| {
                    with_buffer(indices.len(), Complex64::ZERO, |own_derivatives| {
                        let z_ohm = part.circuit.impedance_and_derivatives(
                            frequency_hz,
                            own,
                            own_derivatives,
                        );
                        for (derivative, &index) in own_derivatives.iter().zip(indices) {
                            derivatives[index] += derivative;
                        }
                        z_ohm
                    })
                }),
            };
        }
        sum
    }

    fn start(&self, glance: &Glance) -> Vec<f64> {
        let mut values: Vec<Option<f64>> = vec![None; self.parameters.len()];
        for part in &self.parts {
            let own = part.circuit.start(glance);
            for (offset, value) in own.into_iter().enumerate() {
                let index = match &part.place {
                    Place::Run(run) => run.start + offset,
                    Place::Scattered(indices) => indices[offset],
                };
                values[index].get_or_insert(value);
            }
        }
        values.into_iter().flatten().collect()
    }
}
