//! What loads the cone of a group, for assumed values.

use super::curves::{Group, air};
use super::session::Condition;
use super::typed::Which;
use crate::air::Air;
use crate::circuit::TestBox;
use crate::fit::{Loading, resonance};
use crate::impedance::ImpedanceCurve;

/// Share of the moving mass by which a box may change the air load, where the cone's size is unknown (common practice,
/// no source); with a known cone it is the load of the free disc.
const AIR_LOAD_SHARE: f64 = 0.1;

/// The load of the i-th driver group.
pub(super) fn loading(
    group: &Group,
    i: usize,
    curve: &ImpedanceCurve,
    value: &dyn Fn(Which) -> f64,
) -> Loading {
    match group.condition {
        Condition::AddedMass { .. } => Loading::AddedMass {
            mass_kg: value(Which::Load(i)),
            doubt: value(Which::LoadDoubt(i)),
        },
        Condition::TestBox { .. } => {
            let air = air(value);
            let sd_m2 = value(Which::Sd);
            let volume_m3 = value(Which::Load(i));
            let TestBox {
                air_stiffness_n_per_m,
                ..
            } = TestBox::new(air.bulk_modulus_pa(), sd_m2, volume_m3);
            Loading::TestBox {
                air_stiffness_n_per_m,
                doubt: value(Which::LoadDoubt(i)),
                air_load_change_kg: air_load_change_kg(curve, value, &air, air_stiffness_n_per_m),
            }
        }
        _ => Loading::Free,
    }
}

/// How far the box may change the air load: by as much as the whole load of the free disc, 8/3·ρ·a³ (Lamb,
/// Hydrodynamics, 6th ed., 1932, from memory).
fn air_load_change_kg(
    curve: &ImpedanceCurve,
    value: &dyn Fn(Which) -> f64,
    air: &Air,
    stiffness: f64,
) -> f64 {
    if value(Which::ConeKnown) > 0.0 {
        let radius_m = (value(Which::Sd) / std::f64::consts::PI).sqrt();
        return 8.0 / 3.0 * air.density_kg_per_m3() * radius_m.powi(3);
    }
    let fc_hz = resonance(curve).map_or(100.0, |seen| seen.fs_hz);
    AIR_LOAD_SHARE * stiffness / (std::f64::consts::TAU * fc_hz).powi(2)
}
