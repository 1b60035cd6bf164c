//! The one way through: takes, curves, fit, parameters, sheet.

use super::SessionError;
use super::curves::{Group, Measured, air, measure};
use super::driver_state::{changes, second_peaks, without_loops};
use super::jig_reading;
use super::levels::levels;
use super::meter::meter;
use super::missing::missing_notes;
use super::session::{Condition, Data, Session};
use super::typed::{TypedList, Which, typed};
use super::write::{self, Whole};
use crate::faults::{corners_on_curve, curve_findings, starts_too_high};
use crate::finding::{Code, Finding, Severity, Verdict};
use crate::fit::{Choice, Fit, Observation, Resonance, Unfitted, fit_all, resonance};
use crate::impedance::combine_on_one_jig;
use crate::parameters::{
    Influence, Known, SmallSignal, Wanted, fit_findings, method_findings, plausibility_findings,
    small_signal,
};
use crate::progress::{Unwatched, Watcher};
use crate::sheet::{LevelEntry, Sheet};

/// Fewest draws of which an interval's ends mean anything: 25 lie outside on either side.
const FEWEST_DRAWS: usize = 1000;

/// Analyses a session.
///
/// A readable take always yields a sheet: where something is wrong with a recording, or the fit does not converge, the
/// verdict is `redo` and the parameters that depend on it are absent.
///
/// # Errors
/// [`SessionError`] where the session contradicts itself or misses what cannot be assumed.
pub fn analyse(session: Session, watcher: &mut dyn Watcher) -> Result<Sheet, SessionError> {
    analyse_noting(session, vec![], watcher)
}

/// Analyses a session of which something is known besides, such as the age of its calibration: `noted` stands with the other
/// findings and counts for the verdict.
///
/// # Errors
/// As [`analyse`].
pub fn analyse_noting(
    mut session: Session,
    noted: Vec<Finding>,
    watcher: &mut dyn Watcher,
) -> Result<Sheet, SessionError> {
    check(&session)?;
    let mut findings = noted;
    let (resolved_air, air_findings) = session.air.resolve()?;
    findings.extend(air_findings);
    let origin = write::origin(&session);
    let measured = measure(&mut session, &mut findings, watcher)?;
    let typed = typed(&session, &measured, &resolved_air, &mut findings)?;
    let outcome = driver(&session, &measured, &typed, &mut findings, watcher)?;
    findings.extend(missing_notes(&typed, outcome.parameters.as_ref()));
    Ok(write::sheet(&Whole {
        session: &session,
        measured: &measured,
        typed: &typed,
        air: &resolved_air,
        outcome,
        findings,
        origin,
    }))
}

fn check(session: &Session) -> Result<(), SessionError> {
    if !session
        .takes
        .iter()
        .any(|take| take.condition == Condition::FreeAir && !take.aside)
    {
        return Err(SessionError::NoFreeAir);
    }
    for (i, take) in session.takes.iter().enumerate() {
        if session.takes[..i]
            .iter()
            .any(|other| other.name == take.name)
        {
            return Err(SessionError::NameTwice {
                name: take.name.clone(),
            });
        }
    }
    let n_tables = session
        .takes
        .iter()
        .filter(|take| matches!(take.data, Data::Table(_)))
        .count();
    match (n_tables, &session.jig) {
        (0, None) => return Err(SessionError::NoJig),
        (n, Some(_)) if n == session.takes.len() => return Err(SessionError::NeedlessJig),
        (n, _) if n > 0 && n < session.takes.len() => return Err(SessionError::Mixed),
        _ => {}
    }
    if let Some(take) = session
        .takes
        .iter()
        .find(|take| take.aside && take.condition != Condition::FreeAir)
    {
        return Err(SessionError::AsideNotFree {
            name: take.name.clone(),
        });
    }
    let (low_hz, high_hz) = session.band_hz;
    if !(low_hz > 0.0 && high_hz > low_hz && high_hz.is_finite()) {
        return Err(SessionError::Band { low_hz, high_hz });
    }
    if session.n_draws < FEWEST_DRAWS {
        return Err(SessionError::FewDraws {
            n_draws: session.n_draws,
        });
    }
    Ok(())
}

/// What came of the driver.
pub(super) struct Outcome {
    pub observations: Vec<Observation>,
    /// Scatter of each observation's takes over their noise.
    pub spreads: Vec<Option<f64>>,
    pub fit: Option<Fit>,
    pub parameters: Option<SmallSignal>,
    pub known: Option<Known>,
    /// The driver at several levels, the quietest first; empty if the takes had one level.
    pub levels: Vec<LevelEntry>,
}

fn driver(
    session: &Session,
    measured: &Measured,
    typed: &TypedList,
    findings: &mut Vec<Finding>,
    watcher: &mut dyn Watcher,
) -> Result<Outcome, SessionError> {
    let value = |which| typed.value(which);
    let use_group = usable(measured, typed, findings);
    let observations = measured.observations(&use_group, &value);
    let spreads = groups_used(measured, &use_group)
        .map(|group| spread(measured, group, &value, findings))
        .collect();
    let sense_ohm = session.jig.map(|jig| jig.sense_ohm);
    let jig = jig_reading::read(measured, sense_ohm, &value, observations.first());
    findings.extend(jig.findings.iter().cloned());
    for observation in &observations {
        findings.extend(curve_findings(&observation.name, &observation.curve));
        if measured.wiring.is_some() && !jig.inputs_known {
            findings.extend(corners_on_curve(&observation.name, &observation.curve));
        }
        if observation.curve.covariance().is_none() {
            findings.push(table_note(&observation.name));
        }
    }
    // What rubs or distorts roughens the curve: peaks in it are none of the driver's.
    if !findings.iter().any(|f| f.code == Code::Distorted) {
        findings.extend(second_peaks(&observations));
    }
    let mut outcome = Outcome {
        observations,
        spreads,
        fit: None,
        parameters: None,
        known: None,
        levels: vec![],
    };
    let levels_findings;
    let free_air =
        matches!(outcome.observations.first(), Some(first) if first.name.starts_with("free-air"));
    if !free_air || Verdict::of(findings) == Verdict::Redo {
        return Ok(outcome);
    }
    let fit = match fit_all(&outcome.observations, &session.choice, watcher) {
        Ok(fit) => fit,
        Err(Unfitted::Cancelled) => return Err(SessionError::Cancelled),
        Err(unfitted) => {
            findings.extend(too_high(&outcome.observations, &[]));
            findings.push(unfitted.finding());
            return Ok(outcome);
        }
    };
    let (fit, eased, loops) = without_loops(fit, &outcome.observations, &session.choice, watcher)
        .map_err(|_| SessionError::Cancelled)?;
    findings.extend(loops);
    findings.extend(too_high(&outcome.observations, &fit.seen));
    findings.extend(fit_findings(&fit));
    findings.extend(changes(measured, &use_group, &value, &fit));
    let (known, method) = method_findings(&eased, &fit, value(Which::ConeKnown) > 0.0);
    findings.extend(method);
    outcome.known = Some(known);
    if !fit
        .findings
        .iter()
        .any(|finding| finding.severity == Severity::Redo)
    {
        let influences = influences(measured, typed, &use_group, &outcome.observations, findings);
        let remounted = remounted(session, measured, &value, &fit);
        let wanted = Wanted {
            known,
            sd_m2: value(Which::Sd),
            air: air(&value),
            influences: &influences,
            remounted: &remounted,
            n_draws: session.n_draws,
            seed: session.seed,
        };
        match small_signal(&fit, &wanted) {
            Ok(result) => {
                findings.extend(plausibility_findings(&result));
                let sense_known = jig.checks.iter().any(|check| check.passes() == Some(true));
                findings.extend(meter(session, &result, jig.inputs_known, sense_known));
                outcome.parameters = Some(result);
            }
            Err(error) => findings.push(Finding::new(
                Code::NotConverged,
                Severity::Redo,
                format!("the uncertainties could not be computed: {error}"),
                "record again; if it stays so, ask for fewer draws",
            )),
        }
    }
    (outcome.levels, levels_findings) = levels(session, measured, &value, &fit);
    findings.extend(levels_findings);
    outcome.fit = Some(fit);
    Ok(outcome)
}

/// A test box needs the cone's size once a mass is weighed too: otherwise the two would fix one unknown twice.
fn usable<'a>(
    measured: &'a Measured,
    typed: &TypedList,
    findings: &mut Vec<Finding>,
) -> impl Fn(&Group) -> bool + use<'a> {
    let has =
        |pick: fn(&Condition) -> bool| measured.driver.iter().any(|group| pick(&group.condition));
    let weighed = has(|c| matches!(c, Condition::AddedMass { .. }));
    let boxed = has(|c| matches!(c, Condition::TestBox { .. }));
    let leave_out = weighed && boxed && typed.value(Which::ConeKnown) == 0.0;
    if leave_out {
        findings.push(Finding::new(
            Code::ConeAbsent,
            Severity::Caution,
            "the test-box takes are not used: together with an added mass they need the size of the cone",
            "measure the cone from the middle of the surround to the middle of the surround (--cone)",
        ));
    }
    move |group| !(leave_out && matches!(group.condition, Condition::TestBox { .. }))
}

fn groups_used<'a>(
    measured: &'a Measured,
    use_group: &'a dyn Fn(&Group) -> bool,
) -> impl Iterator<Item = &'a Group> {
    measured.driver.iter().filter(|group| use_group(group))
}

/// Standard uncertainty of fs from one set-up to the next (common practice, no source).
const SETUP_FS: f64 = 0.01;
/// Range of two, three … ten normal numbers in standard deviations that is exceeded once in a thousand times: upper 0.1 % points of the
/// studentised range with infinitely many degrees of freedom (H. L. Harter, Ann. Math. Stat. 31(4), 1960, 1122–1147, from memory; the test
/// computes them). More takes than ten hardly range further.
const RANGE: [f64; 9] = [
    4.654, 5.063, 5.309, 5.484, 5.619, 5.730, 5.823, 5.903, 5.973,
];

/// By how much the resonances of so many takes of one condition may range, relative.
fn takes_differ(n_takes: usize) -> f64 {
    SETUP_FS * RANGE[n_takes.saturating_sub(2).min(RANGE.len() - 1)]
}

/// Scatter of a group's takes; a finding where their resonances differ by more than a set-up explains.
fn spread(
    measured: &Measured,
    group: &Group,
    value: &dyn Fn(Which) -> f64,
    findings: &mut Vec<Finding>,
) -> Option<f64> {
    let curves = measured.member_curves(group, value);
    let seen: Vec<f64> = curves
        .iter()
        .filter_map(|(_, curve)| Some(resonance(curve)?.fs_hz))
        .collect();
    let low = seen.iter().copied().min_by(f64::total_cmp)?;
    let high = seen.iter().copied().max_by(f64::total_cmp)?;
    let limit = takes_differ(seen.len());
    if high / low - 1.0 > limit {
        findings.push(
            Finding::new(
                Code::TakesDiffer,
                Severity::Caution,
                format!("the takes of this condition resonate between {low:.1} Hz and {high:.1} Hz"),
                "clamp the driver alike each time, let it warm up, and leave out the take that does not belong",
            )
            .with_evidence(high / low - 1.0, "1", Some(limit))
            .about(group.name.clone()),
        );
    }
    combine_on_one_jig(&measured.curves_apart(group, value), 1)?
        .0
        .spread
}

/// Curves that begin too close to their resonances; without `seen`, those that have none because they begin above it.
fn too_high(observations: &[Observation], seen: &[Resonance]) -> Vec<Finding> {
    let own = |(i, observation): (usize, &Observation)| {
        let fs_hz = match seen.get(i) {
            Some(seen) => Some(seen.fs_hz),
            None => resonance(&observation.curve).map(|seen| seen.fs_hz),
        };
        starts_too_high(&observation.name, &observation.curve, fs_hz)
    };
    observations.iter().enumerate().filter_map(own).collect()
}

fn table_note(name: &str) -> Finding {
    Finding::new(
        Code::TableWithoutUncertainty,
        Severity::Note,
        "the table states no uncertainty: it was taken from the scatter around the fit",
        "add columns of standard uncertainty if the instrument gives them",
    )
    .about(name)
}

/// Every typed quantity with what the observations would be, had it been a standard uncertainty higher.
fn influences(
    measured: &Measured,
    typed: &TypedList,
    use_group: &dyn Fn(&Group) -> bool,
    observations: &[Observation],
    findings: &mut Vec<Finding>,
) -> Vec<Influence> {
    let doubted = typed
        .0
        .iter()
        .filter(|t| t.stated.standard_uncertainty().is_some_and(|u| u > 0.0));
    doubted
        .map(|doubted| {
            let value = |which| typed.value_with(which, doubted.which);
            let moved = measured.observations(use_group, &value);
            // A shift that leaves some curve without finite values cannot be followed; the fit cannot either.
            let follows = moved.len() == observations.len() && moved != observations;
            if moved.len() != observations.len() {
                findings.push(Finding::new(
                    Code::NotIdentifiable,
                    Severity::Caution,
                    format!("the doubt about {} is so large that the curves cannot follow it; it is not in the \
                             uncertainties", doubted.name),
                    doubted.advice,
                ));
            }
            Influence {
                name: doubted.name.clone(),
                stated: doubted.stated,
                role: doubted.role,
                observations: follows.then_some(moved),
                advice: doubted.advice,
            }
        })
        .collect()
}

/// Fits of single free-air takes, where the driver was taken out in between.
fn remounted(
    session: &Session,
    measured: &Measured,
    value: &dyn Fn(Which) -> f64,
    fit: &Fit,
) -> Vec<Fit> {
    let Some(group) = measured
        .driver
        .first()
        .filter(|group| group.members.iter().any(|member| member.remounted))
    else {
        return vec![];
    };
    let choice = Choice {
        coils: vec![fit.best().coil()],
        creep: session.choice.creep && fit.best().creep_reference_hz().is_some(),
    };
    let curves = measured.member_curves(group, value);
    curves
        .into_iter()
        .filter_map(|(name, curve)| {
            let alone = Observation::free(name, curve);
            fit_all(&[alone], &choice, &mut Unwatched).ok()
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::RANGE;

    /// P(range < r) = n·∫ φ(x)·(Φ(x + r) − Φ(x))^(n − 1) dx, by sums.
    #[test]
    fn ranges_are_exceeded_once_in_a_thousand() {
        const STEP: f64 = 1e-3;
        let density = |x: f64| (-0.5 * x * x).exp() / std::f64::consts::TAU.sqrt();
        let mut below = vec![0.0];
        for i in 0..18_000 {
            let x = -9.0 + (f64::from(i) + 0.5) * STEP;
            below.push(below[i as usize] + density(x) * STEP);
        }
        for (i, range) in RANGE.iter().enumerate() {
            let n = i as i32 + 2;
            let shift = (range / STEP).round() as usize;
            let inside: f64 = (0..below.len())
                .map(|j| {
                    let upto = below[(j + shift).min(below.len() - 1)];
                    let x = -9.0 + j as f64 * STEP;
                    f64::from(n) * density(x) * (upto - below[j]).powi(n - 1) * STEP
                })
                .sum();
            // Three decimals of the range are 0.2 % of the chance.
            assert!((1.0 - inside - 1e-3).abs() < 5e-6, "{n}: {inside}");
        }
    }
}
