//! One session computed twice, as by a page far away and by this program: whether both came to the same.

use std::collections::BTreeMap;
use std::fmt;

use crate::parameters::Key;
use crate::quantity::plain_line;
use crate::sheet::{CircuitEntry, Finding, ParameterEntry, Sheet};

/// How far apart two results of the same code may be, relative to the value: transforms choose their code by the processor,
/// and mathematical functions round differently elsewhere. Nobody reads a parameter to nine digits (common practice, no source).
const RELATIVE: f64 = 1e-9;
/// The same in standard uncertainties: where a value is hardly known, the fit stops a little earlier or later.
const IN_UNCERTAINTIES: f64 = 1e-6;

/// A way in which two sheets of one session differ. `theirs` is the sheet that arrived.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub enum Disagreement {
    /// They were computed from other recordings.
    Takes,
    /// They were computed with other draws.
    Draws {
        /// Number and seed there.
        theirs: (u64, u64),
        /// Number and seed here.
        own: (u64, u64),
    },
    /// The verdicts differ.
    Verdict {
        /// There.
        theirs: String,
        /// Here.
        own: String,
    },
    /// Another circuit was chosen.
    Circuit {
        /// There, in words.
        theirs: String,
        /// Here, in words.
        own: String,
    },
    /// A finding that only one of them has, or has more often.
    Finding {
        /// Its code.
        code: String,
        /// Its severity.
        severity: String,
        /// The take that it is about.
        take: Option<String>,
        /// How often there.
        n_theirs: usize,
        /// How often here.
        n_own: usize,
    },
    /// A parameter that only one of them has.
    Absent {
        /// Which.
        key: Key,
        /// Whether it is absent there; else here.
        there: bool,
    },
    /// A parameter in another unit.
    Unit {
        /// Which.
        key: Key,
        /// There.
        theirs: String,
        /// Here.
        own: String,
    },
    /// A figure that differs by more than rounding explains.
    Value {
        /// Which parameter.
        key: Key,
        /// What of it.
        what: &'static str,
        /// There, in the parameter's unit; `None` if unknown.
        theirs: Option<f64>,
        /// Here.
        own: Option<f64>,
    },
}

impl fmt::Display for Disagreement {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Takes => write!(f, "the recordings are others (their SHA-256 differ)"),
            Self::Draws { theirs, own } => write!(
                f,
                "{} draws with seed {} there, {} with seed {} here",
                theirs.0, theirs.1, own.0, own.1
            ),
            Self::Verdict { theirs, own } => {
                write!(f, "the verdict is {} there, {own} here", plain_line(theirs))
            }
            Self::Circuit { theirs, own } => {
                write!(f, "the circuit is {} there, {own} here", plain_line(theirs))
            }
            Self::Finding {
                code,
                severity,
                take,
                n_theirs,
                n_own,
            } => {
                write!(
                    f,
                    "the finding {} ({})",
                    plain_line(code),
                    plain_line(severity)
                )?;
                if let Some(take) = take {
                    write!(f, " about {}", plain_line(take))?;
                }
                match (n_theirs, n_own) {
                    (0, _) => write!(f, " is absent there"),
                    (_, 0) => write!(f, " is absent here"),
                    _ => write!(f, " is made {n_theirs} times there, {n_own} times here"),
                }
            }
            Self::Absent { key, there: true } => write!(f, "{} is absent there", key.as_str()),
            Self::Absent { key, there: false } => write!(f, "{} is absent here", key.as_str()),
            Self::Unit { key, theirs, own } => write!(
                f,
                "{} is in {} there, in {own} here",
                key.as_str(),
                plain_line(theirs)
            ),
            Self::Value {
                key,
                what,
                theirs,
                own,
            } => {
                let figure = |value: &Option<f64>| {
                    value.map_or_else(|| "unknown".to_owned(), |value| value.to_string())
                };
                write!(
                    f,
                    "the {what} of {} is {} there, {} here",
                    key.as_str(),
                    figure(theirs),
                    figure(own)
                )
            }
        }
    }
}

/// Everything in which two sheets of one session differ: recordings, draws, verdict, circuit, findings, parameters. Figures
/// may differ by 1e-9 of the value or 1e-6 of its standard uncertainty, whatever is more. Curves are not compared: they
/// follow from recordings and circuit.
pub fn disagreements(theirs: &Sheet, own: &Sheet) -> Vec<Disagreement> {
    if recordings(theirs) != recordings(own) {
        // All else follows from that.
        return vec![Disagreement::Takes];
    }
    let mut found = vec![];
    let draws = |sheet: &Sheet| (sheet.origin.draws, sheet.origin.seed);
    if draws(theirs) != draws(own) {
        found.push(Disagreement::Draws {
            theirs: draws(theirs),
            own: draws(own),
        });
    }
    if theirs.verdict != own.verdict {
        found.push(Disagreement::Verdict {
            theirs: theirs.verdict.clone(),
            own: own.verdict.clone(),
        });
    }
    let circuits = (circuit(theirs), circuit(own));
    if circuits.0 != circuits.1 {
        found.push(Disagreement::Circuit {
            theirs: circuits.0,
            own: circuits.1,
        });
    }
    found.extend(findings(theirs, own));
    for &key in Key::ALL {
        match (theirs.parameters.get(key), own.parameters.get(key)) {
            (Some(theirs), Some(own)) => found.extend(figures(key, theirs, own)),
            (None, None) => {}
            (theirs, _) => found.push(Disagreement::Absent {
                key,
                there: theirs.is_none(),
            }),
        }
    }
    found
}

fn recordings(sheet: &Sheet) -> Vec<(&str, &[String])> {
    let takes = sheet.origin.takes.iter();
    takes
        .map(|take| (take.name.as_str(), take.sha256.as_slice()))
        .collect()
}

/// The circuit that was chosen, in words.
fn circuit(sheet: &Sheet) -> String {
    let Some(circuit) = &sheet.circuit else {
        return "none".to_owned();
    };
    let mut text = circuit.coil.clone();
    if circuit.creep_reference_hz.is_some() {
        text.push_str(" with creep");
    }
    if leaks(circuit) {
        text.push_str(" with a leak");
    }
    text
}

fn leaks(circuit: &CircuitEntry) -> bool {
    circuit.candidates.first().is_some_and(|best| best.leak)
}

fn findings(theirs: &Sheet, own: &Sheet) -> Vec<Disagreement> {
    type Which<'a> = (&'a str, &'a str, Option<&'a str>);
    fn which(finding: &Finding) -> Which<'_> {
        (&finding.code, &finding.severity, finding.take.as_deref())
    }
    let mut counts: BTreeMap<Which<'_>, (usize, usize)> = BTreeMap::new();
    for finding in &theirs.findings {
        counts.entry(which(finding)).or_default().0 += 1;
    }
    for finding in &own.findings {
        counts.entry(which(finding)).or_default().1 += 1;
    }
    counts
        .into_iter()
        .filter(|(_, (n_theirs, n_own))| n_theirs != n_own)
        .map(
            |((code, severity, take), (n_theirs, n_own))| Disagreement::Finding {
                code: code.to_owned(),
                severity: severity.to_owned(),
                take: take.map(str::to_owned),
                n_theirs,
                n_own,
            },
        )
        .collect()
}

fn figures(key: Key, theirs: &ParameterEntry, own: &ParameterEntry) -> Vec<Disagreement> {
    if theirs.unit != own.unit {
        return vec![Disagreement::Unit {
            key,
            theirs: theirs.unit.clone(),
            own: own.unit.clone(),
        }];
    }
    let end = |entry: &ParameterEntry, i: usize| entry.interval_95.map(|ends| ends[i]);
    let pairs = [
        ("value", Some(theirs.value), Some(own.value)),
        (
            "standard uncertainty",
            theirs.standard_uncertainty,
            own.standard_uncertainty,
        ),
        (
            "uncertainty from one set-up to the next",
            theirs.setup_uncertainty,
            own.setup_uncertainty,
        ),
        ("interval's lower end", end(theirs, 0), end(own, 0)),
        ("interval's upper end", end(theirs, 1), end(own, 1)),
    ];
    let by_value = RELATIVE * own.value.abs();
    let by_doubt = IN_UNCERTAINTIES * own.standard_uncertainty.unwrap_or_default();
    let limit = if by_value > by_doubt {
        by_value
    } else {
        by_doubt
    };
    pairs
        .into_iter()
        .filter(|(_, theirs, own)| match (theirs, own) {
            (Some(theirs), Some(own)) => {
                let apart = (theirs - own).abs();
                // Not finite: no agreement.
                apart.is_nan() || apart > limit
            }
            (None, None) => false,
            _ => true,
        })
        .map(|(what, theirs, own)| Disagreement::Value {
            key,
            what,
            theirs,
            own,
        })
        .collect()
}
