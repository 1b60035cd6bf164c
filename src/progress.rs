//! How a long call says how far it is, and learns that nobody wants its result any more.

/// Somebody who watches a long call. Closures `FnMut(&str, f64) -> Continue` are watchers.
pub trait Watcher {
    /// Called now and then with the stage's plain name and how much of it is done (0 to 1).
    fn at(&mut self, stage: &str, done: f64) -> Continue;
}

/// Whether to go on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Continue {
    /// Go on.
    Yes,
    /// Stop; the call returns its error for "cancelled".
    No,
}

impl<F: FnMut(&str, f64) -> Continue> Watcher for F {
    fn at(&mut self, stage: &str, done: f64) -> Continue {
        self(stage, done)
    }
}

/// A watcher that only lets the call run.
#[derive(Clone, Copy, Debug, Default)]
pub struct Unwatched;

impl Watcher for Unwatched {
    fn at(&mut self, _: &str, _: f64) -> Continue {
        Continue::Yes
    }
}
