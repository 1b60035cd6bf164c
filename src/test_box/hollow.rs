//! The air in front of the cone, where nobody filled it with water or rice.

use std::f64::consts::PI;

use crate::quantity::Stated;

use super::error::TestBoxError;

/// Half-width of a hollow that was filled and weighed, relative: a film that does not lie in every fold, a level judged by eye (common
/// practice, no source).
const FILLED_HALF_WIDTH: f64 = 0.1;
/// Half-width of a hollow that was worked out as a frustum, relative: cones are curved, dust caps and surrounds stand out (common practice, no
/// source).
const WORKED_OUT_HALF_WIDTH: f64 = 0.25;

/// The half-width that is assumed for a measured hollow without one, m³.
pub fn hollow_half_width(hollow_m3: f64) -> f64 {
    FILLED_HALF_WIDTH * hollow_m3.abs()
}

/// The hollow of a straight cone, m³, with its assumed half-width, (B7).
///
/// `mouth_m` is the cone's diameter at the flange, `cap_m` that of the dust cap, `depth_m` from the flange's front plane to the dust cap's edge.
///
/// # Errors
/// [`TestBoxError::Impossible`] for what is not above zero, or a dust cap that is wider than the cone.
pub fn hollow_of_cone(mouth_m: f64, cap_m: f64, depth_m: f64) -> Result<Stated, TestBoxError> {
    for (name, value) in [
        ("the cone's diameter", mouth_m),
        ("the dust cap's diameter", cap_m),
        ("the cone's depth", depth_m),
    ] {
        if !value.is_finite() || value <= 0.0 {
            return Err(TestBoxError::Impossible { name, value });
        }
    }
    if cap_m > mouth_m {
        return Err(TestBoxError::Impossible {
            name: "the dust cap's diameter",
            value: cap_m,
        });
    }
    let hollow_m3 = PI / 12.0 * depth_m * (mouth_m * mouth_m + mouth_m * cap_m + cap_m * cap_m);
    Ok(Stated::within(hollow_m3, WORKED_OUT_HALF_WIDTH * hollow_m3))
}
