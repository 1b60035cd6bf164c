//! The page, from its parts.

use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use sha2::{Digest, Sha256};

use super::{Kit, KitError};

/// Longest page, bytes: chat programs and mail take it without complaint.
pub const LONGEST_PAGE_BYTES: usize = 900_000;

/// The frame that everything is put into.
const FRAME: &str = include_str!("page/index.html");
const STYLE: &str = include_str!("page/style.css");
/// The library, compiled by `core/build.sh`.
const CORE: &[u8] = include_bytes!("core/farcone.wasm.gz");

/// What the page says it was tried on.
const TESTED: &str = include_str!("page/tested.txt");

macro_rules! scripts {
    ($($name:literal,)+) => {
        /// The page's script, in the order in which its parts need each other.
        const SCRIPTS: &[(&str, &str)] = &[$(($name, include_str!(concat!("page/", $name))),)+];
    };
}

scripts! {
    "strings/frame.js",
    "strings/setup.js",
    "strings/readings.js",
    "strings/takes.js",
    "strings/result.js",
    "strings/drawings.js",
    "strings.js",
    "dom.js",
    "kit.js",
    "store.js",
    "core.js",
    "state.js",
    "flow.js",
    "wav.js",
    "endwatch.js",
    "recorder.js",
    "audio.js",
    "measure.js",
    "oneinput.js",
    "photos.js",
    "draw/pen.js",
    "draw/sockets.js",
    "draw/wiring.js",
    "draw/driver.js",
    "plot.js",
    "ui/widgets.js",
    "ui/quantity.js",
    "ui/sounding.js",
    "ui/takes.js",
    "ui/coins.js",
    "ui/frame.js",
    "questions.js",
    "questions/start.js",
    "questions/readings.js",
    "questions/inputcheck.js",
    "questions/bench.js",
    "questions/takes.js",
    "questions/load.js",
    "questions/finish.js",
    "main.js",
}

/// Every part of the page's script: name below `page/` and text, in order.
pub fn page_parts() -> impl Iterator<Item = (&'static str, &'static str)> {
    SCRIPTS.iter().copied()
}

/// What of a part travels: without indentation, empty lines and lines of comment, which are a quarter of it. No text of the page spans
/// lines, but for a script inside it; a test holds that.
fn sent(text: &str) -> String {
    let mut sent = String::with_capacity(text.len());
    for line in text.lines().map(str::trim) {
        if !line.is_empty() && !line.starts_with("//") {
            sent.push_str(line);
            sent.push('\n');
        }
    }
    sent
}

impl Kit {
    /// The page as one HTML file.
    ///
    /// # Errors
    /// Settings that make no kit; a page that is too large, which no settings should cause.
    pub fn page(&self) -> Result<String, KitError> {
        self.check()?;
        let mut script = "\"use strict\";\n".to_owned();
        for (_, text) in page_parts() {
            script.push_str(&sent(text.trim_start_matches("\"use strict\";\n")));
        }
        let hash = STANDARD.encode(Sha256::digest(script.as_bytes()));
        // The worklet comes from a data: or blob: address of the page's own making, and falls under scripts.
        let csp = format!(
            "default-src 'none'; script-src 'sha256-{hash}' 'wasm-unsafe-eval' data: blob:; worker-src data: blob:; style-src \
             'unsafe-inline'; img-src data: blob:; base-uri 'none'; form-action 'none'"
        );
        // A label with "</script>" in it must not end the element that holds it.
        let kit = self.to_json().to_string().replace('<', "\\u003c");
        let mut page = String::new();
        let mut rest = FRAME;
        while let Some((before, behind)) = rest.split_once("{{") {
            let (name, behind) = behind.split_once("}}").ok_or_else(|| {
                KitError::Page("its frame has a placeholder without an end".to_owned())
            })?;
            page.push_str(before);
            match name {
                "csp" => page.push_str(&csp),
                "style" => page.push_str(&sent(STYLE)),
                "script" => page.push_str(&script),
                "kit" => page.push_str(&kit),
                "core" => page.push_str(&STANDARD.encode(CORE)),
                "tested" => page.push_str(TESTED.trim()),
                other => return Err(KitError::Page(format!("its frame asks for \"{other}\""))),
            }
            rest = behind;
        }
        page.push_str(rest);
        if page.len() > LONGEST_PAGE_BYTES {
            return Err(KitError::Page(format!(
                "it has {} bytes, and {LONGEST_PAGE_BYTES} is the limit",
                page.len()
            )));
        }
        Ok(page)
    }
}
