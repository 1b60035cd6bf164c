//! The impedance in the complex plane, with equal scales.

use super::axis::{Panel, hz_with_unit, range, round_3, ticks, width};
use super::canvas::{Align, Canvas, Ink};
use super::trace::{Trace, thinned};
use super::{PlotText, Size};

const DOT_STEP: f64 = 13.0;
const DOT_RADIUS: f64 = 2.1;
/// A line that would have to bridge more than this, pixels, is not drawn there: frequencies were left out, such as those of hum.
const WIDEST_GAP: f64 = 24.0;
/// Frequencies that are marked on the first curve, Hz.
const MARKED_HZ: [f64; 6] = [20.0, 50.0, 100.0, 1000.0, 5000.0, 20_000.0];

pub fn draw(traces: &[Trace], label: &str, narrow: bool) -> Option<(Canvas, Size, PlotText)> {
    let all = || {
        traces
            .iter()
            .flat_map(|t| t.measured.iter().chain(t.line()))
    };
    let re = range(all().map(|z| z.re).chain([0.0]))?;
    let im = range(all().map(|z| z.im))?;
    let font = if narrow {
        Size::narrow(0.0).font
    } else {
        Size::wide(0.0).font
    };
    let width_px = if narrow {
        Size::narrow(0.0).width
    } else {
        Size::wide(0.0).width
    };
    let re_ticks = ticks(re, if narrow { 5.0 } else { 8.0 });
    let step = re_ticks.get(1)? - re_ticks.first()?;
    let whole = |x: f64| (x / step).floor() * step;
    let x = [*re_ticks.first()?, *re_ticks.last()?];
    let y = [whole(im[0]), -whole(-im[1])];
    if !(x[1] > x[0] && y[1] > y[0]) {
        return None;
    }
    // Where there is room, the names stand beside the plot.
    let names_width = if narrow { 0.0 } else { 230.0 };
    let (left, right) = (4.0 * font, width_px - 1.2 * font - names_width);
    let names_height = if narrow {
        1.35 * font * traces.len() as f64 + 0.8 * font
    } else {
        0.0
    };
    let top = 2.0 * font + names_height;
    let height_px = |scale: f64| (y[1] - y[0]) * scale;
    /// A plot that is much higher than wide would not fit a page.
    const HIGHEST: f64 = 480.0;
    let mut scale = (right - left) / (x[1] - x[0]);
    if height_px(scale) > HIGHEST {
        scale = HIGHEST / (y[1] - y[0]);
    }
    let panel = Panel {
        left,
        right: left + scale * (x[1] - x[0]),
        top,
        bottom: top + height_px(scale),
        x,
        y,
    };
    let height = panel.bottom + 3.0 * font;
    let size = if narrow {
        Size::narrow(height)
    } else {
        Size::wide(height)
    };
    let mut canvas = Canvas::default();
    let n = ((y[1] - y[0]) / step).round() as usize;
    let im_ticks: Vec<f64> = (0..=n).map(|i| y[0] + i as f64 * step).collect();
    panel.rule_y(&mut canvas, &im_ticks, font, round_3);
    for &tick in &re_ticks {
        let at = panel.at_x(tick);
        canvas.line(vec![(at, panel.top), (at, panel.bottom)], Ink::Grid, 1.0);
        let below = (at, panel.bottom + 0.9 * font);
        canvas.words(&round_3(tick), below, Ink::Faint, Align::Middle, font);
    }
    canvas.line(
        vec![panel.at(x[0], 0.0), panel.at(x[1], 0.0)],
        Ink::Axis,
        1.2,
    );
    let head = (2.0, names_height + 0.7 * font);
    canvas.words("imaginary part, Ω", head, Ink::Text, Align::Start, font);
    let below = (panel.right, height - 0.7 * font);
    canvas.words("real part, Ω", below, Ink::Text, Align::End, font);
    for (i, trace) in traces.iter().enumerate() {
        let places = |points: &[num_complex::Complex64]| -> Vec<(f64, f64)> {
            points.iter().map(|z| panel.at(z.re, z.im)).collect()
        };
        // A fitted curve is known everywhere; a measured one ends at its gaps.
        let line = places(&trace.drawn);
        let pieces = match trace.fitted {
            Some(_) => vec![line],
            None => runs(&line),
        };
        for piece in pieces {
            canvas.line(thinned(&piece, 1.2), Ink::Trace(i), 1.6);
        }
        if trace.fitted.is_some() {
            for place in thinned(&places(&trace.measured), DOT_STEP) {
                canvas.dot(place, i, DOT_RADIUS);
            }
        }
        let x = if narrow { left } else { panel.right + 24.0 };
        let begin = if narrow {
            0.9 * font
        } else {
            panel.top + 0.5 * font
        };
        let y = begin + 1.35 * font * i as f64;
        canvas.line(vec![(x, y), (x + 34.0, y)], Ink::Trace(i), 1.6);
        canvas.dot((x + 17.0, y), i, DOT_RADIUS);
        canvas.words(
            &size.fitted(&trace.name, size.width - (x + 42.0)),
            (x + 42.0, y),
            Ink::Trace(i),
            Align::Start,
            font,
        );
    }
    marks(&mut canvas, &panel, traces.first()?, font);
    Some((canvas, size, text(traces, label)))
}

/// A few frequencies along the first curve, where they do not stand on each other.
fn marks(canvas: &mut Canvas, panel: &Panel, trace: &Trace, font: f64) {
    let line = &trace.drawn;
    let peak = trace.peak().map(|(i, _, _)| i);
    let mut wanted: Vec<usize> = peak.into_iter().collect();
    wanted.extend(MARKED_HZ.iter().filter_map(|hz| {
        let at = trace.drawn_hz.iter().position(|f| f >= hz)?;
        // Only where the curve was measured as far down as that.
        (trace.drawn_hz[at] < 1.1 * hz).then_some(at)
    }));
    let mut taken: Vec<(f64, f64)> = vec![];
    for at in wanted {
        let Some(z) = line.get(at) else { continue };
        let (x, y) = panel.at(z.re, z.im);
        let text = hz_with_unit(trace.drawn_hz[at].round());
        let clear = taken
            .iter()
            .all(|(u, v)| (x - u).abs() > width(&text, font) + 8.0 || (y - v).abs() > 1.4 * font);
        if !clear {
            continue;
        }
        taken.push((x, y));
        canvas.line(vec![(x - 5.0, y), (x + 5.0, y)], Ink::Text, 1.4);
        canvas.line(vec![(x, y - 5.0), (x, y + 5.0)], Ink::Text, 1.4);
        // Outside the circle: below the resonance to the left, above it below; the coil's branch has its room on the right.
        let hz = trace.drawn_hz[at];
        let (place, align) = if Some(at) == peak {
            ((x - 9.0, y - 0.2 * font), Align::End)
        } else if hz >= 1000.0 {
            ((x + 9.0, y), Align::Start)
        } else if peak.is_some_and(|peak| at > peak) {
            ((x + 5.0, y + 1.1 * font), Align::Start)
        } else {
            ((x - 9.0, y), Align::End)
        };
        // Where there is no room on the left it stands within the circle.
        let (place, align) = match align {
            Align::End if place.0 - width(&text, font) <= panel.left => {
                ((x + 9.0, place.1), Align::Start)
            }
            _ => (place, align),
        };
        canvas.words(&text, place, Ink::Text, align, font);
    }
}

/// The pieces of a line between its gaps.
fn runs(places: &[(f64, f64)]) -> Vec<Vec<(f64, f64)>> {
    let mut runs: Vec<Vec<(f64, f64)>> = vec![];
    for place in places {
        match runs.last_mut() {
            Some(run)
                if run.last().is_some_and(|last| {
                    (place.0 - last.0).hypot(place.1 - last.1) < WIDEST_GAP
                }) =>
            {
                run.push(*place)
            }
            _ => runs.push(vec![*place]),
        }
    }
    runs
}

fn text(traces: &[Trace], label: &str) -> PlotText {
    let mut description = String::from(
        "Imaginary against real part with equal scales; a resonance without loss elsewhere draws a circle. Lines are fitted, dots measured.",
    );
    for trace in traces {
        if let Some((at, hz, _)) = trace.peak() {
            let Some(z) = trace.drawn.get(at) else {
                continue;
            };
            let hz = trace.stated_fs_hz.unwrap_or(hz);
            description.push_str(&format!(
                " {}: rightmost near {} Ω at {} Hz.",
                trace.name,
                round_3(z.re),
                round_3(hz)
            ));
        }
    }
    PlotText {
        title: format!("Impedance of {label} in the complex plane"),
        description,
    }
}
