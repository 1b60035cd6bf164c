//! What every circuit promises.

use std::borrow::Cow;

use num_complex::Complex64;

/// Which values physics allows a parameter to take.
#[derive(Clone, Copy, Debug, PartialEq)]
#[non_exhaustive]
pub enum Domain {
    /// Above zero.
    Positive,
    /// Strictly between two values.
    Between(f64, f64),
    /// Any number.
    Real,
}

impl Domain {
    /// Whether a value is finite and allowed.
    pub fn contains(self, value: f64) -> bool {
        value.is_finite()
            && match self {
                Self::Positive => value > 0.0,
                Self::Between(low, high) => low < value && value < high,
                Self::Real => true,
            }
    }
}

/// One parameter of a circuit.
#[derive(Clone, Debug, PartialEq)]
pub struct Parameter {
    /// Name with its SI unit as a suffix, for example `bl_t_m`. Two circuits that use the same name mean the same thing.
    pub name: Cow<'static, str>,
    /// Unit as a UCUM code; `1` for a plain number.
    pub unit: &'static str,
    /// What physics allows.
    pub domain: Domain,
}

impl Parameter {
    /// A parameter with a fixed name.
    pub const fn new(name: &'static str, unit: &'static str, domain: Domain) -> Self {
        Self {
            name: Cow::Borrowed(name),
            unit,
            domain,
        }
    }
}

/// A two-terminal linear circuit: the contract that every circuit keeps.
///
/// `values` and `derivatives` are in the order of [`Circuit::parameters`] and have its length; a shorter slice is a bug
/// of the caller and panics. A fit calls the two impedance methods a million times: they must not allocate.
pub trait Circuit: Send + Sync {
    /// Short name, for example `lr-2`.
    fn name(&self) -> &str;

    /// The parameters, in the order of `values`. No name occurs twice.
    fn parameters(&self) -> &[Parameter];

    /// Impedance in ohm at `frequency_hz` (positive, finite) for `values`.
    fn impedance(&self, frequency_hz: f64, values: &[f64]) -> Complex64;

    /// The same, and ∂Z/∂value for each parameter written to `derivatives`.
    fn impedance_and_derivatives(
        &self,
        frequency_hz: f64,
        values: &[f64],
        derivatives: &mut [Complex64],
    ) -> Complex64;

    /// Start values from what a curve shows at a glance: inside each domain, whatever the glance holds.
    fn start(&self, glance: &Glance) -> Vec<f64>;
}

/// What a first look at a curve shows; start values are made from it.
///
/// It describes the curve that the circuit is to be fitted to. So `fs_hz`, `qms` and `qes` of a curve with an added
/// mass or in a test box are those of the loaded cone, while `mms_kg` is always the driver's own.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Glance {
    /// DC resistance, ohm.
    pub re_ohm: f64,
    /// Resonance, Hz.
    pub fs_hz: f64,
    /// Mechanical Q.
    pub qms: f64,
    /// Electrical Q.
    pub qes: f64,
    /// Moving mass, kg (a guess where nothing tells).
    pub mms_kg: f64,
    /// The coil's impedance at `coil_hz`, ohm: what is left there of Z after Re and the motional branch.
    pub coil_ohm: Complex64,
    /// Where `coil_ohm` was read, Hz.
    pub coil_hz: f64,
}
