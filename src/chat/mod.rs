//! One line for a chat: what a take or a sheet came to, short enough for any messenger, read back and checked at the other end
//! before any file has arrived.
//!
//! ```text
//! farcone:1 [left unit] after free-air-2: fs=96.35Hz re=5.681ohm qms=4.313 qes=0.8214 qts=0.6899 usable distorted,leads-large ~WXRVK
//! ```
//!
//! Plain ASCII but for the label, no character that a messenger turns into another one or a shell takes for its own between double
//! quotation marks, and a checksum over all that stands before
//! the tilde with runs of white space counted as one blank: a line that was broken over two or bent by a messenger is either read
//! right or refused. `docs/chat-line.md` has the format.

mod read;
mod write;

use crate::finding::Code;

pub use read::{ChatError, lines_in};
pub use write::digits;

/// What every line begins with: the format and its version.
pub const PREFIX: &str = "farcone:1";

/// Longest label in a line, characters; what is longer is cut.
const LONGEST_LABEL: usize = 40;
/// Codes in a line at most, the most serious first; how many more there are is said.
const MOST_CODES: usize = 4;

/// What a line says.
#[derive(Clone, Debug, PartialEq)]
pub struct ChatLine {
    /// What somebody calls the driver.
    pub label: String,
    /// The take after which it was sent; `None` for a whole sheet.
    pub take: Option<String>,
    /// Resonance, Hz; `None` if unknown.
    pub fs_hz: Option<f64>,
    /// DC resistance, ohm.
    pub re_ohm: Option<f64>,
    /// Mechanical Q.
    pub qms: Option<f64>,
    /// Electrical Q.
    pub qes: Option<f64>,
    /// Total Q.
    pub qts: Option<f64>,
    /// `good`, `usable` or `redo`.
    pub verdict: String,
    /// What was noticed beyond notes, the most serious first.
    pub codes: Vec<String>,
    /// How many more codes there were.
    pub n_more: usize,
}

impl ChatLine {
    /// Whether nothing has to be made again.
    pub fn goes_on(&self) -> bool {
        self.verdict != "redo"
    }

    /// What each code means and what to do about it; `None` for a code of a later version.
    pub fn meanings(&self) -> impl Iterator<Item = (&str, Option<Code>)> {
        self.codes
            .iter()
            .map(|code| (code.as_str(), Code::parse(code)))
    }
}

/// Whether a text means to be such a line.
pub fn is_chat_line(text: &str) -> bool {
    text.trim_start().starts_with("farcone:")
}

/// Checksum of what stands before the tilde: the first 25 bits of its SHA-256 as five letters of an alphabet without those that
/// are taken for one another (D. Crockford's base 32, from memory). One line in 33 million that was damaged passes.
fn checksum(text: &str) -> String {
    use sha2::{Digest, Sha256};
    const ALPHABET: &[u8; 32] = b"0123456789ABCDEFGHJKMNPQRSTVWXYZ";
    let words: Vec<&str> = text.split_whitespace().collect();
    let digest = Sha256::digest(words.join(" ").as_bytes());
    let bits = digest
        .iter()
        .take(4)
        .fold(0_u32, |bits, byte| bits << 8 | u32::from(*byte));
    (0..5)
        .map(|i| char::from(ALPHABET[(bits >> (27 - 5 * i)) as usize & 31]))
        .collect()
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests fail by panicking")]
mod tests {
    use super::*;

    fn line() -> ChatLine {
        ChatLine {
            label: "left unit".into(),
            take: Some("free-air-2".into()),
            fs_hz: Some(96.349_8),
            re_ohm: Some(5.681),
            qms: Some(4.313),
            qes: Some(0.821_4),
            qts: None,
            verdict: "usable".into(),
            codes: vec!["distorted".into(), "leads-large".into()],
            n_more: 0,
        }
    }

    #[test]
    fn a_line_reads_back() {
        let text = line().to_string();
        assert!(text.len() < 200, "{text}");
        assert_eq!(text.lines().count(), 1);
        let read = ChatLine::read(&text).unwrap();
        // Four digits are enough to talk about.
        assert_eq!(read.fs_hz, Some(96.35));
        assert_eq!(
            ChatLine {
                fs_hz: line().fs_hz,
                ..read
            },
            line()
        );
    }

    #[test]
    fn the_checksum_is_the_standards() {
        // printf '%s' 'abc' | sha256sum: ba7816bf…; its first 25 bits in groups of five.
        assert_eq!(checksum("abc"), "Q9W1D");
        assert_eq!(checksum(" a \n b"), checksum("a b"));
    }

    #[test]
    fn what_a_messenger_does_to_it_is_forgiven_or_refused() {
        let text = line().to_string();
        // Broken over two lines, quoted, with a full stop behind it.
        let broken = format!("> {}.", text.replacen(" qms", "\n qms", 1));
        assert_eq!(ChatLine::read(&broken).unwrap().qms, Some(4.313));
        // Every single digit that was typed wrong.
        for (at, c) in text.char_indices().filter(|(_, c)| c.is_ascii_digit()) {
            let other = char::from(b'0' + (c as u8 - b'0' + 1) % 10);
            let mut bent = text.clone();
            bent.replace_range(at..=at, &other.to_string());
            assert!(ChatLine::read(&bent).is_err(), "{bent}");
        }
        assert!(matches!(
            ChatLine::read(&text[..text.len() - 8]),
            Err(ChatError::NoChecksum)
        ));
    }

    #[test]
    fn other_versions_and_other_texts_are_refused_by_name() {
        let later = line().to_string().replacen("farcone:1", "farcone:2", 1);
        assert!(
            matches!(ChatLine::read(&later), Err(ChatError::Version { found }) if found == "farcone:2")
        );
        assert!(matches!(
            ChatLine::read("good morning"),
            Err(ChatError::NotALine)
        ));
    }

    #[test]
    fn labels_cannot_break_it() {
        for label in [
            "",
            "a \"quoted\" [one]: fs=1Hz ~AAAAA",
            "$(touch x) `id` \\ !!",
            "two\nlines\tand ~ tildes",
            "лево 左 🔊",
            "a\u{202e}b\u{200b}",
            "x".repeat(300).as_str(),
        ] {
            let line = ChatLine {
                label: label.into(),
                ..line()
            };
            let text = line.to_string();
            let read = ChatLine::read(&text).unwrap();
            assert_eq!(read.fs_hz, Some(96.35), "{text}");
            assert_eq!(read.to_string(), text);
            assert!(read.label.chars().count() <= LONGEST_LABEL);
            assert!(!text.contains(crate::quantity::is_invisible), "{text:?}");
            assert!(!text.contains(['"', '$', '`', '\\', '!']), "{text}");
        }
    }
}
