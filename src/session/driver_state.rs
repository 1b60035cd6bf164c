//! Whether the driver was one and the same thing throughout: alone, with one resonance, as warm at the end as at the beginning.

use super::curves::{Group, Measured};
use super::session::Condition;
use super::typed::Which;
use crate::finding::{Code, Finding, Severity};
use crate::fit::{
    Choice, ExtraLoop, Fit, Loading, Observation, Unfitted, extra_loop, fit_all, second_peak,
};
use crate::parameters::{Readout, re_in_doubt, readout};
use crate::progress::{Unwatched, Watcher};
use crate::quantity::{Covariance2, Estimate};

/// A second peak that rises by this share of the first one belongs to a box, a port or a second cone: what rides on a cone weighs
/// too little to do that (common practice, no source) …
const SECOND_PEAK: f64 = 0.15;
/// … and from here on it is no longer a wrinkle on the driver's own.
const WRINKLE: f64 = 0.04;

/// Standard uncertainties of a difference beyond which it is no chance.
const COVERAGE: f64 = 4.0;
/// A change of Re between takes below this is one of contacts, and no parameter moves by more than half of it …
const WARMED_NOTE: f64 = 0.01;
/// … and from this on (5 kelvin of copper at 0.39 % a kelvin) the coil was driven too hard, or rests were too short.
const WARMED_CAUTION: f64 = 0.02;
/// No coil warms by more in a small-signal take, relative: 50 K of copper, as between free-air and loaded takes.
const NOT_WARMED: f64 = 0.2;

/// A steady change of fs below this moves no parameter by more than set-ups do …
const DRIFT_NOTE: f64 = 0.005;
/// … and above this it is more than three set-ups of 1 % each come to by chance one after the other.
const DRIFT_CAUTION: f64 = 0.03;
/// Fewest takes that show a direction.
const FEWEST: usize = 3;
/// The same where the driver was taken out and put back in between, which moves the resonance by itself: three go one way by chance one
/// time in three, four one time in twelve.
const FEWEST_REMOUNTED: usize = 4;
/// Scatter around a straight line, over the change from first to last, up to which it is a direction.
const STRAIGHT: f64 = 0.25;
/// Takes whose levels differ by more move with the level, dB.
const SAME_LEVEL_DB: f64 = 3.0;

/// A loop that is larger than this part of the impedance reaches further than the stretch that is left out (half of it at 2.5 widths is
/// a fifth of a loop: 1 %).
const LARGE_LOOP: f64 = 0.05;
/// A loop whose stretch moves fs by more than this when it is left out, …
const LOOP_MOVES_FS: f64 = 2e-3;
/// … or a Q by more than this, does harm: about what a calibrated take is good for (common practice, no source).
const LOOP_MOVES_Q: f64 = 0.02;
/// The same where no circuit follows the rest of the curve: as much as the models differ by without being called.
const MISFIT_MOVES_FS: f64 = 0.02;
const MISFIT_MOVES_Q: f64 = 0.1;
/// Stands for leaving a point out: its variance grows by so much.
const LEFT_OUT: f64 = 1e8;

/// Free-air curves with a second peak.
pub(super) fn second_peaks(observations: &[Observation]) -> Vec<Finding> {
    let free = observations
        .iter()
        .filter(|observation| observation.loading == Loading::Free);
    free.filter_map(|observation| {
        let found = second_peak(&observation.curve).filter(|found| found.share > WRINKLE)?;
        let severity = if found.share > SECOND_PEAK {
            Severity::Redo
        } else {
            Severity::Caution
        };
        let (first, second) = found.peaks_hz;
        Some(
            Finding::new(
                Code::SecondResonance,
                severity,
                format!(
                    "the curve has a second peak at {second:.0} Hz beside that at {first:.0} Hz, {:.0} % as high",
                    100.0 * found.share
                ),
                "take the driver out of any box, away from walls and the table, and check that nothing else is connected \
                 to it; then make the take again",
            )
            .with_evidence(found.share, "1", Some(WRINKLE))
            .about(observation.name.clone()),
        )
    })
    .collect()
}

/// The fit again with the stretches of narrow loops left out, the observations that it was made of, and what that says. The same fit
/// and observations where there are none.
pub(super) fn without_loops(
    fit: Fit,
    observations: &[Observation],
    choice: &Choice,
    watcher: &mut dyn Watcher,
) -> Result<(Fit, Vec<Observation>, Vec<Finding>), Unfitted> {
    let mut loops: Vec<Option<ExtraLoop>> = vec![];
    for (i, observation) in observations.iter().enumerate() {
        // The air in a box has resonances of its own.
        let boxed = matches!(observation.loading, Loading::TestBox { .. });
        let found = extra_loop(fit.best(), i, observation, fit.seen[i].fs_hz);
        loops.push(found.filter(|_| !boxed));
    }
    if loops.iter().all(Option::is_none) {
        return Ok((fit, observations.to_vec(), vec![]));
    }
    let eased: Vec<Observation> = observations
        .iter()
        .zip(&loops)
        .map(|(observation, found)| match found {
            Some(found) => left_out(observation, found),
            None => observation.clone(),
        })
        .collect();
    let again = match fit_all(&eased, choice, watcher) {
        Ok(again) => Some(again),
        Err(Unfitted::Cancelled) => return Err(Unfitted::Cancelled),
        Err(_) => None,
    };
    let moved = again
        .as_ref()
        .map(|again| moves(&readout(fit.best()), &readout(again.best())));
    // Where no circuit follows the rest of the curve either, what is left out is as likely a part of that.
    let unsure = again.as_ref().is_some_and(|again| again.misfit);
    let (most_fs, most_q) = if unsure {
        (MISFIT_MOVES_FS, MISFIT_MOVES_Q)
    } else {
        (LOOP_MOVES_FS, LOOP_MOVES_Q)
    };
    let harms = moved.is_none_or(|(fs, q)| fs > most_fs || q > most_q);
    let found = observations.iter().zip(&loops);
    let findings = found
        .filter_map(|(observation, found)| {
            let found = found.as_ref()?;
            let harms = harms || found.part > LARGE_LOOP;
            Some(loop_finding(&observation.name, found, harms))
        })
        .collect();
    Ok((again.unwrap_or(fit), eased, findings))
}

fn loop_finding(name: &str, found: &ExtraLoop, harms: bool) -> Finding {
    let (severity, so) = if harms {
        (Severity::Caution, "")
    } else {
        (Severity::Note, "; it moves nothing else")
    };
    Finding::new(
        Code::ExtraLoop,
        severity,
        format!(
            "the curve has a narrow extra loop at {:.0} Hz, {:.1} % of the impedance there, which was left out of the fit{so}",
            found.frequency_hz,
            100.0 * found.part
        ),
        "tighten the screws, hold the frame, and look for what rattles or rings; then make the take again",
    )
    .with_evidence(found.part, "1", Some(LARGE_LOOP))
    .about(name)
}

/// The observation with the loop's stretch as good as left out.
fn left_out(observation: &Observation, found: &ExtraLoop) -> Observation {
    let (low_hz, high_hz) = found.stretch_hz();
    let curve = &observation.curve;
    let stated = curve.covariance().unwrap_or_default();
    let covariance: Vec<Covariance2> = stated
        .iter()
        .zip(curve.frequency_hz())
        .map(|(c, f)| {
            if (low_hz..=high_hz).contains(f) {
                c.scaled(LEFT_OUT)
            } else {
                *c
            }
        })
        .collect();
    Observation {
        curve: curve.with_covariance(covariance),
        ..observation.clone()
    }
}

/// How far fs and the more moved of the two Qs moved, relative.
fn moves(before: &Readout, after: &Readout) -> (f64, f64) {
    let moved = |of: fn(&Readout) -> Estimate| (of(after).value / of(before).value - 1.0).abs();
    let (mechanical, electrical) = (moved(|r| r.qms), moved(|r| r.qes));
    let q = if mechanical > electrical {
        mechanical
    } else {
        electrical
    };
    (moved(|r| r.fs_hz), q)
}

/// One curve as if nothing were on the cone: Re and the coil are the same then, fs and the Qs are those of the loaded cone.
fn alone(fit: &Fit, curve: crate::impedance::ImpedanceCurve) -> Option<Readout> {
    let choice = Choice {
        coils: vec![fit.best().coil()],
        creep: fit.best().creep_reference_hz().is_some(),
    };
    let observation = Observation::free("", curve);
    let fit = fit_all(&[observation], &choice, &mut Unwatched).ok()?;
    Some(readout(fit.best()))
}

/// What one take says by itself.
struct Single {
    name: String,
    group: usize,
    remounted: bool,
    seen: Readout,
}

/// Changes from take to take: of Re in all takes of the driver, of fs in those in free air.
pub(super) fn changes(
    measured: &Measured,
    use_group: &dyn Fn(&Group) -> bool,
    value: &dyn Fn(Which) -> f64,
    fit: &Fit,
) -> Vec<Finding> {
    let mut singles = vec![];
    for (i, group) in measured.driver.iter().enumerate() {
        if !use_group(group) {
            continue;
        }
        for (name, curve) in measured.member_curves(group, value) {
            let Some(member) = group.members.iter().find(|member| member.name == name) else {
                continue;
            };
            if let Some(seen) = alone(fit, curve) {
                singles.push(Single {
                    name,
                    group: i,
                    remounted: member.remounted,
                    seen,
                });
            }
        }
    }
    let free: Vec<&Single> = singles
        .iter()
        .filter(|single| measured.driver[single.group].condition == Condition::FreeAir)
        .collect();
    // A box that leaks and a mass that is loose bend their curves, and Re with them, where they are fitted as a driver of their own.
    let mut findings: Vec<Finding> =
        warmed(&with_joint_re(measured, &singles, fit), re_in_doubt(fit))
            .into_iter()
            .collect();
    if one_level(measured) {
        let fs: Vec<Estimate> = free.iter().map(|single| single.seen.fs_hz).collect();
        let remounted = free.iter().skip(1).any(|single| single.remounted);
        findings.extend(drifts(
            &fs,
            if remounted { FEWEST_REMOUNTED } else { FEWEST },
        ));
    }
    findings
}

/// Takes with the DC resistance that the joint fit gives their condition, where that is another than free air.
fn with_joint_re(measured: &Measured, singles: &[Single], fit: &Fit) -> Vec<Single> {
    let joint = |single: &Single| {
        let mut seen = single.seen;
        let group = &measured.driver[single.group];
        if group.condition != Condition::FreeAir
            && let Some((re_ohm, _)) = fit.best().unknown(&format!("re_ohm[{}]", group.name))
        {
            seen.re_ohm.value = re_ohm;
        }
        Single {
            name: single.name.clone(),
            seen,
            ..*single
        }
    };
    singles.iter().map(joint).collect()
}

/// Whether no two free-air takes are noted to have been made at different levels.
fn one_level(measured: &Measured) -> bool {
    let free = measured
        .driver
        .iter()
        .filter(|group| group.condition == Condition::FreeAir);
    let levels: Vec<f64> = free
        .flat_map(|group| &group.members)
        .filter_map(|member| Some(member.level?.playback_dbfs))
        .collect();
    let low = levels.iter().copied().min_by(f64::total_cmp);
    let high = levels.iter().copied().max_by(f64::total_cmp);
    high.zip(low)
        .is_none_or(|(high, low)| high - low < SAME_LEVEL_DB)
}

fn relative(of: Estimate) -> f64 {
    of.standard_uncertainty.unwrap_or(f64::INFINITY) / of.value
}

/// `models` is what the models' doubt moves Re by, relative.
fn warmed(singles: &[Single], models: f64) -> Option<Finding> {
    let by_re = |a: &&Single, b: &&Single| a.seen.re_ohm.value.total_cmp(&b.seen.re_ohm.value);
    let (cold, warm) = (singles.iter().min_by(by_re)?, singles.iter().max_by(by_re)?);
    let change = warm.seen.re_ohm.value / cold.seen.re_ohm.value - 1.0;
    let doubt = relative(warm.seen.re_ohm).hypot(relative(cold.seen.re_ohm));
    if change < WARMED_NOTE || change < COVERAGE * doubt + models {
        return None;
    }
    if change > NOT_WARMED + COVERAGE * doubt + models && warm.group == cold.group {
        return Some(
            Finding::new(
                Code::TakesDiffer,
                Severity::Redo,
                format!(
                    "the DC resistance is {:.0} % higher in {} than in {}, and no coil warms by {:.0} degrees here",
                    100.0 * change,
                    warm.name,
                    cold.name,
                    change / COPPER_PER_K,
                ),
                "check that all takes are of the same driver and that the clips hold, and make the odd one again",
            )
            .with_evidence(change, "1", Some(NOT_WARMED)),
        );
    }
    let severity = if change < WARMED_CAUTION {
        Severity::Note
    } else {
        Severity::Caution
    };
    let within = if warm.group == cold.group {
        "takes of one condition are averaged over it"
    } else {
        "each condition was given its own"
    };
    Some(
        Finding::new(
            Code::CoilWarmed,
            severity,
            format!(
                "the DC resistance is {:.1} % higher in {} than in {}, as if the coil had warmed by {:.0} degrees; {within}",
                100.0 * change,
                warm.name,
                cold.name,
                change / COPPER_PER_K,
            ),
            "let the driver rest, play quieter, and make the takes soon after each other; check that the clips hold",
        )
        .with_evidence(change, "1", Some(WARMED_NOTE)),
    )
}

/// Temperature coefficient of copper, 1/K (from memory).
const COPPER_PER_K: f64 = 0.0039;

/// A resonance that moves one way from take to take, in the order in which they were given.
fn drifts(fs_hz: &[Estimate], fewest: usize) -> Option<Finding> {
    if fs_hz.len() < fewest {
        return None;
    }
    let logs: Vec<f64> = fs_hz.iter().map(|fs| fs.value.ln()).collect();
    let (first, last) = (fs_hz.first()?, fs_hz.last()?);
    let change = last.value / first.value - 1.0;
    let one_way = logs
        .windows(2)
        .all(|pair| (pair[1] - pair[0]) * change > 0.0);
    let doubt = relative(*first).hypot(relative(*last));
    let straight = scatter(&logs) < STRAIGHT * change.abs();
    if !one_way || !straight || change.abs() < DRIFT_NOTE || change.abs() < COVERAGE * doubt {
        return None;
    }
    let severity = if change.abs() < DRIFT_CAUTION {
        Severity::Note
    } else {
        Severity::Caution
    };
    Some(
        Finding::new(
            Code::ResonanceDrifts,
            severity,
            format!(
                "the resonance goes from {:.1} Hz to {:.1} Hz over {} takes, {:+.1} %, always the same way",
                first.value,
                last.value,
                fs_hz.len(),
                100.0 * change
            ),
            "let the driver run in and come to the room's temperature, then make the takes again",
        )
        .with_evidence(change, "1", Some(DRIFT_NOTE))
        .about("free-air"),
    )
}

/// Root mean square of what a straight line leaves.
fn scatter(values: &[f64]) -> f64 {
    let n = values.len() as f64;
    let middle = 0.5 * (n - 1.0);
    let mean = values.iter().sum::<f64>() / n;
    let at = |i: usize| i as f64 - middle;
    let (mut across, mut along) = (0.0, 0.0);
    for (i, value) in values.iter().enumerate() {
        across += at(i) * at(i);
        along += at(i) * (value - mean);
    }
    let slope = along / across;
    let square = |(i, value): (usize, &f64)| (value - mean - slope * at(i)).powi(2);
    (values.iter().enumerate().map(square).sum::<f64>() / n).sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn fs(values: &[f64]) -> Vec<Estimate> {
        let estimate = |&value: &f64| Estimate {
            value,
            standard_uncertainty: Some(1e-4 * value),
        };
        values.iter().map(estimate).collect()
    }

    #[test]
    fn only_a_direction_is_a_drift() {
        let severity = |values: &[f64]| drifts(&fs(values), FEWEST).map(|finding| finding.severity);
        assert_eq!(severity(&[60.0, 59.8, 59.6]), Some(Severity::Note));
        assert_eq!(severity(&[60.0, 58.9, 58.0, 57.0]), Some(Severity::Caution));
        assert_eq!(severity(&[60.0, 59.8]), None, "two takes have no direction");
        assert_eq!(severity(&[60.0, 60.5, 58.9]), None, "there and back");
        assert_eq!(severity(&[60.0, 59.95, 59.9]), None, "too little");
        assert_eq!(
            severity(&[60.0, 59.99, 59.98, 58.0]),
            None,
            "one step, no drift"
        );
    }
}
