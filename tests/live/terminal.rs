//! The program in a pseudo-terminal, as a person meets it.

use std::process::Command;

use rexpect::process::WaitStatus;
use rexpect::reader::{Options, ReadUntil, Regex};
use rexpect::session::{PtySession, spawn_with_options};

/// A program that believes it talks to a person. Its escape sequences are taken out of what it says.
pub struct Terminal {
    session: PtySession,
}

impl Terminal {
    /// `limit_s` is how long any text may be waited for.
    pub fn start(command: Command, limit_s: u64) -> Self {
        let options = Options::new()
            .timeout_ms(Some(1000 * limit_s))
            .strip_ansi_escape_codes(true);
        Self {
            session: spawn_with_options(command, options).expect("the program starts"),
        }
    }

    /// Waits for a text; returns what came before it.
    pub fn wait_for(&mut self, text: &str) -> String {
        self.session
            .exp_string(text)
            .unwrap_or_else(|error| panic!("no \"{text}\": {error}"))
    }

    /// Waits for what a regular expression describes: what came before it and what it matched; or the rest, at the end.
    pub fn wait_for_any(&mut self, regex: &str) -> Result<(String, String), String> {
        let regex = Regex::new(regex).expect("a regular expression");
        let wanted = vec![ReadUntil::Regex(regex.clone()), ReadUntil::EOF];
        let found = self
            .session
            .exp_any(wanted)
            .unwrap_or_else(|error| panic!("no question, and no end: {error}"));
        if regex.is_match(&found.1) {
            Ok(found)
        } else {
            Err(found.1)
        }
    }

    pub fn send_line(&mut self, line: &str) {
        self.session.send_line(line).expect("it reads");
    }

    /// What the key does in a terminal, not a signal from outside.
    pub fn press_ctrl_c(&mut self) {
        self.session.send_control('c').expect("it reads");
    }

    /// Waits for the end: the exit code and the last that was said.
    pub fn end(mut self) -> (i32, String) {
        let rest = self
            .session
            .exp_eof()
            .unwrap_or_else(|error| panic!("it does not end: {error}"));
        match self.session.process().wait().expect("it can be waited for") {
            WaitStatus::Exited(_, code) => (code, rest),
            other => panic!("{other:?} after: {rest}"),
        }
    }
}

#[test]
fn a_shell_talks_through_the_terminal() {
    let shell = |script: &str| {
        let mut command = Command::new("sh");
        command.args(["-c", script]);
        Terminal::start(command, 10)
    };
    let mut asking = shell(
        r"test -t 0 && test -t 1 && printf '\033[1mName\033[0m? ' && read name && echo hello $name && exit 7",
    );
    asking.wait_for("Name? ");
    asking.send_line("Ada");
    asking.wait_for("hello Ada");
    assert_eq!(asking.end().0, 7);

    let mut interrupted = shell("trap 'echo stopped; exit 130' INT; echo ready; sleep 9 & wait");
    interrupted.wait_for("ready");
    interrupted.press_ctrl_c();
    interrupted.wait_for("stopped");
    assert_eq!(interrupted.end().0, 130);
}
