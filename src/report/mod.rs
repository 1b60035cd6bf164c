//! Sheets as a page that people look at: one self-contained HTML file, and its plots as SVG.
//!
//! Conventions: no physics, except that circuits are evaluated for the band of a curve and `enclosure` is asked about a volume.
//! The page loads nothing and runs nothing: its security policy allows only its own style sheet. `docs/report.md` describes it.

mod budget;
mod comparison;
mod conditions;
mod draw;
mod findings;
mod markup;
mod page;
mod parameters;
mod photos;
mod verdict;
mod volume;

use draw::{Kind, traces};

use crate::sheet::Sheet;

pub use photos::{PhotoFile, picture_kind};

/// Style of a plot that stands alone: light, since it goes onto paper and into documents. Its colours are literal: few programs
/// besides browsers know CSS variables.
fn plot_style() -> String {
    let mut style = String::from(include_str!("plot.css"));
    let declared = include_str!("light.css").split(['{', ';', '}']);
    for (name, value) in declared.filter_map(|part| part.trim().split_once(':')) {
        style = style.replace(&format!("var({name})"), value);
    }
    style
}

/// What a reader of the page wants to know besides the sheet.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Options {
    /// Net volume of a closed box, m³.
    pub net_m3: Option<f64>,
    /// Photos that were found for the sheets.
    pub photos: Vec<PhotoFile>,
}

/// A plot as a file.
#[derive(Clone, Debug, PartialEq)]
pub struct Plot {
    /// `impedance`, `residuals` or `plane`; of several sheets with the sheet's number in front.
    pub name: String,
    /// The SVG, complete.
    pub svg: String,
}

/// Why there is no report.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum ReportError {
    /// No sheet was given.
    #[error("a report needs at least one sheet")]
    NoSheet,
    /// A plot could not be drawn.
    #[error("a plot could not be drawn: {reason}")]
    Drawing {
        /// What the drawing library says.
        reason: String,
    },
}

impl ReportError {
    fn drawing(error: impl std::fmt::Display) -> Self {
        Self::Drawing {
            reason: error.to_string(),
        }
    }
}

/// The page for one or several sheets.
///
/// # Errors
/// [`ReportError::NoSheet`] without a sheet.
pub fn html(sheets: &[Sheet], options: &Options) -> Result<String, ReportError> {
    if sheets.is_empty() {
        return Err(ReportError::NoSheet);
    }
    page::page(sheets, options)
}

/// The plots alone: of each sheet, and of several the overlay. A sheet without curves has none.
///
/// # Errors
/// [`ReportError::NoSheet`] without a sheet.
pub fn plots(sheets: &[Sheet]) -> Result<Vec<Plot>, ReportError> {
    let mut plots = vec![];
    let style = plot_style();
    let mut add = |sheets: &[Sheet], label: &str, before: &str, kinds: &[Kind]| {
        let traces = traces(sheets);
        for kind in kinds {
            let id = format!("{before}{}", kind.as_str());
            if let Some(svg) = kind.draw(&traces, label, false, &id, Some(&style))? {
                plots.push(Plot { name: id, svg });
            }
        }
        Ok::<(), ReportError>(())
    };
    match sheets {
        [] => return Err(ReportError::NoSheet),
        [only] => add(sheets, &only.label, "", &Kind::ALL)?,
        several => {
            add(several, &overlay_label(several), "all-", &[Kind::Impedance])?;
            for (i, sheet) in several.iter().enumerate() {
                let before = format!("{}-", i + 1);
                add(
                    std::slice::from_ref(sheet),
                    &sheet.label,
                    &before,
                    &Kind::ALL,
                )?;
            }
        }
    }
    Ok(plots)
}

/// `A: first, B: second`.
fn overlay_label(sheets: &[Sheet]) -> String {
    let named: Vec<String> = sheets
        .iter()
        .enumerate()
        .map(|(i, sheet)| format!("{}: {}", letter(i), sheet.label))
        .collect();
    named.join(", ")
}

/// A, B, C …; beyond Z with a number.
fn letter(i: usize) -> String {
    match u8::try_from(i) {
        Ok(n) if n < 26 => char::from(b'A' + n).to_string(),
        _ => format!("#{}", i + 1),
    }
}
