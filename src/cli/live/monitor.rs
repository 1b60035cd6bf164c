//! What a person sees while a take is made: how far it is, and how loud both inputs are.

use std::io::{self, IsTerminal};

use farcone::capture::{Live, Monitor};
use farcone::progress::Continue;
use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};

use super::stop;
use crate::cli::console::colours_welcome;

const STEPS: u64 = 200;

/// A line that moves, where somebody watches.
pub struct TakeMonitor {
    line: Option<ProgressBar>,
    what: String,
}

impl TakeMonitor {
    pub fn new(what: &str, quiet: bool) -> Self {
        let line = (!quiet && io::stderr().is_terminal()).then(|| {
            let line = ProgressBar::with_draw_target(Some(STEPS), ProgressDrawTarget::stderr());
            let template = if colours_welcome() {
                "{bar:20.cyan} {msg}"
            } else {
                "{bar:20} {msg}"
            };
            if let Ok(style) = ProgressStyle::with_template(template) {
                line.set_style(style.progress_chars("━╸─"));
            }
            line
        });
        Self {
            line,
            what: what.to_owned(),
        }
    }
}

impl Monitor for TakeMonitor {
    fn at(&mut self, live: &Live) -> Continue {
        if let Some(line) = &self.line {
            let peak = |level: Option<f64>| match level {
                Some(level) if level > -120.0 => format!("{level:4.0}"),
                _ => "   –".to_owned(),
            };
            line.set_message(format!(
                "{}  {:.0} of {:.0} s  source {} dBFS  driver {} dBFS",
                self.what,
                live.elapsed_s,
                live.total_s,
                peak(live.peak_dbfs[0]),
                peak(live.peak_dbfs[1]),
            ));
            line.set_position((live.elapsed_s / live.total_s * STEPS as f64) as u64);
        }
        if stop::wanted() {
            Continue::No
        } else {
            Continue::Yes
        }
    }
}

impl Drop for TakeMonitor {
    fn drop(&mut self) {
        if let Some(line) = &self.line {
            line.finish_and_clear();
        }
    }
}
