//! A drawing area of characters with its axes.

use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::{Color, Style};
use ratatui::symbols::Marker;
use ratatui::widgets::{Axis, Chart, Dataset, GraphType, Widget};

use super::super::text::{Tint, tinted};
use crate::cli::console::Look;

/// Columns left of the drawing area: a number and the axis.
pub const GUTTER: usize = 7;
/// A measured dot in every so many columns, so that the line between them stays visible.
const DOT_EVERY: usize = 3;
const MEASURED: Color = Color::Cyan;
const FITTED: Color = Color::Yellow;

/// Which way the horizontal axis runs.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Along {
    /// Hertz: positions are their log10.
    LogHertz,
    /// Ohms, evenly.
    Ohm,
}

/// Points of one kind: measured ones as a character each, or a fitted line.
pub enum Mark {
    Dots(char),
    Line,
}

/// What is drawn.
pub struct Trace {
    pub mark: Mark,
    pub points: Vec<(f64, f64)>,
}

pub struct Frame {
    pub columns: usize,
    pub rows: u16,
    pub along: Along,
    /// Ends of the horizontal axis.
    pub x: [f64; 2],
    /// Ticks of the vertical axis, the lowest first; its ends are the axis' ends.
    pub y: Vec<f64>,
}

/// Round steps from at or below `low` to at or above `high`, at most about `most` of them.
pub fn ticks(low: f64, high: f64, most: f64) -> Vec<f64> {
    let span = high - low;
    if !(span.is_finite() && span > 0.0) {
        return vec![low, low + 1.0];
    }
    let rough = span / most;
    let decade = 10_f64.powf(rough.log10().floor());
    let step = [1.0, 2.0, 5.0, 10.0]
        .into_iter()
        .map(|factor| factor * decade)
        .find(|step| *step >= rough * (1.0 - 1e-9))
        .unwrap_or(rough);
    let (first, last) = ((low / step).floor() as i64, (high / step).ceil() as i64);
    (first..=last).map(|i| i as f64 * step).collect()
}

impl Frame {
    fn bottom_value(&self) -> f64 {
        self.y.first().copied().unwrap_or(0.0)
    }

    fn top_value(&self) -> f64 {
        self.y.last().copied().unwrap_or(1.0)
    }

    fn column(&self, x: f64) -> f64 {
        (x - self.x[0]) / (self.x[1] - self.x[0]) * (self.columns as f64 - 1.0)
    }

    /// The row of a value, as the raster of braille dots (four to a row) has it.
    fn row(&self, y: f64) -> u16 {
        let n_dots = 4.0 * f64::from(self.rows);
        let part = (y - self.bottom_value()) / (self.top_value() - self.bottom_value());
        ((1.0 - part) * (n_dots - 1.0)).round() as u16 / 4
    }

    /// The points nearest to the middles of some columns. In a plane, where a curve may go back, all points.
    fn thinned(&self, points: &[(f64, f64)]) -> Vec<(f64, f64)> {
        if self.along == Along::Ohm {
            return points.to_vec();
        }
        (0..self.columns)
            .step_by(DOT_EVERY)
            .filter_map(|column| {
                let distance = |point: &(f64, f64)| (self.column(point.0) - column as f64).abs();
                let nearest = points
                    .iter()
                    .min_by(|a, b| distance(a).total_cmp(&distance(b)))?;
                (distance(nearest) <= 0.5).then_some(*nearest)
            })
            .collect()
    }

    /// The traces with their axes, as lines of text.
    pub fn text(&self, traces: &[Trace], look: Look) -> String {
        let drawn = self.draw(traces);
        let mut out = String::new();
        for row in 0..self.rows {
            out.push_str(&self.gutter(row));
            out.push_str(&line(&drawn, row, look));
            out.push('\n');
        }
        out.push_str(&self.bottom());
        out
    }

    fn draw(&self, traces: &[Trace]) -> Buffer {
        let area = Rect::new(0, 0, self.columns as u16, self.rows);
        let lines = traces
            .iter()
            .filter(|trace| matches!(trace.mark, Mark::Line))
            .map(|trace| {
                Dataset::default()
                    .marker(Marker::Braille)
                    .graph_type(GraphType::Line)
                    .style(Style::new().fg(FITTED))
                    .data(&trace.points)
            });
        let mut buffer = Buffer::empty(area);
        // The axes are drawn outside: ratatui's labels are evenly spaced, and decades of 5 Hz to 20 kHz are not.
        Chart::new(lines.collect())
            .x_axis(Axis::default().bounds(self.x))
            .y_axis(Axis::default().bounds([self.bottom_value(), self.top_value()]))
            .legend_position(None)
            .render(area, &mut buffer);
        // A dataset of dots has whole cells as its raster, and would stand up to half a cell off the line.
        for trace in traces {
            let Mark::Dots(mark) = trace.mark else {
                continue;
            };
            for (x, y) in self.thinned(&trace.points) {
                if !(self.bottom_value()..=self.top_value()).contains(&y) {
                    continue;
                }
                let column = self.column(x).round() as u16;
                if let Some(cell) = buffer.cell_mut((column, self.row(y))) {
                    cell.set_char(mark).set_fg(MEASURED);
                }
            }
        }
        buffer
    }

    /// The vertical axis in one row, with the tick that falls there.
    fn gutter(&self, row: u16) -> String {
        let width = GUTTER - 2;
        match self.y.iter().find(|y| self.row(**y) == row) {
            Some(y) => format!("{:>width$} ┤", tidy(*y)),
            None => format!("{:>width$} │", ""),
        }
    }

    /// Values that may stand below the horizontal axis with their positions, the more important first.
    fn below(&self) -> Vec<(f64, String)> {
        match self.along {
            // Decades first, so that they get the room.
            Along::LogHertz => [1.0, 2.0, 5.0, 3.0]
                .iter()
                .flat_map(|digit| (-1..6).map(move |power| digit * 10_f64.powi(power)))
                .map(|hz| (hz.log10(), spoken(hz)))
                .collect(),
            Along::Ohm => ticks(self.x[0], self.x[1], 8.0)
                .into_iter()
                .map(|ohm| (ohm, tidy(ohm)))
                .collect(),
        }
    }

    /// The horizontal axis: a line with ticks, and their labels.
    fn bottom(&self) -> String {
        let mut axis = vec!['─'; self.columns];
        let mut labels = vec![' '; self.columns + 3];
        for (x, text) in self.below() {
            let column = self.column(x).round();
            if !(0.0..self.columns as f64).contains(&column) {
                continue;
            }
            let column = column as usize;
            let start = column.saturating_sub(text.len() / 2);
            let around = start.saturating_sub(1)..(start + text.len() + 1).min(labels.len());
            if start + text.len() > labels.len() || labels[around].iter().any(|c| *c != ' ') {
                continue;
            }
            axis[column] = '┬';
            for (slot, c) in labels[start..].iter_mut().zip(text.chars()) {
                *slot = c;
            }
        }
        let axis: String = axis.into_iter().collect();
        let labels: String = labels.into_iter().collect();
        let corner = " ".repeat(GUTTER - 1);
        format!("{corner}└{axis}\n{corner} {}\n", labels.trim_end())
    }
}

/// A multiple of a round step without the rest that binary fractions leave.
fn tidy(value: f64) -> String {
    let rounded = (value * 1e6).round() / 1e6;
    // No minus before zero.
    format!("{}", rounded + 0.0)
}

fn spoken(hz: f64) -> String {
    if hz >= 1000.0 {
        format!("{}k", hz / 1000.0)
    } else {
        format!("{hz}")
    }
}

/// One row of the drawing, as text.
fn line(buffer: &Buffer, row: u16, look: Look) -> String {
    let mut out = String::new();
    let mut run = String::new();
    let mut run_colour = Color::Reset;
    let flush = |run: &mut String, colour: Color, out: &mut String| {
        let text = match colour {
            MEASURED => tinted(run, Tint::Measured, look),
            FITTED => tinted(run, Tint::Fitted, look),
            _ => run.clone(),
        };
        out.push_str(&text);
        run.clear();
    };
    for column in 0..buffer.area.width {
        let Some(cell) = buffer.cell((column, row)) else {
            break;
        };
        if cell.fg != run_colour {
            flush(&mut run, run_colour, &mut out);
            run_colour = cell.fg;
        }
        run.push_str(cell.symbol());
    }
    flush(&mut run, run_colour, &mut out);
    out.trim_end().to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ticks_are_round_and_reach_over_the_curve() {
        assert_eq!(ticks(0.0, 37.0, 5.0), [0.0, 10.0, 20.0, 30.0, 40.0]);
        assert_eq!(ticks(0.0, 8.0, 5.0), [0.0, 2.0, 4.0, 6.0, 8.0]);
        assert_eq!(ticks(-90.0, 90.0, 4.0), [-100.0, -50.0, 0.0, 50.0, 100.0]);
        for highest in [0.013, 0.9, 4.9, 99.9, 1234.5] {
            let ticks = ticks(0.0, highest, 5.0);
            assert!(
                ticks.len() <= 7 && ticks.last().is_some_and(|top| *top >= highest),
                "{ticks:?}"
            );
        }
        // Nothing to span, or nothing finite.
        for (low, high) in [(3.0, 3.0), (f64::NAN, 1.0)] {
            assert_eq!(ticks(low, high, 5.0).len(), 2);
        }
    }

    #[test]
    fn decades_stand_where_they_belong() {
        let frame = Frame {
            columns: 61,
            rows: 15,
            along: Along::LogHertz,
            x: [1.0, 4.0],
            y: ticks(0.0, 10.0, 5.0),
        };
        let bottom = frame.bottom();
        let axis: Vec<char> = bottom.lines().next().unwrap_or_default().chars().collect();
        for decade in 0..=3 {
            assert_eq!(axis[GUTTER + 20 * decade], '┬', "{bottom}");
        }
        for label in ["10", "100", "1k", "10k"] {
            assert!(bottom.contains(label), "{label} is not in {bottom}");
        }
    }

    #[test]
    fn a_dot_stands_in_the_row_of_its_value() {
        let frame = Frame {
            columns: 21,
            rows: 11,
            along: Along::Ohm,
            x: [0.0, 20.0],
            y: ticks(-50.0, 50.0, 4.0),
        };
        let trace = Trace {
            mark: Mark::Dots('+'),
            points: vec![(0.0, 50.0), (10.0, 0.0), (20.0, -50.0), (5.0, 80.0)],
        };
        let look = Look {
            colour: false,
            width: 80,
        };
        let text = frame.text(&[trace], look);
        let at: Vec<(usize, usize)> = text
            .lines()
            .enumerate()
            .filter_map(|(row, line)| Some((row, line.chars().position(|c| c == '+')?)))
            .collect();
        // What lies outside the axis is not drawn at its edge.
        assert_eq!(at, [(0, GUTTER), (5, GUTTER + 10), (10, GUTTER + 20)]);
    }
}
