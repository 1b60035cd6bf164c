//! The driver at several levels: how its resonance and its Q move when it is driven harder.

use super::curves::Measured;
use super::session::{Condition, Session, TakeLevel};
use super::typed::Which;
use crate::finding::{Code, Finding, Severity};
use crate::fit::{Choice, Fit, Observation, fit_all};
use crate::parameters::{Readout, readout};
use crate::progress::Unwatched;
use crate::quantity::Estimate;
use crate::sheet::{LevelEntry, ValueEntry};

/// Takes whose levels differ by less are of one level: knobs and batteries wander that much.
const SAME_LEVEL_DB: f64 = 3.0;
/// The span that a shift is stated for, dB.
const SPAN_DB: f64 = 12.0;
/// Soft suspensions commonly shift fs by 2 to 5 % over 12 dB (common practice, no source), so below this it is nothing …
const USUAL_SHIFT: f64 = 0.03;
/// … and above this the takes were not small-signal.
const LARGE_SHIFT: f64 = 0.06;

/// One fit a free-air take with a noted level, the quietest first, and what their differences say. Empty where all takes have
/// one level.
pub(super) fn levels(
    session: &Session,
    measured: &Measured,
    value: &dyn Fn(Which) -> f64,
    fit: &Fit,
) -> (Vec<LevelEntry>, Vec<Finding>) {
    let in_fit = measured
        .driver
        .iter()
        .filter(|group| group.condition == Condition::FreeAir)
        .flat_map(|group| &group.members);
    let leveled: Vec<(&str, TakeLevel)> = in_fit
        .chain(&measured.aside)
        .filter_map(|member| Some((member.name.as_str(), member.level?)))
        .collect();
    let quietest = leveled
        .iter()
        .min_by(|a, b| a.1.playback_dbfs.total_cmp(&b.1.playback_dbfs));
    let loudest = leveled
        .iter()
        .max_by(|a, b| a.1.playback_dbfs.total_cmp(&b.1.playback_dbfs));
    let (Some(quietest), Some(loudest)) = (quietest, loudest) else {
        return (vec![], vec![]);
    };
    if loudest.1.playback_dbfs - quietest.1.playback_dbfs < SAME_LEVEL_DB {
        return (vec![], vec![]);
    }
    let choice = Choice {
        coils: vec![fit.best().coil()],
        creep: session.choice.creep && fit.best().creep_reference_hz().is_some(),
    };
    let free_air = measured
        .driver
        .iter()
        .filter(|group| group.condition == Condition::FreeAir)
        .flat_map(|group| measured.member_curves(group, value));
    let mut entries: Vec<LevelEntry> = free_air
        .chain(measured.curves_of(&measured.aside, value))
        .filter_map(|(name, curve)| {
            let (_, level) = *leveled.iter().find(|(of, _)| *of == name)?;
            let alone = Observation::free(name.clone(), curve);
            let fit = fit_all(&[alone], &choice, &mut Unwatched).ok()?;
            Some(entry(name, level, &readout(fit.best())))
        })
        .collect();
    entries.sort_by(|a, b| a.playback_dbfs.total_cmp(&b.playback_dbfs));
    let findings = shift(&entries).into_iter().collect();
    (entries, findings)
}

fn entry(take: String, level: TakeLevel, seen: &Readout) -> LevelEntry {
    let value = |estimate: Estimate, unit: &str| ValueEntry {
        value: estimate.value,
        unit: unit.to_owned(),
        standard_uncertainty: estimate.standard_uncertainty.filter(|u| u.is_finite()),
    };
    LevelEntry {
        take,
        playback_dbfs: level.playback_dbfs,
        driver_peak_v: level.driver_peak_v,
        fs: value(seen.fs_hz, "Hz"),
        qms: value(seen.qms, "1"),
        qes: value(seen.qes, "1"),
        qts: value(seen.qts, "1"),
    }
}

/// The finding about a resonance that moves with the level, scaled to 12 dB.
fn shift(entries: &[LevelEntry]) -> Option<Finding> {
    let (first, last) = (entries.first()?, entries.last()?);
    let span_db = last.playback_dbfs - first.playback_dbfs;
    if span_db < SAME_LEVEL_DB {
        return None;
    }
    let over_span = (last.fs.value / first.fs.value).ln() * SPAN_DB / span_db;
    let severity = match over_span.abs() {
        s if s < USUAL_SHIFT => return None,
        s if s < LARGE_SHIFT => Severity::Note,
        _ => Severity::Caution,
    };
    let advice = match severity {
        Severity::Note => {
            "a soft suspension does this; use the parameters of the lowest level that is free of noise"
        }
        _ => {
            "measure at a lower level: the driver is not in its small-signal range, or something touches the cone"
        }
    };
    Some(
        Finding::new(
            Code::LevelShift,
            severity,
            format!(
                "the resonance moves by {:+.1} % when the level rises by 12 dB",
                100.0 * over_span.exp_m1()
            ),
            advice,
        )
        .with_evidence(over_span.exp_m1(), "1", Some(USUAL_SHIFT)),
    )
}
