//! Invented drivers.
//!
//! None of them exists and no name is anybody's: constants were chosen to cover what drivers are, from a dome tweeter to
//! 12-inch woofers, with resonances from 25 Hz to 1200 Hz, mechanical Qs from 1.5 to 15 and every coil family.

use crate::circuit::{Circuit, CoilFamily, Load, Series, TestBox, driver};

/// A coil: a family and its values, in the order of the family's parameters.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Coil {
    /// The family.
    pub family: CoilFamily,
    /// Its values.
    pub values: &'static [f64],
}

/// Suspension creep, (C10).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Creep {
    /// λ.
    pub lambda: f64,
    /// Where `cms_m_per_n` is the nominal compliance, Hz.
    pub reference_hz: f64,
}

/// An invented driver as physical constants.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct InventedDriver {
    /// Its name.
    pub label: &'static str,
    /// What it is, in a few words.
    pub description: &'static str,
    /// DC resistance, ohm.
    pub re_ohm: f64,
    /// Force factor, T·m.
    pub bl_t_m: f64,
    /// Moving mass with the air load of free air, kg.
    pub mms_kg: f64,
    /// Compliance of the suspension, m/N; with creep at its reference frequency.
    pub cms_m_per_n: f64,
    /// Mechanical resistance without creep's share, kg/s.
    pub rms_kg_per_s: f64,
    /// Area of the cone, m².
    pub sd_m2: f64,
    /// The coil.
    pub coil: Coil,
    /// Creep, if it has any.
    pub creep: Option<Creep>,
}

/// The condition that a driver is measured in.
#[derive(Clone, Copy, Debug, PartialEq)]
#[non_exhaustive]
pub enum Mounting {
    /// In free air.
    FreeAir,
    /// With a mass on the cone.
    AddedMass {
        /// The mass, kg.
        added_mass_kg: f64,
    },
    /// In a closed box.
    TestBox {
        /// Volume of the enclosed air, m³.
        volume_m3: f64,
        /// The air's ρc², Pa.
        rho_c2_pa: f64,
        /// Change of air load that the box brings, kg.
        air_load_kg: f64,
        /// 1/QL of the leak, (C13); zero for an airtight box.
        inverse_ql: f64,
    },
}

impl InventedDriver {
    /// The driver's circuit in a condition, and the circuit's values.
    pub fn set_up(&self, mounting: &Mounting) -> (Series, Vec<f64>) {
        let mut in_box = Vec::new();
        let load = match *mounting {
            Mounting::FreeAir => Load::Free,
            Mounting::AddedMass { added_mass_kg } => Load::AddedMass { added_mass_kg },
            Mounting::TestBox {
                volume_m3,
                rho_c2_pa,
                air_load_kg,
                inverse_ql,
            } => {
                in_box = vec![air_load_kg, inverse_ql];
                Load::TestBox(
                    TestBox::new(rho_c2_pa, self.sd_m2, volume_m3)
                        .with_air_load()
                        .with_leak(),
                )
            }
        };
        let circuit = driver(
            self.coil.family,
            self.creep.map(|creep| creep.reference_hz),
            load,
        );
        let mut values = vec![self.re_ohm];
        values.extend(self.coil.values);
        values.extend(self.mechanical_values());
        values.extend(in_box);
        debug_assert_eq!(values.len(), circuit.parameters().len());
        (circuit, values)
    }

    /// Values of the motional branch in free air.
    pub(super) fn mechanical_values(&self) -> Vec<f64> {
        let mut values = vec![
            self.bl_t_m,
            self.mms_kg,
            self.cms_m_per_n,
            self.rms_kg_per_s,
        ];
        values.extend(self.creep.map(|creep| creep.lambda));
        values
    }
}

/// The driver of the demonstration.
pub fn demo_driver() -> &'static InventedDriver {
    &TIDEPOOL_3
}

/// All invented drivers, from the smallest to the largest.
pub fn drivers() -> &'static [InventedDriver] {
    &DRIVERS
}

const fn plain(values: &'static [f64]) -> Coil {
    Coil {
        family: CoilFamily::Plain,
        values,
    }
}

const fn lr2(values: &'static [f64]) -> Coil {
    Coil {
        family: CoilFamily::Lr2,
        values,
    }
}

const fn power_law(values: &'static [f64]) -> Coil {
    Coil {
        family: CoilFamily::PowerLaw,
        values,
    }
}

const fn semi_inductor(values: &'static [f64]) -> Coil {
    Coil {
        family: CoilFamily::SemiInductor,
        values,
    }
}

const fn creep(lambda: f64, reference_hz: f64) -> Option<Creep> {
    Some(Creep {
        lambda,
        reference_hz,
    })
}

static TIDEPOOL_3: InventedDriver = InventedDriver {
    label: "Tidepool 3",
    description: "3-inch full-range driver for small printed cabinets",
    re_ohm: 3.6,
    bl_t_m: 3.33,
    mms_kg: 3.2e-3,
    cms_m_per_n: 0.877e-3,
    rms_kg_per_s: 0.424,
    sd_m2: 32e-4,
    coil: semi_inductor(&[45e-6, 1.4e-3, 1.2, 60.0]),
    creep: None,
};

static DRIVERS: [InventedDriver; 13] = [
    InventedDriver {
        label: "Limpet 1",
        description: "1-inch dome tweeter, heavily damped",
        re_ohm: 4.8,
        bl_t_m: 2.81,
        mms_kg: 0.35e-3,
        cms_m_per_n: 0.0503e-3,
        rms_kg_per_s: 1.76,
        sd_m2: 7e-4,
        coil: plain(&[30e-6]),
        creep: None,
    },
    InventedDriver {
        label: "Whelk 1",
        description: "1-inch dome tweeter with a chamber behind it",
        re_ohm: 5.6,
        bl_t_m: 3.44,
        mms_kg: 0.42e-3,
        cms_m_per_n: 0.116e-3,
        rms_kg_per_s: 0.594,
        sd_m2: 8e-4,
        coil: lr2(&[18e-6, 25e-6, 2.5]),
        creep: None,
    },
    InventedDriver {
        label: "Cuttle 2",
        description: "2-inch full-range driver",
        re_ohm: 3.4,
        bl_t_m: 2.19,
        mms_kg: 1.3e-3,
        cms_m_per_n: 0.54e-3,
        rms_kg_per_s: 0.31,
        sd_m2: 18e-4,
        coil: power_law(&[0.55, 0.72]),
        creep: None,
    },
    TIDEPOOL_3,
    InventedDriver {
        label: "Turnstone 3",
        description: "3-inch driver with a weak motor",
        re_ohm: 7.2,
        bl_t_m: 2.97,
        mms_kg: 2.1e-3,
        cms_m_per_n: 0.714e-3,
        rms_kg_per_s: 0.613,
        sd_m2: 30e-4,
        coil: power_law(&[0.9, 0.8]),
        creep: None,
    },
    InventedDriver {
        label: "Samphire 4",
        description: "4-inch woofer with a creeping rubber surround",
        re_ohm: 6.1,
        bl_t_m: 6.29,
        mms_kg: 7.5e-3,
        cms_m_per_n: 0.879e-3,
        rms_kg_per_s: 0.417,
        sd_m2: 55e-4,
        coil: lr2(&[0.16e-3, 0.25e-3, 3.2]),
        creep: creep(0.08, 60.0),
    },
    InventedDriver {
        label: "Marram 5",
        description: "5-inch woofer with a metal former",
        re_ohm: 5.7,
        bl_t_m: 7.05,
        mms_kg: 11e-3,
        cms_m_per_n: 0.999e-3,
        rms_kg_per_s: 1.51,
        sd_m2: 88e-4,
        coil: power_law(&[2.6, 0.62]),
        creep: None,
    },
    InventedDriver {
        label: "Eelgrass 6",
        description: "6-inch woofer",
        re_ohm: 5.4,
        bl_t_m: 6.43,
        mms_kg: 17e-3,
        cms_m_per_n: 0.806e-3,
        rms_kg_per_s: 1.09,
        sd_m2: 136e-4,
        coil: semi_inductor(&[0.12e-3, 3e-3, 3.0, 110.0]),
        creep: creep(0.1, 43.0),
    },
    InventedDriver {
        label: "Shingle 6",
        description: "6-inch midbass with hardly any mechanical loss",
        re_ohm: 5.2,
        bl_t_m: 9.16,
        mms_kg: 14e-3,
        cms_m_per_n: 0.598e-3,
        rms_kg_per_s: 0.323,
        sd_m2: 132e-4,
        coil: lr2(&[0.21e-3, 0.4e-3, 5.0]),
        creep: None,
    },
    InventedDriver {
        label: "Groyne 8",
        description: "8-inch woofer",
        re_ohm: 6.3,
        bl_t_m: 10.3,
        mms_kg: 34e-3,
        cms_m_per_n: 0.684e-3,
        rms_kg_per_s: 0.783,
        sd_m2: 215e-4,
        coil: power_law(&[4.6, 0.68]),
        creep: creep(0.06, 33.0),
    },
    InventedDriver {
        label: "Driftwood 10",
        description: "10-inch long-throw woofer",
        re_ohm: 3.3,
        bl_t_m: 10.6,
        mms_kg: 70e-3,
        cms_m_per_n: 0.496e-3,
        rms_kg_per_s: 3.39,
        sd_m2: 345e-4,
        coil: semi_inductor(&[0.25e-3, 6e-3, 5.5, 90.0]),
        creep: None,
    },
    InventedDriver {
        label: "Estuary 12",
        description: "12-inch stage woofer",
        re_ohm: 5.3,
        bl_t_m: 18.0,
        mms_kg: 68e-3,
        cms_m_per_n: 0.233e-3,
        rms_kg_per_s: 2.85,
        sd_m2: 525e-4,
        coil: lr2(&[0.5e-3, 0.9e-3, 9.0]),
        creep: creep(0.12, 40.0),
    },
    InventedDriver {
        label: "Saltmarsh 12",
        description: "12-inch woofer for closed boxes",
        re_ohm: 5.9,
        bl_t_m: 15.5,
        mms_kg: 130e-3,
        cms_m_per_n: 0.312e-3,
        rms_kg_per_s: 1.7,
        sd_m2: 520e-4,
        coil: plain(&[1.3e-3]),
        creep: None,
    },
];
