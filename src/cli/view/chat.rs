//! The line for a chat, on its way out and on its way in.

use farcone::chat::{ChatLine, digits};
use farcone::quantity::plain_line;
use farcone::sheet::Sheet;

use super::text::{Tint, tinted};
use super::{item, paragraph, title};
use crate::cli::console::Look;

/// The line to be pasted. It is not wrapped: a terminal's own wrapping does not go into what is copied.
pub fn chat(line: &ChatLine, look: Look) -> String {
    format!("{}{line}\n", title("For the chat", look))
}

/// What a line that arrived says.
pub fn received(line: &ChatLine, look: Look) -> String {
    let mut out = String::new();
    let after = match &line.take {
        Some(take) => format!(", after {take}"),
        None => ", whole sheet".to_owned(),
    };
    out.push_str(&format!(
        "{}{after}\n",
        tinted(&plain_line(&line.label), Tint::Strong, look)
    ));
    let value = |name: &str, value: Option<f64>, unit: &str| match value {
        Some(value) => format!("{name} {}{unit}", digits(value)),
        None => format!("{name} unknown"),
    };
    let values = [
        value("fs", line.fs_hz, " Hz"),
        value("Re", line.re_ohm, " Ω"),
        value("Qms", line.qms, ""),
        value("Qes", line.qes, ""),
        value("Qts", line.qts, ""),
    ];
    out.push_str(&paragraph(&values.join(", "), look));
    let (tint, answer) = match line.verdict.as_str() {
        "good" => (Tint::Good, "go on."),
        "usable" => (Tint::Caution, "go on, and mind what stands below."),
        _ if line.take.is_none() => (
            Tint::Redo,
            "not yet: change what stands below, and make the take again that it is about.",
        ),
        _ => (
            Tint::Redo,
            "not yet: change what stands below, and make the take again.",
        ),
    };
    out.push_str(&format!(
        "Verdict: {}. Answer: {answer}\n",
        tinted(&line.verdict, tint, look)
    ));
    for (name, code) in line.meanings() {
        let text = match code {
            Some(code) => format!("{} {}", code.meaning().trim(), code.advice()),
            None => {
                "A finding that this version does not know; ask what its message says.".to_owned()
            }
        };
        out.push_str(&item(&format!("  - {name}: "), &text, look));
    }
    if line.n_more > 0 {
        out.push_str(&format!("  and {} more\n", line.n_more));
    }
    out.push_str("The checksum is right.\n");
    out
}

/// Where a sheet comes from.
pub fn origin(sheet: &Sheet, look: Look) -> String {
    let sheet = &super::plain(sheet);
    let takes: Vec<String> = sheet
        .origin
        .takes
        .iter()
        .map(|take| {
            let hash = take
                .sha256
                .first()
                .map_or("no hash", |hash| hash.get(..8).unwrap_or(hash));
            format!("{} ({hash})", take.name)
        })
        .collect();
    let text = format!(
        "{} {}, {} draws; takes with the beginning of their SHA-256: {}",
        sheet.origin.program,
        sheet.origin.version,
        sheet.origin.draws,
        takes.join(", ")
    );
    let mut out = title("Where it comes from", look);
    out.push_str(&item("  ", &text, look));
    out
}
