//! The magnitude of the impedance against frequency, for the terminal.

use farcone::sheet::{CurveEntry, Sheet};
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::{Color, Style};
use ratatui::symbols::Marker;
use ratatui::widgets::{Axis, Chart, Dataset, GraphType, Widget};

use super::text::{Tint, tinted};
use super::title;
use crate::cli::console::Look;

/// Rows of the drawing area.
const HEIGHT: u16 = 15;
/// Columns left of it: a number and the axis.
const GUTTER: usize = 7;
/// A measured dot in every so many columns, so that the line between them stays visible.
const DOT_EVERY: usize = 3;
const MEASURED: Color = Color::Cyan;
const FITTED: Color = Color::Yellow;

/// The free-air impedance, measured and fitted; empty if there is no curve.
pub fn plot(sheet: &Sheet, look: Look) -> String {
    let Some(curve) = sheet.curves.first() else {
        return String::new();
    };
    let measured = magnitude(curve, &curve.measured_re_ohm, &curve.measured_im_ohm);
    let fitted = match (&curve.modelled_re_ohm, &curve.modelled_im_ohm) {
        (Some(re), Some(im)) => magnitude(curve, re, im),
        _ => Vec::new(),
    };
    let highest = measured
        .iter()
        .chain(&fitted)
        .map(|point| point.1)
        .max_by(f64::total_cmp);
    let (Some(first), Some(last), Some(highest)) = (measured.first(), measured.last(), highest)
    else {
        return String::new();
    };
    let frame = Frame {
        columns: look.width.saturating_sub(GUTTER + 3),
        x: [first.0, last.0],
        y: ticks(highest),
    };
    if frame.x[1] <= frame.x[0] {
        return String::new();
    }
    let drawn = frame.draw(&frame.thinned(&measured), &fitted);
    let mut out = title(&format!("Impedance of {}: Ω against Hz", curve.name), look);
    for row in 0..HEIGHT {
        out.push_str(&frame.gutter(row));
        out.push_str(&line(&drawn, row, look));
        out.push('\n');
    }
    out.push_str(&frame.bottom());
    let dots = tinted("•", Tint::Measured, look);
    let curve = tinted("⠒⠒", Tint::Fitted, look);
    let legend = if fitted.is_empty() {
        format!("{dots} measured")
    } else {
        format!("{dots} measured   {curve} fitted")
    };
    out.push_str(&format!("{:GUTTER$}{legend}\n", ""));
    out
}

/// Points of (log10 of the frequency, magnitude in ohm).
fn magnitude(curve: &CurveEntry, re: &[f64], im: &[f64]) -> Vec<(f64, f64)> {
    let parts = re.iter().zip(im).map(|(re, im)| re.hypot(*im));
    let points = curve.frequency_hz.iter().map(|f| f.log10()).zip(parts);
    points
        .filter(|(x, y)| x.is_finite() && y.is_finite())
        .collect()
}

/// From zero in round steps to just above `highest`; the last one is the top of the axis.
fn ticks(highest: f64) -> Vec<f64> {
    const MOST_STEPS: f64 = 5.0;
    let rough = highest / MOST_STEPS;
    let decade = 10_f64.powf(rough.log10().floor());
    let step = [1.0, 2.0, 5.0, 10.0]
        .into_iter()
        .map(|factor| factor * decade)
        .find(|step| *step >= rough)
        .unwrap_or(rough);
    let n_steps = (highest / step).ceil().clamp(1.0, MOST_STEPS + 1.0) as u32;
    (0..=n_steps).map(|i| f64::from(i) * step).collect()
}

struct Frame {
    columns: usize,
    /// Ends of the frequency axis, log10 of hertz.
    x: [f64; 2],
    /// Ticks of the other axis, ohm, from zero to its top.
    y: Vec<f64>,
}

impl Frame {
    fn top(&self) -> f64 {
        self.y.last().copied().unwrap_or(1.0)
    }

    fn column(&self, x: f64) -> f64 {
        (x - self.x[0]) / (self.x[1] - self.x[0]) * (self.columns as f64 - 1.0)
    }

    /// The points nearest to the middles of some columns.
    fn thinned(&self, points: &[(f64, f64)]) -> Vec<(f64, f64)> {
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

    fn draw(&self, measured: &[(f64, f64)], fitted: &[(f64, f64)]) -> Buffer {
        let area = Rect::new(0, 0, self.columns as u16, HEIGHT);
        let line = Dataset::default()
            .marker(Marker::Braille)
            .graph_type(GraphType::Line)
            .style(Style::new().fg(FITTED))
            .data(fitted);
        let mut buffer = Buffer::empty(area);
        // The axes are drawn outside: ratatui's labels are evenly spaced, and decades of 5 Hz to 20 kHz are not.
        Chart::new(vec![line])
            .x_axis(Axis::default().bounds(self.x))
            .y_axis(Axis::default().bounds([0.0, self.top()]))
            .legend_position(None)
            .render(area, &mut buffer);
        // A dataset of dots has whole cells as its raster, and would stand up to half a cell off the line.
        for (x, y) in measured {
            let column = self.column(*x).round() as u16;
            if let Some(cell) = buffer.cell_mut((column, self.row(*y))) {
                cell.set_symbol("•").set_fg(MEASURED);
            }
        }
        buffer
    }

    /// The row of a magnitude, as the raster of braille dots (four to a row) has it.
    fn row(&self, y: f64) -> u16 {
        let n_dots = 4.0 * f64::from(HEIGHT);
        ((1.0 - y / self.top()) * (n_dots - 1.0)).round() as u16 / 4
    }

    /// The vertical axis in one row, with the tick that falls there.
    fn gutter(&self, row: u16) -> String {
        let width = GUTTER - 2;
        match self.y.iter().find(|y| self.row(**y) == row) {
            Some(y) => format!("{y:>width$} ┤"),
            None => format!("{:>width$} │", ""),
        }
    }

    /// The horizontal axis: a line with ticks, and their labels.
    fn bottom(&self) -> String {
        let mut axis = vec!['─'; self.columns];
        let mut labels = vec![' '; self.columns + 3];
        // Decades first, so that they get the room.
        for digit in [1.0, 2.0, 5.0, 3.0] {
            for power in -1..6 {
                let hz = digit * 10_f64.powi(power);
                let column = self.column(hz.log10()).round();
                if !(0.0..self.columns as f64).contains(&column) {
                    continue;
                }
                let column = column as usize;
                let text = spoken(hz);
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
        }
        let axis: String = axis.into_iter().collect();
        let labels: String = labels.into_iter().collect();
        let corner = " ".repeat(GUTTER - 1);
        format!("{corner}└{axis}\n{corner} {}\n", labels.trim_end())
    }
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
        assert_eq!(ticks(37.0), [0.0, 10.0, 20.0, 30.0, 40.0]);
        assert_eq!(ticks(8.0), [0.0, 2.0, 4.0, 6.0, 8.0]);
        for highest in [0.013, 0.9, 4.9, 99.9, 1234.5] {
            let ticks = ticks(highest);
            assert!(
                ticks.len() <= 7 && ticks.last().is_some_and(|top| *top >= highest),
                "{ticks:?}"
            );
        }
    }

    #[test]
    fn decades_stand_where_they_belong() {
        let frame = Frame {
            columns: 61,
            x: [1.0, 4.0],
            y: ticks(10.0),
        };
        let bottom = frame.bottom();
        let axis: Vec<char> = bottom.lines().next().unwrap().chars().collect();
        for decade in 0..=3 {
            assert_eq!(axis[GUTTER + 20 * decade], '┬', "{bottom}");
        }
        for label in ["10", "100", "1k", "10k"] {
            assert!(bottom.contains(label), "{label} is not in {bottom}");
        }
    }
}
