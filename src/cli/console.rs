//! What goes to the terminal, in one place.

use std::error::Error;
use std::io::{self, IsTerminal, Write};

use super::failure::Failure;

/// How output looks where it goes to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Look {
    /// Columns to fill.
    pub width: usize,
    /// Whether colours are wanted.
    pub colour: bool,
}

/// Columns where nobody says how many there are.
const USUAL_WIDTH: usize = 80;
/// Lines longer than this are hard to read, and narrower than the second nothing can be drawn.
const WIDEST: usize = 100;
const NARROWEST: usize = 40;

impl Look {
    /// Where nobody looks: the usual width, no colours.
    pub const PLAIN: Self = Self {
        width: USUAL_WIDTH,
        colour: false,
    };

    /// The look of standard error, where questions are asked.
    pub fn of_stderr() -> Self {
        let width =
            terminal_size::terminal_size_of(io::stderr()).map(|(width, _)| usize::from(width.0));
        Self {
            width: width.unwrap_or(USUAL_WIDTH).clamp(NARROWEST, WIDEST),
            colour: io::stderr().is_terminal() && colours_welcome(),
        }
    }

    /// The look of standard output.
    pub fn of_stdout() -> Self {
        let is_terminal = io::stdout().is_terminal();
        let width = if is_terminal {
            terminal_size::terminal_size().map(|(width, _)| usize::from(width.0))
        } else {
            None
        };
        Self {
            width: width.unwrap_or(USUAL_WIDTH).clamp(NARROWEST, WIDEST),
            colour: is_terminal && colours_welcome(),
        }
    }
}

/// Whether standard output is a terminal, where curves are drawn without being asked for.
pub fn is_looked_at() -> bool {
    io::stdout().is_terminal()
}

/// Whether the environment lets programs use colours (<https://no-color.org>).
pub fn colours_welcome() -> bool {
    let refused = std::env::var_os("NO_COLOR").is_some_and(|value| !value.is_empty());
    let dumb = std::env::var_os("TERM").is_some_and(|value| value == "dumb");
    !refused && !dumb
}

/// Prints to standard output. Whoever closed it has read enough: that is no failure.
pub fn print(text: &str) -> Result<(), Failure> {
    let mut stdout = io::stdout().lock();
    match stdout
        .write_all(text.as_bytes())
        .and_then(|()| stdout.flush())
    {
        Err(error) if error.kind() != io::ErrorKind::BrokenPipe => Err(Failure::Print(error)),
        _ => Ok(()),
    }
}

/// Says on standard error what goes wrong although the command goes on.
pub fn warn(text: &str) {
    // Where standard error is closed, nobody is left to be told.
    let _ = io::stderr().write_all(format!("warning: {text}\n").as_bytes());
}

/// Says why a command ended early, and returns its exit code.
pub fn report(failure: &Failure) -> u8 {
    // Where standard error is closed as well, nobody is left to be told.
    let _ = match failure {
        Failure::Arguments(error) => error.print(),
        other => io::stderr().write_all(message(other).as_bytes()),
    };
    failure.exit_code()
}

fn message(failure: &Failure) -> String {
    let mut text = format!("error: {failure}");
    let mut cause = failure.source();
    while let Some(error) = cause {
        // Most messages quote their cause already.
        let said = error.to_string();
        if !text.contains(&said) {
            text.push_str(&format!("\n  cause: {said}"));
        }
        cause = error.source();
    }
    if let Failure::Usage { hint, .. } = failure {
        text.push_str(&format!("\n  hint: {hint}"));
    }
    text.push('\n');
    text
}
