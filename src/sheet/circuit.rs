//! From a sheet's circuit back to one that can be evaluated.

use super::CircuitEntry;
use crate::circuit::{Circuit, CoilFamily, Load, Series, driver};

/// Why a sheet's circuit cannot be evaluated.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum CircuitError {
    /// A coil family that is not known here.
    #[error(
        "the sheet's circuit has the coil \"{coil}\", which is not known here; use the program version that wrote it"
    )]
    UnknownCoil {
        /// What the sheet says.
        coil: String,
    },
    /// A value is absent.
    #[error("the sheet's circuit has no value {name}; compute the sheet again from its takes")]
    MissingValue {
        /// Which.
        name: String,
    },
    /// A value that physics does not allow.
    #[error(
        "the sheet's circuit has {name} = {value}, which cannot be; compute the sheet again from its takes"
    )]
    ImpossibleValue {
        /// Which.
        name: String,
        /// What the sheet says.
        value: f64,
    },
}

impl CircuitEntry {
    /// The driver in free air, (C1), and the circuit's values in its order.
    ///
    /// # Errors
    /// See [`CircuitError`].
    pub fn driver(&self) -> Result<(Series, Vec<f64>), CircuitError> {
        let unknown = || CircuitError::UnknownCoil {
            coil: self.coil.clone(),
        };
        let coil = CoilFamily::parse(&self.coil).ok_or_else(unknown)?;
        if let Some(value) = self.creep_reference_hz
            && !(value > 0.0 && value.is_finite())
        {
            return Err(CircuitError::ImpossibleValue {
                name: "creep_reference_hz".to_owned(),
                value,
            });
        }
        let circuit = driver(coil, self.creep_reference_hz, Load::Free);
        let mut values = Vec::with_capacity(circuit.parameters().len());
        for parameter in circuit.parameters() {
            let name = parameter.name.as_ref();
            let missing = || CircuitError::MissingValue {
                name: name.to_owned(),
            };
            let value = self.values.get(name).ok_or_else(missing)?.value;
            if !parameter.domain.contains(value) {
                return Err(CircuitError::ImpossibleValue {
                    name: name.to_owned(),
                    value,
                });
            }
            values.push(value);
        }
        Ok((circuit, values))
    }
}
