//! What limits each main parameter, and what would help.

use farcone::parameters::Key;
use farcone::quantity::listed;
use farcone::sheet::{Share, Sheet};

use super::parameters::shape;
use super::{item, title};
use crate::cli::console::Look;

/// The largest contributor to each main parameter; parameters that share it stand in one line.
pub(super) fn list(sheet: &Sheet, look: Look) -> String {
    let mut groups: Vec<(&Share, Vec<String>)> = Vec::new();
    for key in Key::MAIN {
        let Some(largest) = sheet
            .parameters
            .get(key)
            .and_then(|entry| entry.budget.first())
        else {
            continue;
        };
        let part = format!("{:.0} % of {}", 100.0 * largest.share, shape(key).symbol);
        match groups
            .iter_mut()
            .find(|(share, _)| share.source == largest.source)
        {
            Some((_, parts)) => parts.push(part),
            None => groups.push((largest, vec![part])),
        }
    }
    if groups.is_empty() {
        return String::new();
    }
    let mut out = title(
        "Where the doubt within these takes comes from (shares of the variance)",
        look,
    );
    for (share, parts) in groups {
        let verb = if parts.len() == 1 { "comes" } else { "come" };
        let text = format!(
            "{} {verb} from {}: {}",
            listed(&parts),
            share.source,
            share.advice
        );
        out.push_str(&item("  - ", &text, look));
    }
    out
}
