//! From a sheet to a line.

use std::fmt;

use super::{ChatLine, LONGEST_LABEL, MOST_CODES, PREFIX, checksum};
use crate::quantity::is_invisible;
use crate::sheet::{ParameterEntry, Sheet};

/// Digits that are shown: enough to talk about; the file has all.
const N_DIGITS: i32 = 4;

impl ChatLine {
    /// What a sheet comes to, `take` being the one that was made last, or `None` once all are made.
    pub fn of(sheet: &Sheet, take: Option<&str>) -> Self {
        let value = |entry: &Option<ParameterEntry>| entry.as_ref().map(|entry| entry.value);
        let mut codes: Vec<String> = vec![];
        for severity in ["redo", "caution"] {
            let told = sheet.findings.iter().filter(|f| f.severity == severity);
            for finding in told {
                if !codes.contains(&finding.code) {
                    codes.push(finding.code.clone());
                }
            }
        }
        let n_more = codes.len().saturating_sub(MOST_CODES);
        codes.truncate(MOST_CODES);
        let parameters = &sheet.parameters;
        Self {
            label: sheet.label.clone(),
            take: take.map(str::to_owned),
            fs_hz: value(&parameters.fs),
            re_ohm: value(&parameters.re),
            qms: value(&parameters.qms),
            qes: value(&parameters.qes),
            qts: value(&parameters.qts),
            verdict: sheet.verdict.clone(),
            codes,
            n_more,
        }
    }
}

/// A label that cannot be taken for anything else in a line.
fn harmless(label: &str) -> String {
    let plain: String = label
        .chars()
        .map(|c| match c {
            '"' | '`' => '\'',
            '[' => '(',
            ']' => ')',
            '~' | '$' | '\\' | '!' => '-',
            // What turns the direction of reading would turn the numbers behind it as well.
            c if c.is_control() || c.is_whitespace() || is_invisible(c) => ' ',
            c => c,
        })
        .collect();
    let words: Vec<&str> = plain.split_whitespace().collect();
    let short: String = words.join(" ").chars().take(LONGEST_LABEL).collect();
    short.trim_end().to_owned()
}

/// A value with the digits that a line has.
pub fn digits(value: f64) -> String {
    let whole_digits = if value == 0.0 {
        1
    } else {
        value.abs().log10().floor() as i32 + 1
    };
    let decimals = usize::try_from(N_DIGITS - whole_digits).unwrap_or(0);
    format!("{value:.decimals$}")
}

fn number(value: Option<f64>, unit: &str) -> String {
    match value.filter(|value| value.is_finite()) {
        Some(value) => format!("{}{unit}", digits(value)),
        None => "?".to_owned(),
    }
}

impl fmt::Display for ChatLine {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let mut text = format!("{PREFIX} [{}]", harmless(&self.label));
        if let Some(take) = &self.take {
            // Names of takes are made by the program, but a session file may have been typed.
            let take: String = take
                .chars()
                .filter(|c| c.is_ascii_alphanumeric() || "-_.".contains(*c))
                .take(LONGEST_LABEL)
                .collect();
            text.push_str(&format!(" after {take}"));
        }
        text.push_str(&format!(
            ": fs={} re={} qms={} qes={} qts={} {}",
            number(self.fs_hz, "Hz"),
            number(self.re_ohm, "ohm"),
            number(self.qms, ""),
            number(self.qes, ""),
            number(self.qts, ""),
            self.verdict
        ));
        if !self.codes.is_empty() {
            text.push_str(&format!(" {}", self.codes.join(",")));
        }
        if self.n_more > 0 {
            text.push_str(&format!(",+{}", self.n_more));
        }
        write!(f, "{text} ~{}", checksum(&text))
    }
}
