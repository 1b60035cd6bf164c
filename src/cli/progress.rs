//! A progress line on standard error, for whoever waits longer than half a second at a terminal.

use std::io::{self, IsTerminal};
use std::time::{Duration, Instant};

use farcone::progress::{Continue, Watcher};
use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};

use super::console::colours_welcome;

/// Nobody wonders about a shorter wait.
const PATIENCE: Duration = Duration::from_millis(500);
const STEPS: u64 = 100;

/// Shows how far the work is.
pub struct Progress {
    begun: Instant,
    wanted: bool,
    line: Option<ProgressBar>,
}

impl Progress {
    /// Nothing is shown if `quiet`, or if nobody watches.
    pub fn new(quiet: bool) -> Self {
        Self {
            begun: Instant::now(),
            wanted: !quiet && io::stderr().is_terminal(),
            line: None,
        }
    }

    fn line(&mut self) -> &ProgressBar {
        self.line.get_or_insert_with(|| {
            let line = ProgressBar::with_draw_target(Some(STEPS), ProgressDrawTarget::stderr());
            let template = if colours_welcome() {
                "{bar:24.cyan} {msg}"
            } else {
                "{bar:24} {msg}"
            };
            if let Ok(style) = ProgressStyle::with_template(template) {
                line.set_style(style.progress_chars("━╸─"));
            }
            line
        })
    }
}

impl Watcher for Progress {
    fn at(&mut self, stage: &str, done: f64) -> Continue {
        if self.wanted && self.begun.elapsed() >= PATIENCE {
            let line = self.line();
            line.set_message(stage.to_owned());
            line.set_position((done.clamp(0.0, 1.0) * STEPS as f64) as u64);
        }
        Continue::Yes
    }
}

impl Drop for Progress {
    fn drop(&mut self) {
        if let Some(line) = &self.line {
            line.finish_and_clear();
        }
    }
}
