//! The free-air take at several levels: how much the driver changes when it is driven harder.

use farcone::level::{Goal, INPUT_PEAK_DBFS};
use farcone::session::Condition;

use super::job::Job;
use crate::cli::failure::Failure;

/// Between two levels, dB.
const STEP_DB: f64 = 6.0;

/// Makes the takes that are missing for `n_levels` levels, of which one is the driver's own. They reach as far up as ceiling,
/// inputs and the driver's voltage allow, and down from there.
pub fn series(job: &mut Job, n_levels: u8) -> Result<(), Failure> {
    let others = usize::from(n_levels).saturating_sub(1);
    let there = job.session.takes.iter().filter(|take| take.aside).count();
    let Some(own_dbfs) = job.driver_level_dbfs() else {
        return Ok(());
    };
    if others <= there {
        return Ok(());
    }
    let highest = own_dbfs + headroom_db(job, own_dbfs);
    let up = (((highest - own_dbfs) / STEP_DB).floor() as usize).min(others);
    let levels = (1..=up)
        .map(|i| own_dbfs + STEP_DB * i as f64)
        .chain((1..=others - up).map(|i| own_dbfs - STEP_DB * i as f64));
    for level_dbfs in levels.skip(there) {
        job.dialogue.say(&format!(
            "free-air at {level_dbfs:.0} dBFS, to compare levels:"
        ));
        job.take_at(Condition::FreeAir, level_dbfs, false, true)?;
    }
    Ok(())
}

/// How much louder than its own level the driver may be measured, dB.
fn headroom_db(job: &Job, own_dbfs: f64) -> f64 {
    let goal = job.desk.goal(Condition::FreeAir);
    let mut bounds = vec![goal.ceiling_dbfs - own_dbfs];
    let level = job
        .session
        .takes
        .iter()
        .rfind(|take| take.condition == Condition::FreeAir && !take.aside)
        .and_then(|take| take.level);
    match level.and_then(|level| level.driver_peak_v) {
        Some(peak_v) => bounds.push(20.0 * (Goal::DRIVER_PEAK_V / peak_v).log10()),
        None => {
            // All of the source's assumed voltage counts as the driver's.
            if let Some(full_scale_v) = goal.output_full_scale_v {
                bounds.push(20.0 * (Goal::DRIVER_PEAK_V / full_scale_v).log10() - own_dbfs);
            }
        }
    }
    if let Some(peak_dbfs) = job.last_peak_dbfs {
        bounds.push(INPUT_PEAK_DBFS - peak_dbfs);
    }
    let least = bounds.into_iter().min_by(f64::total_cmp).unwrap_or(0.0);
    if least > 0.0 { least } else { 0.0 }
}
