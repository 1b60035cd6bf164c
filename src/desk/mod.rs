//! What is decided while somebody measures: which sound, how loud, and what one take shows at once.
//!
//! [`Sound`] is what is played; [`Desk`] is what is agreed about jig and sound, and judges what comes back; [`LevelSearch`] finds
//! the level. Nothing here plays or records: the command line and the page bring the recordings, so that both decide alike.

mod class;
mod judge;
mod search;
mod sound;
mod words;

pub use judge::{Desk, Judged, by_chance};
pub use search::{LevelSearch, N_REPEATS, Step};
pub use sound::{Sound, SoundError};
pub use words::{burst_line, chosen_line};
