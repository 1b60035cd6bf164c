//! The library as the kit's page sees it: one function that takes a request and gives a reply, both plain bytes.
//!
//! A request names an operation, with its arguments as JSON and whatever is no text (samples, files) behind it; `docs/core.md` lists
//! the operations. Nothing here computes: every operation calls a room. The same function runs natively, so that what the page
//! concludes can be compared with what the command line does.
//!
//! Plain exports instead of a bindings generator: three functions and one buffer need no second tool whose version has to match
//! the library's, and the page can be read without generated code.

mod answer;
#[cfg(target_arch = "wasm32")]
mod exports;
mod frame;
mod given;
mod level;
mod look;
mod mass;
mod one_input;
mod pack;
mod sound;
mod take;
mod text;
mod words;

use answer::{Answer, Refusal};
use frame::Request;

/// The library behind one function. It holds searches for a level that are under way, and nothing else.
#[derive(Default)]
pub struct Core {
    searches: level::Searches,
}

impl Core {
    /// Answers a request, whatever it holds: what cannot be done is said in the reply.
    pub fn answer(&mut self, request: &[u8]) -> Vec<u8> {
        let answered = Request::read(request).and_then(|request| self.carry_out(&request));
        frame::write(answered)
    }

    fn carry_out(&mut self, request: &Request<'_>) -> Result<Answer, Refusal> {
        match request.op.as_str() {
            "about" => Ok(text::about()),
            "quantity" => text::quantity(request),
            "sound" => sound::sound(request),
            "playback" => sound::playback(request),
            "quiet" => sound::quiet(request),
            "tapped" => sound::taps(request),
            "raw" => sound::raw(request),
            "level_start" => self.searches.start(request),
            "level_burst" => self.searches.burst(request),
            "take" => take::take(request),
            "dropped" => take::dropped(request),
            "one_input_sound" => one_input::sound(request),
            "one_input_take" => one_input::take(request),
            "coins" => Ok(mass::coins()),
            "coin_plan" => mass::planned(request),
            "coin_mass" => mass::counted(request),
            "jig" => look::jig(request),
            "analyse" => look::analyse(request),
            "bundle" => pack::bundle(request),
            other => Err(Refusal::new(format!(
                "the core of this page does not know \"{other}\""
            ))),
        }
    }
}
