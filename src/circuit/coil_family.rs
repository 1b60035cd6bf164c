//! The coil families by name, and a whole driver made with one of them.

use std::f64::consts::TAU;

use super::{
    Circuit, Load, Lr2Coil, MotionalBranch, PlainCoil, PowerLawCoil, Resistance, SemiInductorCoil,
    Series,
};

/// The families of coil models.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[non_exhaustive]
pub enum CoilFamily {
    /// [`PlainCoil`].
    Plain,
    /// [`Lr2Coil`].
    Lr2,
    /// [`PowerLawCoil`].
    PowerLaw,
    /// [`SemiInductorCoil`].
    SemiInductor,
}

impl CoilFamily {
    /// Every family, the simplest first.
    pub const ALL: &'static [Self] = &[Self::Plain, Self::Lr2, Self::PowerLaw, Self::SemiInductor];

    /// The name: `plain`, `lr-2`, `power-law` or `semi-inductor`.
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Plain => "plain",
            Self::Lr2 => "lr-2",
            Self::PowerLaw => "power-law",
            Self::SemiInductor => "semi-inductor",
        }
    }

    /// The family of that name; `None` if there is none.
    pub fn parse(text: &str) -> Option<Self> {
        Self::ALL
            .iter()
            .copied()
            .find(|family| family.as_str() == text)
    }

    /// The family's circuit, without the wire's resistance.
    pub fn coil(self) -> Box<dyn Circuit> {
        match self {
            Self::Plain => Box::new(PlainCoil),
            Self::Lr2 => Box::new(Lr2Coil),
            Self::PowerLaw => Box::new(PowerLawCoil),
            Self::SemiInductor => Box::new(SemiInductorCoil),
        }
    }
}

/// A whole driver, (C1): resistance, coil and motional branch, with the parameters in this order.
///
/// `creep_reference_hz` asks for suspension creep; see [`MotionalBranch::new`].
pub fn driver(coil: CoilFamily, creep_reference_hz: Option<f64>, load: Load) -> Series {
    let creep = if creep_reference_hz.is_some() {
        "-creep"
    } else {
        ""
    };
    Series::new(
        format!("driver-{}{creep}", coil.as_str()),
        vec![
            Box::new(Resistance),
            coil.coil(),
            Box::new(MotionalBranch::new(creep_reference_hz, load)),
        ],
    )
}

/// The inductance in henry that a coil shows at one frequency, whatever its model, (C14).
pub fn coil_inductance_h(coil: &dyn Circuit, values: &[f64], frequency_hz: f64) -> f64 {
    coil.impedance(frequency_hz, values).im / (TAU * frequency_hz)
}
