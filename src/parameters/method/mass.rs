//! Whether an added mass did its work.

use super::alone::Alone;
use crate::finding::{Code, Finding, Severity};
use crate::fit::{Fit, Loading, Observation};
use crate::quantity::Estimate;

/// Drop of the resonance that serves best is 20 to 30 %; outside these the mass is told badly (too light) or the suspension is
/// no longer that of the free cone (too heavy). Common practice, no source.
const LEAST_DROP: f64 = 0.12;
const MOST_DROP: f64 = 0.38;
/// The two ways to the moving mass agree within this, relative, where creep and coils of none of the families are all that is between
/// them, and what they give is no further apart than Vas from set-up to set-up (twice 10 %; common practice, no source) …
const DISAGREE: f64 = 0.20;
/// … but half of it where no circuit follows a curve: something is wrong then, and this tells what.
const DISAGREE_POOR: f64 = 0.10;
/// … and beyond this none of the two is the moving mass.
const HOPELESS: f64 = 0.30;
/// Or within so many standard uncertainties of their difference.
const COVERAGE: f64 = 3.0;
/// Mass and box pull at each other by this many standard uncertainties of what was typed.
const TENSION: f64 = 3.0;
/// A load is never believed better than this, relative: as the joint fit has it.
const LEAST_DOUBT: f64 = 0.002;

/// A finding if the drop, relative, is outside what serves.
pub(super) fn shift(name: &str, drop: f64) -> Option<Finding> {
    let percent = 100.0 * drop;
    if drop < LEAST_DROP {
        let finding = Finding::new(
            Code::MassShiftSmall,
            Severity::Caution,
            format!(
                "the added mass lowers the resonance by {percent:.0} % only: an error of the resonance weighs heavily"
            ),
            "add more mass, so that fs drops by 20 to 30 %",
        );
        return Some(
            finding
                .about(name)
                .with_evidence(drop, "1", Some(LEAST_DROP)),
        );
    }
    (drop > MOST_DROP).then(|| {
        Finding::new(
            Code::MassShiftLarge,
            Severity::Caution,
            format!("the added mass lowers the resonance by {percent:.0} %: so heavy a cone sags, and its suspension is another"),
            "use less mass, so that fs drops by 20 to 30 %",
        )
        .about(name)
        .with_evidence(drop, "1", Some(MOST_DROP))
    })
}

/// A finding if the mass from the resonances and the mass from the electrical Qs disagree: (P15), (P16).
pub(super) fn formulas_disagree(
    observation: &Observation,
    mass_kg: f64,
    free: &Alone,
    own: &Alone,
) -> Option<Finding> {
    let relative =
        |estimate: Estimate| estimate.standard_uncertainty.unwrap_or(0.0) / estimate.value;
    let [a, b] = [free, own].map(|alone| alone.readout);
    let squared = (a.fs_hz.value / b.fs_hz.value).powi(2);
    let product = (b.qes.value / b.re_ohm.value * a.fs_hz.value)
        / (a.qes.value / a.re_ohm.value * b.fs_hz.value);
    if squared <= 1.0 {
        return None;
    }
    let from_resonances = mass_kg / (squared - 1.0);
    let from_qs = mass_kg / (product - 1.0);
    let u_resonance = relative(a.fs_hz).hypot(relative(b.fs_hz));
    let models = free.models.hypot(own.models);
    let u_q = u_resonance
        .hypot(relative(a.qes))
        .hypot(relative(b.qes))
        .hypot(models);
    let by_mounting = squared / (squared - 1.0) * observation.stiffness_doubt;
    let u = (2.0 * squared / (squared - 1.0) * u_resonance)
        .hypot(product / (product - 1.0) * u_q)
        .hypot(by_mounting);
    // A product of one or less weighs nothing: the second mass is then infinitely off.
    let off = if product > 1.0 {
        (from_qs / from_resonances).ln().abs()
    } else {
        f64::INFINITY
    };
    // Where no circuit follows a curve its Qs are unsure because something is wrong with it: that excuses nothing.
    let poor = free.poor || own.poor;
    let excused = COVERAGE * if poor { by_mounting } else { u };
    let floor = if poor { DISAGREE_POOR } else { DISAGREE };
    let limit = if excused > floor { excused } else { floor };
    (off > limit).then(|| {
        let severity = if off > HOPELESS { Severity::Redo } else { Severity::Caution };
        let second = if product > 1.0 {
            format!("{:.2} g", 1e3 * from_qs)
        } else {
            "nothing sensible".to_owned()
        };
        Finding::new(
            Code::MassFormulasDisagree,
            severity,
            format!(
                "the two ways to the moving mass disagree: {:.2} g from the resonances, {second} from the electrical Qs",
                1e3 * from_resonances
            ),
            "stick the mass on firmly, near the middle and symmetric, clamp the driver exactly as in the free-air take, and make \
             both takes again soon after each other",
        )
        .about(observation.name.clone())
        .with_evidence(off, "1", Some(limit))
    })
}

/// A finding if several loads, each with what was typed about it, do not agree on one driver.
pub(super) fn loads_disagree(observations: &[Observation], fit: &Fit) -> Option<Finding> {
    let mut squares = 0.0;
    let mut names = vec![];
    for observation in observations {
        let (Loading::AddedMass { doubt, .. } | Loading::TestBox { doubt, .. }) =
            observation.loading
        else {
            continue;
        };
        let Some((factor, _)) = fit
            .best()
            .unknown(&format!("load_factor[{}]", observation.name))
        else {
            continue;
        };
        let doubt = if doubt > LEAST_DOUBT {
            doubt
        } else {
            LEAST_DOUBT
        };
        squares += (factor.ln() / doubt).powi(2);
        names.push(observation.name.as_str());
    }
    let tension = f64::sqrt(squares);
    (tension > TENSION).then(|| {
        Finding::new(
            Code::MassFormulasDisagree,
            Severity::Caution,
            format!(
                "{} do not agree on one driver: what was typed about them would have to be {tension:.1} standard uncertainties off",
                names.join(" and ")
            ),
            "weigh the mass again (putty included), measure the box's volume and the cone again, and look for a leak",
        )
        .with_evidence(tension, "1", Some(TENSION))
    })
}
