//! From a line back to what it says.

use super::{ChatLine, PREFIX, checksum, is_chat_line};

/// What every version's line begins with.
const MARK: &str = "farcone:";

/// Why a text is no line.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum ChatError {
    /// Nothing like it.
    #[error("this is no line of farcone's; it has to begin with {PREFIX}")]
    NotALine,
    /// Another version.
    #[error(
        "this line has the format \"{found}\", but only \"{PREFIX}\" can be read here; use the program version that wrote it"
    )]
    Version {
        /// What the line says of itself.
        found: String,
    },
    /// Its end is missing.
    #[error(
        "the line is not complete: it has to end in a tilde (~) and five letters; ask for it once more, copied whole"
    )]
    NoChecksum,
    /// It was changed on the way.
    #[error(
        "the line was changed on the way (its checksum is {found}, but {expected} belongs to what arrived); ask for it once more, copied \
         and not typed"
    )]
    Changed {
        /// The checksum in the line.
        found: String,
        /// The one of what arrived.
        expected: String,
    },
    /// The checksum is right, but a part cannot be read.
    #[error("the line has no readable {part}; the program that wrote it may be of another version")]
    Part {
        /// Which part.
        part: &'static str,
    },
}

/// The lines in a text that somebody pasted, each up to the beginning of the next.
pub fn lines_in(text: &str) -> Vec<&str> {
    let begins: Vec<usize> = text.match_indices(MARK).map(|(at, _)| at).collect();
    let ends = begins.iter().skip(1).copied().chain([text.len()]);
    begins
        .iter()
        .zip(ends)
        .map(|(&begin, end)| &text[begin..end])
        .collect()
}

impl ChatLine {
    /// Reads a line, wherever it stands in a text that somebody pasted.
    ///
    /// # Errors
    /// See [`ChatError`].
    pub fn read(text: &str) -> Result<Self, ChatError> {
        let begin = text.find(MARK).ok_or(ChatError::NotALine)?;
        let text = &text[begin..];
        if !is_chat_line(text) {
            return Err(ChatError::NotALine);
        }
        let found = text.split_whitespace().next().unwrap_or_default();
        if found != PREFIX {
            return Err(ChatError::Version {
                found: found.chars().take(20).collect(),
            });
        }
        let (body, rest) = text.split_once('~').ok_or(ChatError::NoChecksum)?;
        let found: String = rest
            .chars()
            .take_while(char::is_ascii_alphanumeric)
            .collect();
        if found.len() != checksum("").len() {
            return Err(ChatError::NoChecksum);
        }
        let expected = checksum(body);
        if !found.eq_ignore_ascii_case(&expected) {
            return Err(ChatError::Changed { found, expected });
        }
        let body = body.split_whitespace().collect::<Vec<_>>().join(" ");
        parts(&body)
    }
}

fn parts(body: &str) -> Result<ChatLine, ChatError> {
    let missing = |part| ChatError::Part { part };
    let (_, behind) = body.split_once('[').ok_or(missing("label"))?;
    let (label, behind) = behind.split_once(']').ok_or(missing("label"))?;
    let (take, behind) = behind.split_once(':').ok_or(missing("take"))?;
    let take = match take.trim() {
        "" => None,
        text => {
            let name = text.strip_prefix("after ").ok_or(missing("take"))?;
            Some(name.to_owned())
        }
    };
    let mut words = behind.split(' ').filter(|word| !word.is_empty());
    let mut value = |name: &'static str, unit: &str| {
        let word = words.next().ok_or(missing(name))?;
        let typed = word.strip_prefix(name).and_then(|w| w.strip_prefix('='));
        match typed.ok_or(missing(name))? {
            "?" => Ok(None),
            text => text
                .strip_suffix(unit)
                .and_then(|text| text.parse::<f64>().ok())
                .filter(|value| value.is_finite())
                .map(Some)
                .ok_or(missing(name)),
        }
    };
    let (fs_hz, re_ohm) = (value("fs", "Hz")?, value("re", "ohm")?);
    let (qms, qes, qts) = (value("qms", "")?, value("qes", "")?, value("qts", "")?);
    let verdict = words.next().ok_or(missing("verdict"))?.to_owned();
    if !["good", "usable", "redo"].contains(&verdict.as_str()) {
        return Err(missing("verdict"));
    }
    let (mut codes, mut n_more) = (vec![], 0);
    for code in words.next().into_iter().flat_map(|list| list.split(',')) {
        match code.strip_prefix('+') {
            Some(n) => n_more = n.parse().map_err(|_| missing("number of findings"))?,
            None => codes.push(code.to_owned()),
        }
    }
    Ok(ChatLine {
        label: label.to_owned(),
        take,
        fs_hz,
        re_ohm,
        qms,
        qes,
        qts,
        verdict,
        codes,
        n_more,
    })
}
