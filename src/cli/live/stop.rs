//! Ctrl-C, and the request to end: while something sounds, it fades out first; otherwise the program ends at once. What was
//! recorded so far is in the session folder already.

use std::io::Write;
use std::sync::atomic::{AtomicBool, Ordering};

use crate::cli::EXIT_STOPPED;

static WANTED: AtomicBool = AtomicBool::new(false);
static SOUNDING: AtomicBool = AtomicBool::new(false);

/// Listens for the signal from now on.
pub fn listen() {
    // A handler that is there already is this one.
    let _ = ctrlc::set_handler(|| {
        let again = WANTED.swap(true, Ordering::SeqCst);
        if again || !SOUNDING.load(Ordering::SeqCst) {
            // Nobody may be left to read it.
            let _ = std::io::stderr().write_all(b"\nstopped\n");
            std::process::exit(EXIT_STOPPED.into());
        }
    });
}

/// Whether somebody wants to stop.
pub fn wanted() -> bool {
    WANTED.load(Ordering::SeqCst)
}

/// While it lives, Ctrl-C fades the sound out before the program ends.
pub struct Sounding(());

impl Sounding {
    pub fn begin() -> Self {
        SOUNDING.store(true, Ordering::SeqCst);
        Self(())
    }
}

impl Drop for Sounding {
    fn drop(&mut self) {
        SOUNDING.store(false, Ordering::SeqCst);
    }
}
