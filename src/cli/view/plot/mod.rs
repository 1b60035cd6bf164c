//! The curves of a sheet for the terminal: magnitude and phase on one frequency axis, what the circuit leaves over, and the
//! impedance in its plane.

mod frame;

use farcone::quantity::plain_line;
use farcone::sheet::{CurveEntry, Sheet};

use super::text::{Tint, tinted};
use super::title;
use crate::cli::console::Look;
use frame::{Along, Frame, GUTTER, Mark, Trace, ticks};

/// Rows of the drawing areas.
const MAGNITUDE_ROWS: u16 = 15;
const PHASE_ROWS: u16 = 9;
const RESIDUAL_ROWS: u16 = 7;
const PLANE_ROWS: u16 = 17;
/// A character is about twice as high as wide: the plane's two scales are alike then.
const CELL_ASPECT: f64 = 2.0;
/// Marks of the conditions, in the sheet's order; told apart without colours.
const MARKS: [char; 5] = ['•', '+', 'x', 'o', '#'];

/// All panels; empty if there is no curve.
pub fn plot(sheet: &Sheet, look: Look) -> String {
    let curves: Vec<Curve> = sheet
        .curves
        .iter()
        .zip(MARKS)
        .filter_map(|(entry, mark)| Curve::new(entry, mark))
        .collect();
    let (Some(first), columns) = (curves.first(), look.width.saturating_sub(GUTTER + 3)) else {
        return String::new();
    };
    let x = [
        first.measured[0].log_hz,
        first.measured[first.measured.len() - 1].log_hz,
    ];
    if x[1] <= x[0] {
        return String::new();
    }
    let panel = |name: &str, rows, y, value: &dyn Fn(&Point) -> f64| {
        let frame = Frame {
            columns,
            rows,
            along: Along::LogHertz,
            x,
            y,
        };
        let traces = traces(&curves, &|point| (point.log_hz, value(point)));
        format!("{}{}", title(name, look), frame.text(&traces, look))
    };
    let all = || {
        curves
            .iter()
            .flat_map(|c| c.measured.iter().chain(&c.fitted))
    };
    let highest = all().map(|p| p.re.hypot(p.im)).fold(0.0, larger);
    let mut out = panel(
        "Impedance: Ω against Hz",
        MAGNITUDE_ROWS,
        ticks(0.0, highest, 5.0),
        &|p| p.re.hypot(p.im),
    );
    let degrees = |p: &Point| p.im.atan2(p.re).to_degrees();
    let (low, high) = all()
        .map(degrees)
        .fold((0.0, 0.0), |(low, high): (f64, f64), v| {
            (-larger(-low, -v), larger(high, v))
        });
    out.push_str(&panel(
        "Phase: degrees against Hz",
        PHASE_ROWS,
        ticks(low, high, 4.0),
        &degrees,
    ));
    out.push_str(&legend(&curves, look));
    out.push_str(&residual(first, columns, x, look));
    out.push_str(&plane(&curves, columns, look));
    out
}

/// A curve at one frequency.
#[derive(Clone, Copy)]
struct Point {
    log_hz: f64,
    re: f64,
    im: f64,
}

/// One condition; never without measured points.
struct Curve {
    name: String,
    mark: char,
    measured: Vec<Point>,
    fitted: Vec<Point>,
}

impl Curve {
    fn new(entry: &CurveEntry, mark: char) -> Option<Self> {
        let points = |re: &[f64], im: &[f64]| -> Vec<Point> {
            let parts = re.iter().zip(im).zip(&entry.frequency_hz);
            parts
                .map(|((re, im), hz)| Point {
                    log_hz: hz.log10(),
                    re: *re,
                    im: *im,
                })
                .filter(|p| p.log_hz.is_finite() && p.re.is_finite() && p.im.is_finite())
                .collect()
        };
        let measured = points(&entry.measured_re_ohm, &entry.measured_im_ohm);
        let fitted = match (&entry.modelled_re_ohm, &entry.modelled_im_ohm) {
            (Some(re), Some(im)) => points(re, im),
            _ => vec![],
        };
        (!measured.is_empty()).then_some(Self {
            name: plain_line(&entry.name),
            mark,
            measured,
            fitted,
        })
    }
}

fn larger(a: f64, b: f64) -> f64 {
    if b > a { b } else { a }
}

/// Lines first, so that the marks stand on them; the free-air curve last, on top.
fn traces(curves: &[Curve], at: &dyn Fn(&Point) -> (f64, f64)) -> Vec<Trace> {
    let line = |curve: &Curve| Trace {
        mark: Mark::Line,
        points: curve.fitted.iter().map(at).collect(),
    };
    let dots = |curve: &Curve| Trace {
        mark: Mark::Dots(curve.mark),
        points: curve.measured.iter().map(at).collect(),
    };
    let lines = curves.iter().map(line);
    lines.chain(curves.iter().rev().map(dots)).collect()
}

fn legend(curves: &[Curve], look: Look) -> String {
    let mut parts: Vec<String> = curves
        .iter()
        .map(|curve| {
            let mark = tinted(&curve.mark.to_string(), Tint::Measured, look);
            format!("{mark} {}", curve.name)
        })
        .collect();
    if curves.iter().any(|curve| !curve.fitted.is_empty()) {
        parts.push(format!("{} fitted", tinted("⠒⠒", Tint::Fitted, look)));
    }
    format!("{:GUTTER$}{}\n", "", parts.join("   "))
}

/// Measured over fitted, less one: what the best circuit does not explain.
fn residual(curve: &Curve, columns: usize, x: [f64; 2], look: Look) -> String {
    if curve.fitted.len() != curve.measured.len() {
        return String::new();
    }
    let percent = |(m, f): (&Point, &Point)| {
        let part = 100.0 * (m.re.hypot(m.im) / f.re.hypot(f.im) - 1.0);
        (m.log_hz, part)
    };
    let points: Vec<(f64, f64)> = curve
        .measured
        .iter()
        .zip(&curve.fitted)
        .map(percent)
        .collect();
    // A few stray points must not flatten the rest.
    let mut sizes: Vec<f64> = points.iter().map(|(_, y)| y.abs()).collect();
    sizes.sort_by(f64::total_cmp);
    let Some(size) = sizes
        .get(sizes.len() * 98 / 100)
        .filter(|size| size.is_finite())
    else {
        return String::new();
    };
    let half = larger(*size, 1e-6);
    let frame = Frame {
        columns,
        rows: RESIDUAL_ROWS,
        along: Along::LogHertz,
        x,
        y: ticks(-half, half, 2.0),
    };
    let trace = Trace {
        mark: Mark::Dots(curve.mark),
        points,
    };
    format!(
        "{}{}",
        title(
            &format!("Left over of {}: % of the impedance against Hz", curve.name),
            look
        ),
        frame.text(&[trace], look)
    )
}

/// Reactance against resistance, both in ohm and to one scale.
fn plane(curves: &[Curve], columns: usize, look: Look) -> String {
    let all = || {
        curves
            .iter()
            .flat_map(|c| c.measured.iter().chain(&c.fitted))
    };
    let right = all().map(|p| p.re).fold(0.0, larger);
    let top = all().map(|p| p.im).fold(0.0, larger);
    let bottom = -all().map(|p| -p.im).fold(0.0, larger);
    let y = ticks(bottom, top, 6.0);
    let (Some(low), Some(high)) = (y.first(), y.last()) else {
        return String::new();
    };
    // As many columns as make both scales alike, with room for the widest resistance.
    let ohm_per_row = (high - low) / f64::from(PLANE_ROWS - 1);
    let needed = (right / ohm_per_row * CELL_ASPECT).ceil() as usize + 2;
    let width = needed.clamp(10, columns);
    let ohm_per_column = ohm_per_row / CELL_ASPECT;
    let spanned = ohm_per_column * (width as f64 - 1.0);
    let frame = Frame {
        columns: width,
        rows: PLANE_ROWS,
        along: Along::Ohm,
        x: [0.0, larger(spanned, right)],
        y,
    };
    let traces = traces(curves, &|point| (point.re, point.im));
    format!(
        "{}{}",
        title("Impedance plane: reactance against resistance, Ω", look),
        frame.text(&traces, look)
    )
}
