//! A sheet of paper to draw on: plotters writes the SVG, and inks become classes, so that one drawing serves light, dark and print.

use plotters::backend::SVGBackend;
use plotters::drawing::IntoDrawingArea;
use plotters::element::{Circle, PathElement, Polygon, Text};
use plotters::style::text_anchor::{HPos, Pos, VPos};
use plotters::style::{Color, IntoFont, RGBColor, ShapeStyle, TextStyle};

use super::{PlotText, Size};
use crate::report::ReportError;
use crate::report::markup::{clean, escaped};

/// plotters places in whole pixels; a pixel of ours is ten of its.
const FINE: f64 = 10.0;
/// plotters divides font sizes by this before it writes them.
const FONT_DIVISOR: f64 = 1.24;

/// What is drawn with. Its colour, and the dashes of a trace, stand in the style sheet.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Ink {
    Grid,
    Axis,
    Text,
    Faint,
    /// Fitted line, dots and label of a trace.
    Trace(usize),
    /// 95 % band of a trace.
    Band(usize),
}

/// As many traces look different; further ones begin again.
pub const N_LOOKS: usize = 6;

impl Ink {
    /// A colour that nobody sees: it only carries the ink through plotters.
    fn sentinel(self) -> RGBColor {
        let (group, which) = match self {
            Self::Grid => (1, 0),
            Self::Axis => (1, 1),
            Self::Text => (1, 2),
            Self::Faint => (1, 3),
            Self::Trace(i) => (2, i % N_LOOKS),
            Self::Band(i) => (3, i % N_LOOKS),
        };
        RGBColor(group, 0, which as u8)
    }

    fn class(self) -> String {
        match self {
            Self::Grid => String::from("grid"),
            Self::Axis => String::from("axis"),
            Self::Text => String::from("word"),
            Self::Faint => String::from("faint"),
            Self::Trace(i) => format!("t{}", i % N_LOOKS),
            Self::Band(i) => format!("b{}", i % N_LOOKS),
        }
    }

    fn all() -> impl Iterator<Item = Self> {
        let plain = [Self::Grid, Self::Axis, Self::Text, Self::Faint];
        let traces = (0..N_LOOKS).flat_map(|i| [Self::Trace(i), Self::Band(i)]);
        plain.into_iter().chain(traces)
    }
}

/// Which side of its place a text stands on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Align {
    Start,
    Middle,
    End,
}

/// Shapes in pixels, in the order in which they are drawn.
#[derive(Default)]
pub struct Canvas {
    shapes: Vec<Shape>,
    /// Strips over the whole height that say values under the pointer: left, right, top, bottom, text.
    strips: Vec<(f64, f64, f64, f64, String)>,
}

enum Shape {
    Line(Vec<(f64, f64)>, Ink, f64),
    Area(Vec<(f64, f64)>, Ink),
    Dot((f64, f64), usize, f64),
    Words(String, (f64, f64), Ink, Align, f64),
}

impl Canvas {
    pub fn line(&mut self, points: Vec<(f64, f64)>, ink: Ink, width: f64) {
        if points.len() > 1 {
            self.shapes.push(Shape::Line(points, ink, width));
        }
    }

    pub fn area(&mut self, outline: Vec<(f64, f64)>, ink: Ink) {
        if outline.len() > 2 {
            self.shapes.push(Shape::Area(outline, ink));
        }
    }

    /// A dot in the shape of its trace.
    pub fn dot(&mut self, at: (f64, f64), trace: usize, radius: f64) {
        self.shapes.push(Shape::Dot(at, trace, radius));
    }

    /// Text whose middle line runs through `at`.
    pub fn words(&mut self, text: &str, at: (f64, f64), ink: Ink, align: Align, size: f64) {
        self.shapes
            .push(Shape::Words(clean(text), at, ink, align, size));
    }

    pub fn strip(&mut self, left: f64, right: f64, top: f64, bottom: f64, text: String) {
        self.strips.push((left, right, top, bottom, text));
    }

    /// The drawing as an `svg` element with its name and description. `style`: what it brings along where it stands alone.
    pub fn finish(
        self,
        size: Size,
        id: &str,
        text: &PlotText,
        style: Option<&str>,
    ) -> Result<String, ReportError> {
        let mut raw = String::new();
        let fine = |x: f64| (FINE * x).round();
        {
            let whole = (fine(size.width) as u32, fine(size.height) as u32);
            let area = SVGBackend::with_string(&mut raw, whole).into_drawing_area();
            let at = |(x, y): (f64, f64)| (fine(x) as i32, fine(y) as i32);
            let path = |points: &[(f64, f64)]| points.iter().map(|p| at(*p)).collect::<Vec<_>>();
            let filled = |ink: Ink| ShapeStyle::from(ink.sentinel()).filled();
            for shape in &self.shapes {
                match shape {
                    Shape::Line(points, ink, width) => {
                        let style = ink.sentinel().stroke_width(fine(*width) as u32);
                        area.draw(&PathElement::new(path(points), style))
                    }
                    Shape::Area(outline, ink) => {
                        area.draw(&Polygon::new(path(outline), filled(*ink)))
                    }
                    Shape::Dot(centre, trace, radius) => match outline(*centre, *trace, *radius) {
                        Some(corners) => {
                            area.draw(&Polygon::new(path(&corners), filled(Ink::Trace(*trace))))
                        }
                        None => area.draw(&Circle::new(
                            at(*centre),
                            fine(*radius) as i32,
                            filled(Ink::Trace(*trace)),
                        )),
                    },
                    Shape::Words(words, place, ink, align, size) => {
                        let side = match align {
                            Align::Start => HPos::Left,
                            Align::Middle => HPos::Center,
                            Align::End => HPos::Right,
                        };
                        let colour = ink.sentinel();
                        let font = ("sans-serif", fine(size * FONT_DIVISOR)).into_font();
                        let style = TextStyle::from(font)
                            .color(&colour)
                            .pos(Pos::new(side, VPos::Center));
                        area.draw(&Text::new(words.as_str(), at(*place), style))
                    }
                }
                .map_err(ReportError::drawing)?;
            }
            area.present().map_err(ReportError::drawing)?;
        }
        let body = inked(inner(&raw));
        let mut strips = String::new();
        for (left, right, top, bottom, said) in &self.strips {
            strips.push_str(&format!(
                "<rect class=\"strip\" x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\"><title>{}</title></rect>\n",
                fine(*left),
                fine(*top),
                fine(right - left),
                fine(bottom - top),
                escaped(said)
            ));
        }
        // Alone it says how large it is, and brings its paper along: not every program knows a background.
        let alone = match style {
            Some(_) => format!(
                " xmlns=\"http://www.w3.org/2000/svg\" width=\"{:.0}\" height=\"{:.0}\"",
                size.width, size.height
            ),
            None => String::new(),
        };
        let paper = "<rect class=\"paper\" width=\"100%\" height=\"100%\"/>";
        let style = style.map_or(String::new(), |css| {
            format!("<style>{css}</style>\n{paper}\n")
        });
        let class = size.class();
        Ok(format!(
            "<svg{alone} class=\"plot {class}\" role=\"img\" aria-labelledby=\"{id}-title {id}-desc\" viewBox=\"0 0 {} {}\">\n\
             <title id=\"{id}-title\">{}</title>\n<desc id=\"{id}-desc\">{}</desc>\n{style}{body}{strips}</svg>\n",
            fine(size.width),
            fine(size.height),
            escaped(&text.title),
            escaped(&text.description),
        ))
    }
}

/// The corners of a trace's dot; `None` for a round one.
fn outline((x, y): (f64, f64), trace: usize, r: f64) -> Option<Vec<(f64, f64)>> {
    let corners: &[(f64, f64)] = match trace % N_LOOKS {
        0 => return None,
        1 => &[(-1.2, 1.0), (1.2, 1.0), (0.0, -1.3)],
        2 => &[(-0.95, -0.95), (0.95, -0.95), (0.95, 0.95), (-0.95, 0.95)],
        3 => &[(0.0, -1.4), (1.4, 0.0), (0.0, 1.4), (-1.4, 0.0)],
        4 => &[(-1.2, -1.0), (1.2, -1.0), (0.0, 1.3)],
        _ => &[(-1.5, -0.5), (1.5, -0.5), (1.5, 0.5), (-1.5, 0.5)],
    };
    Some(
        corners
            .iter()
            .map(|(u, v)| (x + r * u, y + r * v))
            .collect(),
    )
}

/// What stands between the tags of plotters' own `svg` element.
fn inner(raw: &str) -> &str {
    let start = raw.find('>').map_or(0, |at| at + 1);
    let end = raw.rfind("</svg>").unwrap_or(raw.len());
    raw.get(start..end).unwrap_or_default().trim_start()
}

/// Sentinel colours become classes.
fn inked(body: &str) -> String {
    // What the style sheet says anyway; a plot has thousands of these.
    let mut out = body
        .replace(" opacity=\"1\"", "")
        .replace(" stroke=\"none\" stroke-width=\"1\"", "")
        .replace("<polyline fill=\"none\"", "<polyline");
    for ink in Ink::all() {
        let RGBColor(r, g, b) = ink.sentinel();
        let colour = format!("\"#{r:02X}{g:02X}{b:02X}\"");
        for (attribute, prefix) in [("stroke", "s"), ("fill", "f")] {
            let class = format!("class=\"{prefix}-{}\"", ink.class());
            out = out.replace(&format!("{attribute}={colour}"), &class);
        }
    }
    out
}
