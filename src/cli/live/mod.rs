//! Playing and recording from the command line: which card, how loud, one take, its findings.
//!
//! [`LiveDesk`] is a card with everything that is agreed about it; [`stop`] is Ctrl-C.

mod args;
mod card;
mod desk;
mod monitor;
pub mod stop;
mod volts;

pub use args::{CardArgs, LevelArgs, LiveArgs, SoundArgs};
pub use card::{BENCH_HOST, LiveCard, On};
pub use desk::{LiveDesk, Made, Sought};
pub use volts::{TONE_HZ, full_scale_v};
