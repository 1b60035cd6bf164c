//! Mounting dimensions as somebody typed them, so that a typing error is seen before it is cut.

use farcone::quantity::DisplayUnit;
use farcone::sheet::Sheet;

use super::{item, title};
use crate::cli::console::Look;

/// Empty if nobody typed any.
pub(super) fn list(sheet: &Sheet, look: Look) -> String {
    let Some(dimensions) = &sheet.dimensions else {
        return String::new();
    };
    let length = |(name, m): (&str, Option<f64>)| {
        let shown = m.map_or("?".to_owned(), |m| {
            let text = format!("{:.1}", DisplayUnit::Millimetre.from_si(m));
            format!("{} mm", text.trim_end_matches(".0"))
        });
        format!("{name} {shown}")
    };
    let mut parts: Vec<String> = dimensions.lengths().into_iter().map(length).collect();
    let screws = dimensions.n_screws;
    parts.push(screws.map_or("screws ?".to_owned(), |n| format!("screws {n}")));
    format!(
        "{}{}",
        title("Mounting dimensions", look),
        item("  ", &parts.join(", "), look)
    )
}
