//! One meter reading, from which the input's full scale in volts follows.

use farcone::quantity::Stated;
use farcone::session::Condition;

use super::ask::Dialogue;
use crate::cli::failure::Failure;
use crate::cli::live::{LiveDesk, On, TONE_HZ, full_scale_v};
use crate::cli::values;

/// First level, dBFS: behind an amplifier of 30 V peak it is 95 mV.
const FIRST_DBFS: f64 = -50.0;
/// Louder by so much, dB, if the meter shows too little.
const STEP_DB: f64 = 6.0;
/// How long the tone sounds for a reading, s.
pub const TONE_S: f64 = 8.0;
/// Below this a cheap meter's AC reading is not worth much, V (common practice, no source).
const WORTHWHILE_V: f64 = 0.05;

/// Plays a tone, louder on request, until a meter between source node and ground reads something; returns the peak volts at the
/// source input's full scale.
pub fn ask_full_scale_v(desk: &mut LiveDesk, dialogue: &Dialogue) -> Result<Stated, Failure> {
    dialogue.say(&format!(
        "Set a meter to AC volts, its probes on the source node and on ground. A tone of {TONE_HZ:.0} Hz sounds for {TONE_S:.0} s, \
         very quietly at first. Read the meter while it sounds."
    ));
    let mut level_dbfs = FIRST_DBFS;
    loop {
        dialogue.ready(&format!("Play the tone at {level_dbfs:.0} dBFS?"), false)?;
        let playback = desk.sound().tone(TONE_HZ, level_dbfs, TONE_S)?;
        let take = desk
            .record(On::Condition(Condition::FreeAir), &playback, "tone")?
            .take;
        let reading = dialogue.text(
            &format!("What did the meter read? (for example 0.12V; Enter if it was below {WORTHWHILE_V} V: the tone gets louder)"),
            Some(""),
            |text| match text {
                "" => Ok(None),
                text => values::voltage(text).map(Some),
            },
        )?;
        match reading {
            Some(meter_rms_v) => match full_scale_v(&take, meter_rms_v) {
                Some(full_scale_v) => return Ok(full_scale_v),
                None => dialogue.say(
                    "The recording holds no clean tone: check that channel 1 is at the source node and turned up. Once more.",
                ),
            },
            None if level_dbfs + STEP_DB > desk.sound().ceiling_dbfs => {
                return Err(Failure::usage(
                    "the tone is as loud as the ceiling allows, and the meter still shows nothing worth reading",
                    "turn the amplifier's volume up a little, or use a meter with a millivolt range",
                ));
            }
            None => level_dbfs += STEP_DB,
        }
    }
}
