//! The plots: what is drawn where. No physics but the evaluation of a circuit ([`band`]).

mod axis;
pub(super) mod band;
mod canvas;
mod impedance;
mod plane;
mod residual;
mod trace;

pub use trace::{Trace, load_unit, traces};

use super::ReportError;

/// On paper the wide drawing is shown, smaller, with words that are larger by this (`page.css`: 155 for 130).
const PRINTED_LARGER: f64 = 1.2;

/// A drawing in pixels of a page.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Size {
    pub width: f64,
    pub height: f64,
    pub font: f64,
    pub narrow: bool,
}

impl Size {
    /// For pages wider than a telephone, and for print.
    pub const fn wide(height: f64) -> Self {
        Self {
            width: 760.0,
            height,
            font: 13.0,
            narrow: false,
        }
    }

    /// For a telephone.
    pub const fn narrow(height: f64) -> Self {
        Self {
            width: 340.0,
            height,
            font: 12.0,
            narrow: true,
        }
    }

    /// How wide words may get.
    fn reserve(self, text: &str) -> f64 {
        let larger = if self.narrow { 1.0 } else { PRINTED_LARGER };
        larger * axis::width(text, self.font)
    }

    /// As much of a name as there is room for.
    fn fitted(self, name: &str, room: f64) -> String {
        if self.reserve(name) <= room {
            return name.to_owned();
        }
        let n_fit = (room / self.reserve("…")).floor() as usize;
        let kept: String = name.chars().take(n_fit.saturating_sub(1)).collect();
        format!("{kept}…")
    }

    /// The class that shows it only where it fits.
    fn class(self) -> &'static str {
        if self.narrow { "narrow" } else { "wide" }
    }
}

/// What is said of a plot.
#[derive(Clone, Debug, PartialEq)]
pub struct PlotText {
    pub title: String,
    pub description: String,
}

/// A plot that can be drawn in any size.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    Impedance,
    Residuals,
    Plane,
}

impl Kind {
    pub const ALL: [Self; 3] = [Self::Impedance, Self::Residuals, Self::Plane];

    /// Name of a file with it.
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Impedance => "impedance",
            Self::Residuals => "residuals",
            Self::Plane => "plane",
        }
    }

    /// Draws the traces; `None` if they have nothing to show in this plot. `style` is brought along where the SVG stands alone.
    pub fn draw(
        self,
        traces: &[Trace],
        label: &str,
        narrow: bool,
        id: &str,
        style: Option<&str>,
    ) -> Result<Option<String>, ReportError> {
        let drawn = match self {
            Self::Impedance => impedance::draw(traces, label, narrow),
            Self::Residuals => residual::draw(traces, label, narrow),
            Self::Plane => plane::draw(traces, label, narrow),
        };
        drawn
            .map(|(canvas, size, text)| canvas.finish(size, id, &text, style))
            .transpose()
    }
}
