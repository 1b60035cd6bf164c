//! Magnitude, and below it on the same frequency axis the phase.

use super::axis::{Panel, digits_3, ends, hz_with_unit, range, round_3, ticks};
use super::canvas::{Align, Canvas, Ink};
use super::trace::{Trace, thinned};
use super::{PlotText, Size};

/// Fitted lines keep points that are this far apart, pixels.
const LINE_STEP: f64 = 1.2;
/// Measured dots are this far apart, pixels, so that the line shows between them.
const DOT_STEP: f64 = 15.0;
const DOT_RADIUS: f64 = 2.3;
/// Strips that say values under the pointer, at most.
const N_STRIPS: usize = 90;

pub fn draw(traces: &[Trace], label: &str, narrow: bool) -> Option<(Canvas, Size, PlotText)> {
    let size = if narrow {
        Size::narrow(480.0)
    } else {
        Size::wide(560.0)
    };
    let x = range(
        traces
            .iter()
            .flat_map(|t| t.frequency_hz.iter().map(|f| f.log10())),
    )?;
    if x[1] <= x[0] {
        return None;
    }
    let highest = range(traces.iter().flat_map(|t| {
        let line = t.line().iter().map(|z| z.norm()).enumerate();
        let upper = line.map(|(i, ohm)| {
            let band = t.band.as_ref().and_then(|band| band.relative.get(i));
            ohm * (1.0 + band.copied().unwrap_or(0.0))
        });
        t.measured.iter().map(|z| z.norm()).chain(upper)
    }))?[1];
    let row = 1.35 * size.font;
    let left = 4.0 * size.font;
    let right = size.width - 1.2 * size.font;
    let names_height = row * (traces.len() as f64 + 0.6);
    let gap = 3.5 * size.font;
    let foot = 3.0 * size.font;
    let usable = size.height - 1.6 * size.font - gap - foot;
    let split = 1.6 * size.font + 0.62 * usable;
    let magnitude_ticks = ticks([0.0, highest], 5.0);
    let mut magnitude = Panel {
        left,
        right,
        top: 1.6 * size.font,
        bottom: split,
        x,
        y: ends(&magnitude_ticks),
    };
    // Head room for the names of the curves.
    let room = magnitude.bottom - magnitude.top;
    magnitude.y[1] *= room / (room - names_height);
    let degrees = |trace: &Trace| {
        trace
            .measured
            .iter()
            .map(|z| z.arg().to_degrees())
            .collect::<Vec<_>>()
    };
    let widest = range(traces.iter().flat_map(degrees))?;
    const PHASE_STEP: f64 = 30.0;
    let low = (widest[0] / PHASE_STEP).floor() as i32;
    let high = (widest[1] / PHASE_STEP).ceil() as i32;
    let phase_ticks: Vec<f64> = (low..=high).map(|i| f64::from(i) * PHASE_STEP).collect();
    let phase = Panel {
        left,
        right,
        top: split + gap,
        bottom: size.height - foot,
        x,
        y: ends(&phase_ticks),
    };
    let mut canvas = Canvas::default();
    for (panel, numbers) in [(&magnitude, true), (&phase, true)] {
        panel.rule_hz(&mut canvas, size.font, numbers);
    }
    magnitude.rule_y(&mut canvas, &magnitude_ticks, size.font, round_3);
    phase.rule_y(&mut canvas, &phase_ticks, size.font, |tick| {
        format!("{}°", round_3(tick))
    });
    let head = 0.7 * size.font;
    canvas.words(
        "magnitude, Ω",
        (2.0, head),
        Ink::Text,
        Align::Start,
        size.font,
    );
    canvas.words(
        "phase",
        (2.0, phase.top - 1.2 * size.font),
        Ink::Text,
        Align::Start,
        size.font,
    );
    let below = (right, size.height - 0.75 * size.font);
    canvas.words("frequency, Hz", below, Ink::Faint, Align::End, size.font);
    for (i, trace) in traces.iter().enumerate() {
        if let Some(band) = &trace.band {
            let ohms = trace.line().iter().map(|z| z.norm()).zip(&band.relative);
            let edges = ohms.map(|(r, b)| (r * (1.0 - b), r * (1.0 + b)));
            outline(&mut canvas, &magnitude, trace, edges.collect(), i);
            let radians = trace.line().iter().map(|z| z.arg()).zip(&band.phase_rad);
            let edges = radians.map(|(p, b)| ((p - b).to_degrees(), (p + b).to_degrees()));
            outline(&mut canvas, &phase, trace, edges.collect(), i);
        }
    }
    for (i, trace) in traces.iter().enumerate() {
        curve(&mut canvas, &magnitude, trace, i, traces.len(), |z| {
            z.norm()
        });
        curve(&mut canvas, &phase, trace, i, traces.len(), |z| {
            z.arg().to_degrees()
        });
    }
    magnitude.foot(&mut canvas);
    phase.foot(&mut canvas);
    names(&mut canvas, &magnitude, traces, row, size);
    strips(&mut canvas, &magnitude, &phase, traces);
    Some((canvas, size, text(traces, label)))
}

/// The band as an area.
fn outline(canvas: &mut Canvas, panel: &Panel, trace: &Trace, edges: Vec<(f64, f64)>, i: usize) {
    let xs = trace.frequency_hz.iter().map(|f| f.log10());
    let lower: Vec<_> = xs
        .clone()
        .zip(&edges)
        .map(|(x, e)| panel.at(x, e.0))
        .collect();
    let upper: Vec<_> = xs.zip(&edges).map(|(x, e)| panel.at(x, e.1)).collect();
    let mut area = thinned(&lower, LINE_STEP);
    area.extend(thinned(&upper, LINE_STEP).into_iter().rev());
    canvas.area(area, Ink::Band(i));
}

/// The line, and dots of what was measured; dots of several traces take turns.
fn curve(
    canvas: &mut Canvas,
    panel: &Panel,
    trace: &Trace,
    i: usize,
    n_traces: usize,
    read: impl Fn(&num_complex::Complex64) -> f64,
) {
    let places = |hz: &[f64], values: &[num_complex::Complex64]| -> Vec<(f64, f64)> {
        let points = hz.iter().zip(values);
        points
            .map(|(f, z)| panel.at(f.log10(), read(z)))
            .filter(|(x, y)| x.is_finite() && y.is_finite())
            .collect()
    };
    canvas.line(
        thinned(&places(&trace.drawn_hz, &trace.drawn), LINE_STEP),
        Ink::Trace(i),
        1.6,
    );
    if trace.fitted.is_none() {
        return;
    }
    // Many traces have fewer dots each, or nothing of their dashes would be seen.
    let crowded = n_traces as f64 / 3.0;
    let step = DOT_STEP * if crowded > 1.0 { crowded } else { 1.0 };
    let shift = step * i as f64 / n_traces as f64;
    let mut next = panel.left + shift;
    let mut last: Option<(f64, f64)> = None;
    for place in places(&trace.frequency_hz, &trace.measured) {
        // Along a steep flank the dots follow the height.
        let climbed = last.is_some_and(|last| (place.1 - last.1).abs() >= step);
        if place.0 >= next || climbed {
            canvas.dot(place, i, DOT_RADIUS);
            last = Some(place);
            next = place.0 + step;
        }
    }
}

/// The name of each curve, tied to its peak: the leftmost peak's stands highest, so that no line crosses a name.
fn names(canvas: &mut Canvas, panel: &Panel, traces: &[Trace], row: f64, size: Size) {
    let mut peaks: Vec<(usize, (f64, f64))> = traces
        .iter()
        .enumerate()
        .filter_map(|(i, trace)| {
            let (_, hz, ohm) = trace.peak()?;
            Some((i, panel.at(hz.log10(), ohm)))
        })
        .collect();
    peaks.sort_by(|a, b| a.1.0.total_cmp(&b.1.0));
    for (rank, (i, (x, y))) in peaks.into_iter().enumerate() {
        let text_y = panel.top + (rank as f64 + 0.5) * row;
        let name = &traces[i].name;
        let stem = vec![(x, y - 4.0), (x, text_y)];
        canvas.line(stem, Ink::Faint, 0.8);
        let (left, right) = (x - 19.0, panel.right - (x + 19.0));
        let (arm, at, align, room) = if size.reserve(name) < right || right > left {
            (x + 5.0, x + 19.0, Align::Start, right)
        } else {
            (x - 5.0, x - 19.0, Align::End, left)
        };
        let name = size.fitted(name, room);
        canvas.line(vec![(x, text_y), (arm, text_y)], Ink::Faint, 0.8);
        canvas.dot((0.5 * (arm + at), text_y), i, DOT_RADIUS);
        canvas.words(&name, (at, text_y), Ink::Trace(i), align, size.font);
    }
}

fn strips(canvas: &mut Canvas, magnitude: &Panel, phase: &Panel, traces: &[Trace]) {
    let Some(first) = traces.first() else { return };
    let step = (magnitude.right - magnitude.left) / N_STRIPS as f64;
    for i in 0..N_STRIPS {
        let left = magnitude.left + i as f64 * step;
        let middle = left + 0.5 * step;
        let share = (middle - magnitude.left) / (magnitude.right - magnitude.left);
        let hz = 10_f64.powf(magnitude.x[0] + share * (magnitude.x[1] - magnitude.x[0]));
        let near = |trace: &Trace| nearest(trace, hz);
        let Some(at) = near(first) else { continue };
        let mut said = hz_with_unit(first.frequency_hz[at]);
        for trace in traces {
            let Some(at) = near(trace) else { continue };
            let shown = |z: &num_complex::Complex64| {
                format!("{} Ω, {:.0}°", digits_3(z.norm()), z.arg().to_degrees())
            };
            said.push_str(&format!("\n{}: {}", trace.name, shown(&trace.measured[at])));
            if let Some(fitted) = &trace.fitted {
                said.push_str(&format!("; fitted {}", shown(&fitted[at])));
            }
        }
        canvas.strip(left, left + step, magnitude.top, phase.bottom, said);
    }
}

/// The point of a trace that is nearest to a frequency, by ratio.
fn nearest(trace: &Trace, hz: f64) -> Option<usize> {
    let distance = |f: f64| (f / hz).ln().abs();
    let all = trace.frequency_hz.iter().enumerate();
    let nearest = all.min_by(|a, b| distance(*a.1).total_cmp(&distance(*b.1)));
    nearest.map(|(i, _)| i)
}

fn text(traces: &[Trace], label: &str) -> PlotText {
    let mut description = String::from(
        "Magnitude of the impedance above, its phase below, both against frequency on a logarithmic axis. Lines are fitted, dots measured.",
    );
    for trace in traces {
        if let Some((_, hz, ohm)) = trace.peak() {
            let hz = trace.stated_fs_hz.unwrap_or(hz);
            description.push_str(&format!(
                " {}: the peak of {} Ω stands at {} Hz.",
                trace.name,
                round_3(ohm),
                round_3(hz)
            ));
        }
    }
    PlotText {
        title: format!("Impedance of {label}"),
        description,
    }
}
