//! Questions and answers, one at a time.

use std::fmt::{self, Display};
use std::io::{self, IsTerminal, Write};

use dialoguer::Input;
use dialoguer::theme::Theme;

use crate::cli::console::Look;
use crate::cli::failure::Failure;
use crate::cli::live::stop;
use crate::cli::view;

/// Columns that are left for an answer beside its question; a longer question stands on lines of its own, because a prompt
/// that is wider than the terminal is repeated instead of being overwritten.
const ANSWER_WIDTH: usize = 24;

/// A prompt that ends in "> ", with its default in brackets unless that is empty. After Enter it stands there once, with the
/// answer.
struct Prompt;

impl Theme for Prompt {
    fn format_input_prompt(
        &self,
        f: &mut dyn fmt::Write,
        prompt: &str,
        default: Option<&str>,
    ) -> fmt::Result {
        if !prompt.is_empty() {
            write!(f, "{prompt} ")?;
        }
        match default {
            Some(default) if !default.is_empty() => write!(f, "[{default}] > "),
            _ => write!(f, "> "),
        }
    }

    fn format_input_prompt_selection(
        &self,
        f: &mut dyn fmt::Write,
        prompt: &str,
        answer: &str,
    ) -> fmt::Result {
        if !prompt.is_empty() {
            write!(f, "{prompt} ")?;
        }
        write!(f, "> {answer}")
    }
}

/// Whoever answers.
pub enum Dialogue {
    /// A person at a terminal.
    Person(Look),
    /// Nobody: everything was given as flags.
    Nobody {
        /// Whether even reports are unwanted.
        quiet: bool,
    },
}

impl Dialogue {
    /// A person, if there is a terminal to ask at.
    pub fn person() -> Result<Self, Failure> {
        if io::stdin().is_terminal() && io::stderr().is_terminal() {
            Ok(Self::Person(Look::of_stderr()))
        } else {
            Err(Failure::usage(
                "the guided measurement asks questions, and there is no terminal to ask at",
                "run it in a terminal, or give everything as flags with --yes (farcone measure --help)",
            ))
        }
    }

    /// Whether somebody can be asked.
    pub fn can_ask(&self) -> bool {
        matches!(self, Self::Person(_))
    }

    /// How its output looks.
    pub fn look(&self) -> Look {
        match self {
            Self::Person(look) => *look,
            Self::Nobody { .. } => Look::PLAIN,
        }
    }

    /// Says something, over the width of the terminal.
    pub fn say(&self, text: &str) {
        if let Self::Nobody { quiet: true } = self {
            return;
        }
        self.write(&view::paragraph(text, self.look()));
    }

    /// Shows lines as they are: a drawing, a list, findings.
    pub fn show(&self, text: &str) {
        if let Self::Nobody { quiet: true } = self {
            return;
        }
        self.write(text);
    }

    /// Says what nobody may miss, even where reports are unwanted.
    pub fn warn(&self, text: &str) {
        self.write(&view::paragraph(text, self.look()));
    }

    fn write(&self, text: &str) {
        // Where standard error is closed, nobody is left to be told.
        let _ = io::stderr().write_all(text.as_bytes());
    }

    /// The heading of a question's screen.
    pub fn heading(&self, text: &str) {
        if self.can_ask() {
            let text = format!("\n{}\n", view::strong(text, self.look()));
            self.write(&text);
        }
    }

    /// Asks for something typed; `parse` says what is wrong with it. An empty answer takes the default, where there is one.
    pub fn text<T, E: Display>(
        &self,
        question: &str,
        default: Option<&str>,
        parse: impl Fn(&str) -> Result<T, E>,
    ) -> Result<T, Failure> {
        if !self.can_ask() {
            return Err(Failure::usage(
                format!("\"{question}\" has no answer, and --yes asks nobody"),
                "give it as a flag (farcone measure --help)",
            ));
        }
        let asked = question.chars().count() + default.map_or(0, |text| text.chars().count());
        let beside = asked + ANSWER_WIDTH <= self.look().width;
        if !beside {
            self.say(question);
        }
        loop {
            let mut input = Input::<String>::with_theme(&Prompt).with_prompt(if beside {
                question
            } else {
                ""
            });
            if let Some(default) = default {
                input = input.default(default.to_owned());
            } else {
                input = input.allow_empty(true);
            }
            let answer = input.interact_text().map_err(failed)?;
            match parse(answer.trim()) {
                Ok(value) => return Ok(value),
                Err(error) => self.say(&format!("That does not fit: {error}")),
            }
        }
    }

    /// Lets choose among numbered answers; the first is the default.
    pub fn choose(&self, question: &str, answers: &[String]) -> Result<usize, Failure> {
        for (i, answer) in answers.iter().enumerate() {
            self.show(&view::hanging(
                &format!("  {}  ", i + 1),
                answer,
                self.look(),
            ));
        }
        self.text(question, Some("1"), |text| match text.parse::<usize>() {
            Ok(number) if (1..=answers.len()).contains(&number) => Ok(number - 1),
            _ => Err(format!("type a number from 1 to {}", answers.len())),
        })
    }

    /// Waits until somebody is ready: Enter goes on, `s` skips (where that is allowed), `q` stops.
    pub fn ready(&self, question: &str, may_skip: bool) -> Result<Ready, Failure> {
        let keys = if may_skip {
            "Enter: go on; s: skip this; q: stop here"
        } else {
            "Enter: go on; q: stop here"
        };
        self.text(
            &format!("{question} ({keys})"),
            Some(""),
            |text| match text {
                "" => Ok(Ready::Go),
                "s" | "S" if may_skip => Ok(Ready::Skip),
                "q" | "Q" => Ok(Ready::Stop),
                _ => Err(format!("answer with one of {keys}")),
            },
        )
        .and_then(|ready| match ready {
            Ready::Stop => Err(Failure::Stopped),
            other => Ok(other),
        })
    }
}

/// Whether to go on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Ready {
    Go,
    Skip,
    Stop,
}

fn failed(error: dialoguer::Error) -> Failure {
    let dialoguer::Error::IO(error) = error;
    // Ctrl-C reaches a question as an interrupted read.
    if stop::wanted() || error.kind() == io::ErrorKind::Interrupted {
        Failure::Stopped
    } else {
        Failure::Ask(error)
    }
}
