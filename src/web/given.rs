//! What requests have in common.

use serde::Deserialize;
use serde_json::{Value, json};

use super::answer::Refusal;
use crate::desk::{Desk, Sound};
use crate::session::{JigInput, SessionFile, TakeFile};

/// What is played, as the page keeps it.
#[derive(Deserialize)]
pub(super) struct SoundJson {
    start_hz: f64,
    length_s: f64,
    ceiling_dbfs: f64,
}

impl SoundJson {
    pub fn at(&self, sample_rate_hz: u32) -> Sound {
        Sound {
            multisine: false,
            length_s: self.length_s,
            start_hz: self.start_hz,
            ceiling_dbfs: self.ceiling_dbfs,
            sample_rate_hz,
        }
    }
}

/// A session without its takes, and one take of it.
pub(super) struct One {
    pub session: SessionFile,
    pub take: TakeFile,
}

impl One {
    /// Reads both; what the page writes goes through the same reader as a session folder.
    pub fn read(mut session: Value, take: Value) -> Result<Self, Refusal> {
        if let Some(session) = session.as_object_mut() {
            session.insert("takes".to_owned(), json!([take]));
        }
        let mut session = SessionFile::from_json(&session.to_string())?;
        let take = session
            .takes
            .pop()
            .ok_or_else(|| Refusal::new("the take is missing"))?;
        Ok(Self { session, take })
    }

    pub fn jig(&self) -> Result<JigInput, Refusal> {
        self.session
            .jig
            .ok_or_else(|| Refusal::new("the sense resistor and the wiring have to be known first"))
    }

    pub fn desk(&self, sound: Sound) -> Result<Desk, Refusal> {
        Ok(Desk {
            jig: self.jig()?,
            sound,
            source_full_scale_v: self.session.source_full_scale_v.map(|stated| stated.value),
            amplifier: self.session.amplifier,
        })
    }

    /// The take as it stands in session.json.
    pub fn entry(self) -> Result<Value, Refusal> {
        let session = SessionFile {
            takes: vec![self.take],
            ..self.session
        };
        let mut value: Value = serde_json::from_str(&session.to_json()?)?;
        Ok(value["takes"][0].take())
    }
}
