//! What the fit leaves over, one panel a take.

use super::axis::{Panel, ends, range, round_3, ticks};
use super::canvas::{Align, Canvas, Ink};
use super::trace::{Trace, thinned};
use super::{PlotText, Size};
use crate::quantity::COVERAGE_95;

/// The scale leaves out this part of the points, the farthest: one wild point would flatten all others.
const LEFT_OUT: f64 = 0.005;
const DOT_RADIUS: f64 = 1.3;
/// Dots closer than this are one, pixels.
const DOT_STEP: f64 = 3.5;

pub fn draw(traces: &[Trace], label: &str, narrow: bool) -> Option<(Canvas, Size, PlotText)> {
    let fitted: Vec<(usize, &Trace, Vec<f64>)> = traces
        .iter()
        .enumerate()
        .filter_map(|(i, trace)| Some((i, trace, percent(trace)?)))
        .collect();
    let mut sizes: Vec<f64> = fitted
        .iter()
        .flat_map(|(_, _, left)| left.iter().map(|x| x.abs()))
        .filter(|x| x.is_finite())
        .collect();
    sizes.sort_by(f64::total_cmp);
    let last = sizes.len().checked_sub(1)?;
    let reach = sizes[(last as f64 * (1.0 - LEFT_OUT)) as usize];
    let x = range(
        traces
            .iter()
            .flat_map(|t| t.frequency_hz.iter().map(|f| f.log10())),
    )?;
    if x[1] <= x[0] || reach <= 0.0 {
        return None;
    }
    let font = if narrow {
        Size::narrow(0.0).font
    } else {
        Size::wide(0.0).font
    };
    let panel_height = if narrow { 78.0 } else { 84.0 };
    let step = panel_height + 1.9 * font;
    let top = 0.6 * font;
    let height = top + fitted.len() as f64 * step + 2.4 * font;
    let size = if narrow {
        Size::narrow(height)
    } else {
        Size::wide(height)
    };
    let [low, high] = ends(&ticks([-reach, reach], 2.0));
    let limit = if high > -low { high } else { -low };
    let marks = [-limit, 0.0, limit];
    let percent_of = |tick: f64| format!("{} %", round_3(tick));
    // The sign for per cent is wider than a digit.
    let widest = size.reserve(&percent_of(-limit)) + 1.2 * font;
    let mut canvas = Canvas::default();
    for (row, (i, trace, left_over)) in fitted.iter().enumerate() {
        let begin = top + row as f64 * step + 1.4 * font;
        let panel = Panel {
            left: widest,
            right: size.width - 1.2 * font,
            top: begin,
            bottom: begin + panel_height - 0.6 * font,
            x,
            y: ends(&marks),
        };
        panel.rule_hz(&mut canvas, font, row + 1 == fitted.len());
        panel.rule_y(&mut canvas, &marks, font, percent_of);
        let xs = trace.frequency_hz.iter().map(|f| panel.at_x(f.log10()));
        if let Some(noise) = &trace.noise {
            let limit = panel.y[1];
            let edge = |sign: f64| -> Vec<(f64, f64)> {
                let points = xs.clone().zip(noise);
                points
                    .map(|(x, u)| {
                        let y = 100.0 * COVERAGE_95 * u;
                        (x, panel.at_y(sign * if y < limit { y } else { limit }))
                    })
                    .collect()
            };
            let mut area = thinned(&edge(1.0), 1.2);
            area.extend(thinned(&edge(-1.0), 1.2).into_iter().rev());
            canvas.area(area, Ink::Band(*i));
        }
        let places = xs.clone().zip(left_over.iter().map(|y| panel.at_y(*y)));
        let inside: Vec<(f64, f64)> = places.filter(|place| panel.holds(*place)).collect();
        for place in thinned(&inside, DOT_STEP) {
            canvas.dot(place, *i, DOT_RADIUS);
        }
        panel.foot(&mut canvas);
        let head = (panel.left, panel.top - 0.75 * font);
        canvas.words(&trace.name, head, Ink::Trace(*i), Align::Start, font);
    }
    let below = (size.width - 1.2 * font, height - 0.7 * font);
    canvas.words("frequency, Hz", below, Ink::Faint, Align::End, font);
    let text = PlotText {
        title: format!("What the fit leaves over: {label}"),
        description: format!(
            "Measured less fitted magnitude in per cent of the fitted one against frequency, a panel for each curve; 99.5 % of all points lie \
             within ±{} %. The shaded area is where noise alone puts 95 % of the points.",
            round_3(reach)
        ),
    };
    Some((canvas, size, text))
}

fn percent(trace: &Trace) -> Option<Vec<f64>> {
    let fitted = trace.fitted.as_ref()?;
    let pairs = trace.measured.iter().zip(fitted);
    Some(
        pairs
            .map(|(m, f)| 100.0 * (m.norm() / f.norm() - 1.0))
            .collect(),
    )
}
