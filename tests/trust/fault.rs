//! A fault, what it should be called, and whether it was.

use farcone::finding::{Code, Verdict};
use farcone::sheet::Sheet;

use crate::dice::Dice;
use crate::scenario::{Scenario, Strength};

/// What the instrument should say.
#[derive(Clone, Copy, Debug)]
pub struct Expect {
    /// The code that names the fault; `None` if it is too weak to matter: then nothing but notes may come.
    pub code: Option<Code>,
    pub verdict: Verdict,
    /// What else may be cautioned or asked for as a consequence.
    pub also: &'static [Code],
}

impl Expect {
    /// Named, and one of the verdicts.
    pub const fn named(code: Code, verdict: Verdict) -> Self {
        Self {
            code: Some(code),
            verdict,
            also: &[],
        }
    }

    /// Named, with consequences.
    pub const fn with(code: Code, verdict: Verdict, also: &'static [Code]) -> Self {
        Self {
            code: Some(code),
            verdict,
            also,
        }
    }

    /// Too weak to matter.
    pub const fn nothing() -> Self {
        Self {
            code: None,
            verdict: Verdict::Good,
            also: &[],
        }
    }
}

/// Something that goes wrong.
#[derive(Clone, Copy)]
pub struct Fault {
    /// In plain words, as it stands in the table.
    pub name: &'static str,
    /// `recording`, `jig`, `driver` or `method`.
    pub group: &'static str,
    /// Makes it happen; chance decides where and, within the strength, how much.
    pub inject: fn(&mut Scenario, Strength, &mut Dice),
    pub mild: Expect,
    pub severe: Expect,
}

impl Fault {
    /// One that is called by the code and refused at both strengths.
    pub fn refused(
        name: &'static str,
        group: &'static str,
        code: Code,
        inject: fn(&mut Scenario, Strength, &mut Dice),
    ) -> Self {
        Self {
            name,
            group,
            inject,
            mild: Expect::named(code, Verdict::Redo),
            severe: Expect::named(code, Verdict::Redo),
        }
    }

    pub fn expect(&self, strength: Strength) -> Expect {
        strength.pick(self.mild, self.severe)
    }
}

/// Codes with their severity, each once, the most serious first.
pub fn said(sheet: &Sheet) -> Vec<(String, String)> {
    let rank = |severity: &str| {
        ["redo", "caution", "note"]
            .iter()
            .position(|s| *s == severity)
    };
    let mut said: Vec<(String, String)> = vec![];
    for finding in &sheet.findings {
        let pair = (finding.code.clone(), finding.severity.clone());
        if !said.contains(&pair) {
            said.push(pair);
        }
    }
    said.sort_by_key(|pair| rank(&pair.1));
    said
}

/// What does not agree with what was expected; empty if all does.
pub fn disagreements(sheet: &Sheet, expect: &Expect) -> Vec<String> {
    let mut wrong = vec![];
    let said = said(sheet);
    if let Some(code) = expect.code
        && !said.iter().any(|(found, _)| found == code.as_str())
    {
        wrong.push(format!("{} is missing", code.as_str()));
    }
    if sheet.verdict != expect.verdict.as_str() {
        wrong.push(format!(
            "verdict {} for {}",
            sheet.verdict,
            expect.verdict.as_str()
        ));
    }
    for (code, severity) in said.iter().filter(|(_, severity)| severity != "note") {
        let named = expect.code.is_some_and(|c| c.as_str() == code);
        let allowed = expect.also.iter().any(|c| c.as_str() == code);
        if !named && !allowed {
            wrong.push(format!("{code} ({severity}) came as well"));
        }
    }
    wrong
}
