//! What somebody who measured is told: that all is well, or exactly what to do again and why.

use super::Bundle;
use crate::quantity::{listed, plain_line};
use crate::session::Condition;
use crate::sheet::{Finding, Sheet, grouped_findings};

/// What was to be done besides the takes in free air.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Wanted {
    /// A take with a known mass on the cone.
    pub added_mass: bool,
    /// A take on a closed box.
    pub test_box: bool,
}

/// The answer to a bundle.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Reply {
    /// What to say, in paragraphs and lists, with a line end at the end. Lines are as long as their sentences.
    pub text: String,
    /// Takes that have to be made again, each with why and what to change.
    pub again: Vec<Request>,
    /// What has not been made yet, in words.
    pub missing: Vec<String>,
}

/// Something to be made again.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Request {
    /// The takes that it is about; empty if it is about none in particular.
    pub takes: Vec<String>,
    /// Why.
    pub why: String,
    /// What to change.
    pub advice: String,
}

impl Reply {
    /// Whether nothing has to be done any more.
    pub fn is_done(&self) -> bool {
        self.again.is_empty() && self.missing.is_empty()
    }
}

/// The answer to a bundle of which `sheet` was computed; `None` where it holds nothing to compute one from. `wanted` is what the
/// kit asked for; `None` if that is not known. `in_doubt`: the sheet that came along says something else, so that the result
/// waits for somebody to look.
pub fn reply(
    bundle: &Bundle,
    sheet: Option<&Sheet>,
    wanted: Option<Wanted>,
    in_doubt: bool,
) -> Reply {
    let findings = sheet.map_or(&[][..], |sheet| &sheet.findings);
    let of = |severity: &str| -> Vec<Request> {
        grouped_findings(findings)
            .into_iter()
            .filter(|(_, finding)| finding.severity == severity)
            .map(|(takes, finding)| request(&takes, finding))
            .collect()
    };
    let (again, better) = (of("redo"), of("caution"));
    let missing = missing(bundle, wanted);
    let mut text = format!("About \"{}\"\n\n", label(bundle));
    let is_done = again.is_empty() && missing.is_empty();
    if is_done && in_doubt {
        text.push_str("Thank you. Please leave everything as it is for now: something has to be looked at here first.\n");
    } else if is_done {
        text.push_str("All good, thank you. You can take it apart.\n");
    } else {
        text.push_str("Thank you. Please do not take it apart yet.\n");
    }
    if !again.is_empty() {
        text.push_str("\nPlease make this again:\n");
        text.push_str(&list(&again));
    }
    if !missing.is_empty() {
        text.push_str("\nThis is still missing:\n");
        for item in &missing {
            text.push_str(&format!("- {item}\n"));
        }
    }
    if !better.is_empty() {
        text.push_str(if again.is_empty() {
            "\nThe result can be used. For next time, or if you have ten minutes left:\n"
        } else {
            "\nWhile you are at it:\n"
        });
        text.push_str(&list(&better));
    }
    if let (true, None, true) = (missing.is_empty(), wanted, lacks_method(bundle)) {
        text.push_str(
            "\nThere is no take with a mass on the cone and none on a box. If that was left out by mistake, please make one; a tweeter needs \
             none.\n",
        );
    }
    Reply {
        text,
        again,
        missing,
    }
}

fn label(bundle: &Bundle) -> String {
    let label = plain_line(&bundle.session.label);
    match label.is_empty() {
        true => format!("driver {}", bundle.driver + 1),
        false => label,
    }
}

fn has(bundle: &Bundle, is_wanted: impl Fn(&Condition) -> bool) -> bool {
    let mut takes = bundle.session.takes.iter().filter(|take| !take.aside);
    takes.any(|take| is_wanted(&take.condition))
}

fn weighed(bundle: &Bundle) -> bool {
    has(bundle, |c| matches!(c, Condition::AddedMass { .. }))
}

fn boxed(bundle: &Bundle) -> bool {
    has(bundle, |c| matches!(c, Condition::TestBox { .. }))
}

fn lacks_method(bundle: &Bundle) -> bool {
    !weighed(bundle) && !boxed(bundle)
}

fn missing(bundle: &Bundle, wanted: Option<Wanted>) -> Vec<String> {
    let mut missing = vec![];
    if !has(bundle, |c| *c == Condition::FreeAir) {
        missing.push("a take of the driver alone, with nothing on its cone".to_owned());
    }
    if let Some(wanted) = wanted {
        if wanted.added_mass && !weighed(bundle) {
            missing.push("a take with a weighed mass on the cone".to_owned());
        }
        if wanted.test_box && !boxed(bundle) {
            missing.push("a take on the test box".to_owned());
        }
        let measures = wanted.added_mass || wanted.test_box;
        if measures && bundle.session.cone.is_none() {
            missing.push(
                "the diameter of the cone, from the middle of the surround to the middle of the surround"
                    .to_owned(),
            );
        }
    }
    missing
}

fn request(takes: &[&str], finding: &Finding) -> Request {
    Request {
        takes: takes.iter().map(|take| plain_line(take)).collect(),
        why: without_flags(&plain_line(&finding.message)),
        advice: without_flags(&plain_line(&finding.advice)),
    }
}

fn list(requests: &[Request]) -> String {
    let mut text = String::new();
    for request in requests {
        let takes = match request.takes.is_empty() {
            true => String::new(),
            false => format!("{}: ", listed(&request.takes)),
        };
        text.push_str(&format!("- {takes}{}\n", request.why));
        if !request.advice.is_empty() {
            text.push_str(&format!("  What to do: {}\n", request.advice));
        }
    }
    text
}

/// Leaves out what names flags of the command line: who is told this has none. That is a bracket if the flag stands in one, else the
/// whole sentence, since half a sentence may say the opposite.
pub fn without_flags(text: &str) -> String {
    let mut text = text.to_owned();
    while let Some(flag) = flag_in(&text) {
        let in_brackets = text[..flag]
            .rfind(" (")
            .filter(|open| !text[*open..flag].contains(')'));
        let range = match in_brackets {
            Some(open) => {
                let close = text[flag..].find(')').map(|at| flag + at + 1);
                open..close.unwrap_or(text.len())
            }
            None => {
                // The full stop before it stays, and its own goes.
                let start = text[..flag].rfind(". ").map_or(0, |at| at + 1);
                let end = text[flag..].find(". ").map(|at| flag + at + 1);
                start..end.unwrap_or(text.len())
            }
        };
        text.replace_range(range, "");
    }
    let trimmed = text.trim();
    match trimmed.is_empty() || trimmed.ends_with(['.', '!', '?', ':']) {
        true => trimmed.to_owned(),
        false => format!("{trimmed}."),
    }
}

/// Where a flag begins: a word that begins with two hyphens and a letter.
fn flag_in(text: &str) -> Option<usize> {
    text.match_indices("--")
        .map(|(at, _)| at)
        .filter(|at| text[at + 2..].starts_with(|c: char| c.is_ascii_alphabetic()))
        .find(|at| *at == 0 || text[..*at].ends_with([' ', '(', '`', '"']))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn flags_are_left_out() {
        for (text, expected) in [
            (
                "Measure the cone from the middle of the surround (--cone).",
                "Measure the cone from the middle of the surround.",
            ),
            (
                "Nothing has to be done now; next time plug it as drawn (or say --swap-channels).",
                "Nothing has to be done now; next time plug it as drawn.",
            ),
            (
                "Record a take with both inputs on one node (--same-node): it takes the difference out.",
                "Record a take with both inputs on one node: it takes the difference out.",
            ),
            ("--rate is wrong, so play it again.", ""),
            ("Do this, or say --that; then rest. Wait.", "Wait."),
            ("Do this. Say --that. Rest.", "Do this. Rest."),
            ("Do this. Say --that", "Do this."),
            ("Between 5--8 Hz.", "Between 5--8 Hz."),
            ("The take a--b is good.", "The take a--b is good."),
            ("--cone", ""),
        ] {
            assert_eq!(without_flags(text), expected);
        }
    }
}
