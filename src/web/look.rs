//! What all takes so far come to.

use std::collections::BTreeMap;

use serde::Deserialize;
use serde_json::{Value, json};

use super::answer::{Answer, Refusal};
use super::frame::Request;
use super::sound::told;
use super::words;
use crate::chat::ChatLine;
use crate::progress::Unwatched;
use crate::session::{
    CheckReading, Session, SessionFile, TakeGroups, analyse as analyse_session, assemble_in_memory,
    read_jig,
};
use crate::sheet::{CurveEntry, Finding};

/// Draws of the look between takes: only values are shown.
const QUICK_DRAWS: usize = 1000;
/// Points of a curve that is drawn: a page on a wide screen has some 1000 pixels, and a curve needs no point in each.
const N_DRAWN: usize = 400;

#[derive(Deserialize)]
struct Whole {
    session: Value,
    files: Vec<String>,
    #[serde(default)]
    last: Option<String>,
}

impl Whole {
    fn session(
        &self,
        request: &Request<'_>,
    ) -> Result<(SessionFile, BTreeMap<String, Vec<u8>>), Refusal> {
        let session = SessionFile::from_json(&self.session.to_string())?;
        let mut files = BTreeMap::new();
        for (i, path) in self.files.iter().enumerate() {
            files.insert(path.clone(), request.blob(i)?.to_vec());
        }
        Ok((session, files))
    }
}

fn groups(session: &SessionFile) -> TakeGroups {
    let takes = session.takes.iter();
    TakeGroups::of(takes.map(|take| (take.name.as_str(), take.condition, take.aside)))
}

fn load(session: SessionFile, files: &BTreeMap<String, Vec<u8>>) -> Result<Session, Refusal> {
    Ok(assemble_in_memory(session, files, &mut Unwatched)?)
}

/// What the calibration takes say about the jig.
pub(super) fn jig(request: &Request<'_>) -> Result<Answer, Refusal> {
    let args: Whole = request.args()?;
    let (mut session, files) = args.session(request)?;
    session.takes.retain(|take| take.condition.is_calibration());
    session.photos.clear();
    let groups = groups(&session);
    let reading = read_jig(load(session, &files)?)?;
    let findings: Vec<Finding> = reading.findings.iter().map(Into::into).collect();
    let check = |check: &CheckReading| {
        json!({
            "name": check.name,
            "stated_ohm": check.stated_ohm,
            "read_ohm": check.read_ohm,
            "passes": check.passes(),
            "sentence": words::check(check),
        })
    };
    Ok(json!({
        "checks": reading.checks.iter().map(check).collect::<Vec<_>>(),
        "sentences": words::jig(&reading),
        "findings": told(&findings, |subject| groups.meant_by(subject)),
    })
    .into())
}

/// The sheet of what there is, and what it says.
pub(super) fn analyse(request: &Request<'_>) -> Result<Answer, Refusal> {
    let args: Whole = request.args()?;
    let (mut session, files) = args.session(request)?;
    session.n_draws = QUICK_DRAWS;
    session.photos.clear();
    let groups = groups(&session);
    let sheet = analyse_session(load(session, &files)?, &mut Unwatched)?;
    let last = args.last.as_deref();
    let is_about_last = |finding: &&Finding| {
        let subject = finding.take.as_deref();
        finding.severity != "note"
            && last
                .is_some_and(|last| subject.is_some_and(|of| groups.meant_by(of).contains(&last)))
    };
    let about_last = sheet.findings.iter().filter(is_about_last);
    let meant_by = |subject| groups.meant_by(subject);
    Ok(json!({
        "verdict": sheet.verdict,
        "headline": words::headline(&sheet),
        "sentences": words::sentences(&sheet),
        "about_last": told(about_last, meant_by),
        "findings": told(&sheet.findings, meant_by),
        "chat": ChatLine::of(&sheet, last).to_string(),
        "plot": sheet.curves.iter().map(drawn).collect::<Vec<_>>(),
        "fs_hz": sheet.parameters.fs.as_ref().map(|fs| fs.value),
        "mms_kg": sheet.parameters.mms.as_ref().map(|mms| mms.value),
    })
    .into())
}

/// Magnitudes of one condition, ohm, thinned out to what can be seen: of each stretch the points at its ends and its extremes.
fn drawn(curve: &CurveEntry) -> Value {
    let measured: Vec<f64> = curve
        .measured_re_ohm
        .iter()
        .zip(&curve.measured_im_ohm)
        .map(|(re, im)| re.hypot(*im))
        .collect();
    let modelled: Option<Vec<f64>> = match (&curve.modelled_re_ohm, &curve.modelled_im_ohm) {
        (Some(re), Some(im)) => Some(re.iter().zip(im).map(|(re, im)| re.hypot(*im)).collect()),
        _ => None,
    };
    let kept = kept(&measured);
    let pick = |values: &[f64]| {
        kept.iter()
            .filter_map(|&i| values.get(i).copied())
            .collect::<Vec<_>>()
    };
    json!({
        "name": curve.name,
        "frequency_hz": pick(&curve.frequency_hz),
        "measured_ohm": pick(&measured),
        "modelled_ohm": modelled.as_deref().map(pick),
    })
}

fn kept(values: &[f64]) -> Vec<usize> {
    let stretch = values.len().div_ceil(N_DRAWN / 2).max(1);
    let mut kept = vec![];
    for begin in (0..values.len()).step_by(stretch) {
        let end = if begin + stretch < values.len() {
            begin + stretch
        } else {
            values.len()
        };
        let of = |i: &usize, j: &usize| values[*i].total_cmp(&values[*j]);
        let mut ends: Vec<usize> = [(begin..end).min_by(of), (begin..end).max_by(of)]
            .into_iter()
            .flatten()
            .collect();
        ends.sort_unstable();
        ends.dedup();
        kept.extend(ends);
    }
    kept
}
