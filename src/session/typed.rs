//! Everything that somebody typed or that had to be assumed, each with a spread: the influences.

use super::SessionError;
use super::curves::{Measured, STAND_IN_SD_M2};
use super::session::{Condition, Cone, Session};
use super::typed_jig::jig_values;
use crate::air::ResolvedAir;
use crate::finding::{Code, Finding, Severity};
use crate::parameters::{INFLUENCE_STEP, Role};
use crate::quantity::{Spread, Stated};

// Half-widths where a value came without one. Common practice, no source.
/// A pocket scale that shows 0.1 g.
const MASS_KG: f64 = 0.1e-3;
/// A volume reckoned from inner dimensions, or filled with water.
const VOLUME: f64 = 0.02;
/// A ruler across the cone: the middle of the surround is found within a millimetre.
const DIAMETER_M: f64 = 1e-3;
const AREA: f64 = 0.03;

/// Which quantity.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Which {
    Sense,
    Lead,
    /// Load of channel 2 as a conductance.
    LoadSiemens,
    /// Channel 2 over channel 1.
    Gain,
    /// Time by which what one input heard on the driver's side is late, s.
    Delay,
    /// The check resistor of the i-th jig group.
    Check(usize),
    /// 1 if check resistors calibrate, 0 if they are only read; never varied.
    CheckUsed,
    /// The added mass or the volume of the i-th driver group.
    Load(usize),
    /// Relative doubt of what loads the cone in the i-th driver group; never varied.
    LoadDoubt(usize),
    Sd,
    /// 1 if the cone's size is known, else 0; never varied.
    ConeKnown,
    Temperature,
    Pressure,
    Humidity,
}

/// One typed or assumed quantity.
pub(super) struct Typed {
    pub which: Which,
    pub name: String,
    pub stated: Stated,
    pub role: Role,
    pub advice: &'static str,
    /// Whether it is the volume of a box.
    pub is_volume: bool,
    /// That a calibration is missing, where one would make this better known.
    pub missing: Option<Finding>,
}

/// The list of them.
pub(super) struct TypedList(pub Vec<Typed>);

impl TypedList {
    /// The value of one; NaN if it has none here, which no curve survives.
    pub fn value(&self, which: Which) -> f64 {
        if let Which::LoadDoubt(i) = which {
            return self.load_doubt(i);
        }
        self.0
            .iter()
            .find(|typed| typed.which == which)
            .map_or(f64::NAN, |typed| typed.stated.value)
    }

    /// Relative standard uncertainty of a load: the mass, or the stiffness ρc²Sd²/V of a box, whose ρc² follows the
    /// pressure.
    fn load_doubt(&self, i: usize) -> f64 {
        let relative = |which| {
            let typed = self.0.iter().find(|typed| typed.which == which);
            typed.map_or(0.0, |t| {
                t.stated.standard_uncertainty().unwrap_or(0.0) / t.stated.value
            })
        };
        let boxed = self
            .0
            .iter()
            .any(|typed| typed.which == Which::Load(i) && typed.is_volume);
        let own = relative(Which::Load(i));
        if boxed {
            own.hypot(2.0 * relative(Which::Sd))
                .hypot(relative(Which::Pressure))
        } else {
            own
        }
    }

    /// The value of one, with `higher` up by [`INFLUENCE_STEP`] standard uncertainties.
    pub fn value_with(&self, which: Which, higher: Which) -> f64 {
        let up = |typed: &Typed| typed.stated.standard_uncertainty().unwrap_or(0.0);
        let shift = self
            .0
            .iter()
            .find(|typed| typed.which == which && which == higher)
            .map_or(0.0, up);
        self.value(which) + INFLUENCE_STEP * shift
    }
}

/// Collects the list, and notes what had to be assumed.
pub(super) fn typed(
    session: &Session,
    measured: &Measured,
    air: &ResolvedAir,
    findings: &mut Vec<Finding>,
) -> Result<TypedList, SessionError> {
    let mut list = TypedList(vec![]);
    if let Some(jig) = &session.jig {
        jig_values(jig, measured, findings, &mut list)?;
    }
    let mut add = |which, name: &str, stated: Stated, role, advice| {
        let is_volume = stated_is_volume(measured, which);
        list.0.push(Typed {
            which,
            name: name.to_owned(),
            stated,
            role,
            advice,
            is_volume,
            missing: None,
        });
    };
    let through = Role::ThroughTheFit;
    for (i, group) in measured.driver.iter().enumerate() {
        match group.condition {
            Condition::AddedMass { mass_kg } => {
                let stated = filled(
                    mass_kg,
                    MASS_KG,
                    &format!("the mass of {}", group.name),
                    "g",
                    1e3,
                    findings,
                );
                add(
                    Which::Load(i),
                    &format!("the mass of {}", group.name),
                    stated,
                    through,
                    "weigh the mass better",
                );
            }
            Condition::TestBox { volume_m3 } => {
                let name = format!("the volume of {}", group.name);
                let stated = filled(
                    volume_m3,
                    VOLUME * volume_m3.value,
                    &name,
                    "L",
                    1e3,
                    findings,
                );
                add(
                    Which::Load(i),
                    &name,
                    stated,
                    through,
                    "measure the box's volume better, for example with water",
                );
            }
            _ => {}
        }
    }
    let (sd, known) = cone_area(session.cone, findings);
    let role = if known { Role::ConeArea } else { through };
    add(
        Which::Sd,
        "the size of the cone",
        sd,
        role,
        "measure the cone better: several diameters, middle to middle",
    );
    let known = Stated {
        value: f64::from(u8::from(known)),
        spread: Spread::Standard(0.0),
    };
    add(
        Which::ConeKnown,
        "whether the cone is known",
        known,
        through,
        "",
    );
    add(
        Which::Temperature,
        "the temperature",
        air.temperature_k,
        Role::Temperature,
        "read a thermometer",
    );
    add(
        Which::Pressure,
        "the air pressure",
        air.pressure_pa,
        Role::Pressure,
        "read a barometer, or give the altitude",
    );
    add(
        Which::Humidity,
        "the humidity",
        air.relative_humidity,
        Role::Humidity,
        "read a hygrometer",
    );
    Ok(list)
}

/// The stated value, with a default half-width and a note where nothing was said about its spread.
pub(super) fn filled(
    stated: Stated,
    half_width: f64,
    what: &str,
    unit: &str,
    per_si: f64,
    findings: &mut Vec<Finding>,
) -> Stated {
    let (filled, used) = stated.or_half_width(half_width);
    if used {
        let shown = half_width * per_si;
        let typed_unit = unit.replace('²', "2");
        assumed(
            Code::UncertaintyAssumed,
            &format!(
                "{what} came without an uncertainty: taken as within {} {unit}",
                round_to(shown, 2)
            ),
            &format!(
                "say how well it is known, for example {}{typed_unit}+-{}{typed_unit}",
                round_to(stated.value * per_si, 4),
                round_to(0.5 * shown, 2),
            ),
            findings,
        );
    }
    filled
}

/// So many significant digits, for messages.
fn round_to(value: f64, digits: i32) -> f64 {
    let scale = 10.0_f64.powf(f64::from(digits - 1) - value.abs().log10().floor());
    (value * scale).round() / scale
}

fn assumed(code: Code, message: &str, advice: &str, findings: &mut Vec<Finding>) {
    findings.push(Finding::new(code, Severity::Note, message, advice));
}

/// Area of the cone, m², and whether it is known.
fn cone_area(cone: Option<Cone>, findings: &mut Vec<Finding>) -> (Stated, bool) {
    match cone {
        None => (
            Stated {
                value: STAND_IN_SD_M2,
                spread: Spread::Standard(0.0),
            },
            false,
        ),
        Some(Cone::Area(area)) => (
            filled(
                area,
                AREA * area.value,
                "the cone's area",
                "cm²",
                1e4,
                findings,
            ),
            true,
        ),
        Some(Cone::Diameter(diameter)) => {
            let d = filled(
                diameter,
                DIAMETER_M,
                "the cone's diameter",
                "mm",
                1e3,
                findings,
            );
            // Sd = π(d/2)², dSd = 2·Sd·dd/d
            let area = std::f64::consts::PI * (0.5 * d.value).powi(2);
            let slope = 2.0 * area / d.value;
            let spread = match d.spread {
                Spread::HalfWidth(half_width) => Spread::HalfWidth(slope * half_width),
                Spread::Standard(standard) => Spread::Standard(slope * standard),
                Spread::Unstated => Spread::Unstated,
            };
            (
                Stated {
                    value: area,
                    spread,
                },
                true,
            )
        }
    }
}

fn stated_is_volume(measured: &Measured, which: Which) -> bool {
    match which {
        Which::Load(i) => matches!(measured.driver[i].condition, Condition::TestBox { .. }),
        _ => false,
    }
}
