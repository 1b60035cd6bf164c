//! Everything about one driver, packed for the way home.

use std::collections::BTreeMap;

use serde::Deserialize;
use serde_json::{Value, json};

use super::answer::{Answer, Refusal};
use super::frame::Request;
use crate::bundle::{Bundle, LogEntry, write};
use crate::progress::Unwatched;
use crate::session::{SessionError, SessionFile, analyse, assemble_in_memory};

#[derive(Deserialize)]
struct Pack {
    kit: String,
    driver: u64,
    session: Value,
    files: Vec<String>,
    browser: Option<Value>,
    log: Vec<LogEntry>,
}

/// The bundle, with the sheet that its takes come to.
pub(super) fn bundle(request: &Request<'_>) -> Result<Answer, Refusal> {
    let args: Pack = request.args()?;
    let session = SessionFile::from_json(&args.session.to_string())?;
    let mut files = BTreeMap::new();
    for (i, path) in args.files.iter().enumerate() {
        files.insert(path.clone(), request.blob(i)?.to_vec());
    }
    let assembled = assemble_in_memory(session.clone(), &files, &mut Unwatched)?;
    let sheet = match analyse(assembled, &mut Unwatched) {
        Ok(sheet) => Some(sheet),
        // Calibration takes alone may be worth sending, to ask what is wrong with them.
        Err(SessionError::NoFreeAir) => None,
        Err(error) => return Err(error.into()),
    };
    let verdict = sheet.as_ref().map(|sheet| sheet.verdict.clone());
    let zip = write(&Bundle {
        kit: args.kit,
        driver: args.driver,
        version: env!("CARGO_PKG_VERSION").to_owned(),
        browser: args.browser,
        log: args.log,
        session,
        sheet,
        files,
    })?;
    Ok(Answer {
        result: json!({"n_bytes": zip.len(), "verdict": verdict}),
        blobs: vec![zip],
    })
}
