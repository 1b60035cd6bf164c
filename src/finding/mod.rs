//! The vocabulary of findings and verdicts.
//!
//! A finding is something the instrument noticed: a stable code, how serious it is, a figure, and what to do about it.
//! Rooms that notice things return findings beside their data; nothing here detects anything.

mod code;

pub use code::Code;

/// How serious a finding is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Severity {
    /// Worth knowing; the result is as good as without it.
    Note,
    /// The result can be used, with care.
    Caution,
    /// The result (or the part that depends on this) cannot be used; do it again.
    Redo,
}

/// What the whole comes to.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Verdict {
    /// Nothing, or only notes.
    Good,
    /// At least one caution.
    Usable,
    /// At least one finding that asks for a new take.
    Redo,
}

impl Verdict {
    /// The verdict that a list of findings comes to.
    pub fn of(findings: &[Finding]) -> Self {
        match findings.iter().map(|finding| finding.severity).max() {
            None | Some(Severity::Note) => Self::Good,
            Some(Severity::Caution) => Self::Usable,
            Some(Severity::Redo) => Self::Redo,
        }
    }

    /// `good`, `usable` or `redo`.
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Good => "good",
            Self::Usable => "usable",
            Self::Redo => "redo",
        }
    }
}

impl Severity {
    /// `note`, `caution` or `redo`.
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Note => "note",
            Self::Caution => "caution",
            Self::Redo => "redo",
        }
    }
}

/// The figure behind a finding.
#[derive(Clone, Debug, PartialEq)]
pub struct Evidence {
    /// What was measured, in `unit`.
    pub value: f64,
    /// Unit as a UCUM code; `1` for a plain number.
    pub unit: &'static str,
    /// The limit that it crossed, in `unit`, where there is one.
    pub limit: Option<f64>,
}

/// Something the instrument noticed.
#[derive(Clone, Debug, PartialEq)]
pub struct Finding {
    /// Stable code.
    pub code: Code,
    /// How serious.
    pub severity: Severity,
    /// Which take it is about (its name in the session), if it is about one.
    pub take: Option<String>,
    /// What was noticed, in one sentence.
    pub message: String,
    /// What to do, in words that somebody who has never done this understands.
    pub advice: String,
    /// The figure behind it.
    pub evidence: Option<Evidence>,
}

impl Finding {
    /// A finding without evidence that concerns no single take. Both texts become sentences: a capital first, a full stop
    /// last.
    pub fn new(
        code: Code,
        severity: Severity,
        message: impl Into<String>,
        advice: impl Into<String>,
    ) -> Self {
        Self {
            code,
            severity,
            take: None,
            message: sentence(message.into()),
            advice: sentence(advice.into()),
            evidence: None,
        }
    }

    /// Adds the figure behind the finding.
    #[must_use]
    pub fn with_evidence(mut self, value: f64, unit: &'static str, limit: Option<f64>) -> Self {
        self.evidence = Some(Evidence { value, unit, limit });
        self
    }

    /// Says which take it is about.
    #[must_use]
    pub fn about(mut self, take: impl Into<String>) -> Self {
        self.take = Some(take.into());
        self
    }
}

fn sentence(text: String) -> String {
    let mut letters = text.trim_end().chars();
    let mut sentence: String = match letters.next() {
        Some(first) => first.to_uppercase().chain(letters).collect(),
        None => return text,
    };
    if !sentence.ends_with(['.', '!', '?']) {
        sentence.push('.');
    }
    sentence
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn texts_become_sentences() {
        let finding = Finding::new(
            Code::DeadChannel,
            Severity::Redo,
            "channel 1 is silent",
            "Plug it in.",
        );
        assert_eq!(
            (finding.message.as_str(), finding.advice.as_str()),
            ("Channel 1 is silent.", "Plug it in.")
        );
    }
}
