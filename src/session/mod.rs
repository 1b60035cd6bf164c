//! One driver's takes become a sheet: the sole orchestrator, and the findings that need several takes at once.
//!
//! A [`Session`] is everything that was recorded and everything that somebody said about it. [`analyse`] is a pure
//! function of it: no files, no clock, randomness from the session's seed.

mod analyse;
mod assemble;
mod curves;
mod driver_state;
mod expected;
mod file;
mod groups;
mod jig_findings;
mod jig_reading;
mod levels;
mod loading;
mod meter;
mod missing;
mod mounting;
mod one_input;
mod orientation;
mod problems;
mod profile;
#[expect(
    clippy::module_inception,
    reason = "the room is named after what it is about"
)]
mod session;
mod typed;
mod typed_jig;
mod write;

pub use analyse::{analyse, analyse_noting};
pub use assemble::{
    AssembleError, assemble, assemble_in_memory, assemble_take, file_key, is_table, sha256_hex,
};
pub use expected::expected;
pub use file::{
    SESSION_FILE_NAME, SESSION_SCHEMA, SessionFile, SessionFileError, TakeFile, read_stated,
    stated_json,
};
pub use groups::TakeGroups;
pub use jig_reading::{CheckReading, JigReading, read_jig};
pub use one_input::one_input_check;
pub use problems::SessionError;
pub use profile::{CheckResult, Day, JIG_SCHEMA, JigProfile, ProfileError, profile_findings};
pub use session::{
    Condition, Cone, Data, Devices, JigInput, OneInputTake, Photo, Session, SessionTake, TakeLevel,
};
