//! What the cone carries besides itself.

/// What the cone of a driver carries while its impedance is measured.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[non_exhaustive]
pub enum Load {
    /// Nothing but the air on both sides.
    #[default]
    Free,
    /// A known mass stuck to the cone. It is no parameter: it was weighed.
    AddedMass {
        /// Everything that was added, kg.
        added_mass_kg: f64,
    },
    /// A closed box of known volume.
    TestBox(TestBox),
}

/// A closed test box, as the cone feels it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TestBox {
    /// Stiffness of the enclosed air seen through the cone, N/m, (C11).
    pub air_stiffness_n_per_m: f64,
    /// Whether the box changes the air load; if so, the circuit has the parameter `box_air_load_kg`.
    pub air_load: bool,
    /// Whether the box may leak; if so, the circuit has the parameter `box_inverse_ql`, (C12).
    pub leak: bool,
}

impl TestBox {
    /// An airtight box that leaves the air load alone. `rho_c2_pa` is the air's ρc², `sd_m2` the cone's area and
    /// `volume_m3` the air enclosed behind (or before) the cone, (C11).
    pub fn new(rho_c2_pa: f64, sd_m2: f64, volume_m3: f64) -> Self {
        Self {
            air_stiffness_n_per_m: rho_c2_pa * sd_m2 * sd_m2 / volume_m3,
            air_load: false,
            leak: false,
        }
    }

    /// The same box, with the change of air load as a parameter.
    #[must_use]
    pub fn with_air_load(self) -> Self {
        Self {
            air_load: true,
            ..self
        }
    }

    /// The same box, with its leak as a parameter.
    #[must_use]
    pub fn with_leak(self) -> Self {
        Self { leak: true, ..self }
    }
}
