//! Panels, scales and ticks.

use super::canvas::{Align, Canvas, Ink};

/// A rectangle with two linear scales; a frequency goes in as its decimal logarithm.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Panel {
    pub left: f64,
    pub right: f64,
    pub top: f64,
    pub bottom: f64,
    pub x: [f64; 2],
    pub y: [f64; 2],
}

impl Panel {
    pub fn at_x(&self, x: f64) -> f64 {
        self.left + (x - self.x[0]) / (self.x[1] - self.x[0]) * (self.right - self.left)
    }

    pub fn at_y(&self, y: f64) -> f64 {
        self.bottom - (y - self.y[0]) / (self.y[1] - self.y[0]) * (self.bottom - self.top)
    }

    pub fn at(&self, x: f64, y: f64) -> (f64, f64) {
        (self.at_x(x), self.at_y(y))
    }

    /// Whether a place in pixels lies within, or as good as.
    pub fn holds(&self, (x, y): (f64, f64)) -> bool {
        const EDGE: f64 = 0.5;
        (self.left - EDGE..=self.right + EDGE).contains(&x)
            && (self.top - EDGE..=self.bottom + EDGE).contains(&y)
    }

    /// Horizontal lines with their numbers on the left.
    pub fn rule_y(
        &self,
        canvas: &mut Canvas,
        ticks: &[f64],
        font: f64,
        show: impl Fn(f64) -> String,
    ) {
        for &tick in ticks {
            let y = self.at_y(tick);
            canvas.line(vec![(self.left, y), (self.right, y)], Ink::Grid, 1.0);
            canvas.words(
                &show(tick),
                (self.left - 7.0, y),
                Ink::Faint,
                Align::End,
                font,
            );
        }
    }

    /// Vertical lines at round frequencies; with `numbers`, what they are stands below.
    pub fn rule_hz(&self, canvas: &mut Canvas, font: f64, numbers: bool) {
        let mut taken: Vec<(f64, f64)> = vec![];
        // Decades first, so that they get the room.
        for digits in [&[1.0][..], &[2.0, 5.0], &[3.0, 4.0, 6.0, 7.0, 8.0, 9.0]] {
            for power in -1..6 {
                for digit in digits {
                    let hz: f64 = digit * 10_f64.powi(power);
                    let x = self.at_x(hz.log10());
                    // A band that ends at 19.998 kHz has its 20 kHz.
                    if !(self.left - 3.0..=self.right + 3.0).contains(&x) {
                        continue;
                    }
                    let x = x.clamp(self.left, self.right);
                    let is_minor = digits.len() > 2;
                    if is_minor {
                        let foot = vec![(x, self.bottom), (x, self.bottom - 4.0)];
                        canvas.line(foot, Ink::Axis, 1.0);
                        continue;
                    }
                    canvas.line(vec![(x, self.top), (x, self.bottom)], Ink::Grid, 1.0);
                    let text = spoken_hz(hz);
                    let half = 0.5 * (width(&text, font) + 0.6 * font);
                    let clear = taken.iter().all(|(l, r)| x + half < *l || x - half > *r);
                    if numbers && clear {
                        taken.push((x - half, x + half));
                        let below = (x, self.bottom + 0.9 * font);
                        canvas.words(&text, below, Ink::Faint, Align::Middle, font);
                    }
                }
            }
        }
    }

    /// The foot of the panel.
    pub fn foot(&self, canvas: &mut Canvas) {
        let foot = vec![(self.left, self.bottom), (self.right, self.bottom)];
        canvas.line(foot, Ink::Axis, 1.2);
    }
}

/// About how wide a text is set: system fonts differ, none is much wider.
pub fn width(text: &str, font: f64) -> f64 {
    0.58 * font * text.chars().count() as f64
}

/// `20`, `500`, `1k`, `20k`.
pub fn spoken_hz(hz: f64) -> String {
    if hz >= 1000.0 {
        format!("{}k", round_3(hz / 1000.0))
    } else {
        round_3(hz)
    }
}

/// `95 Hz`, `5.02 kHz`.
pub fn hz_with_unit(hz: f64) -> String {
    if hz >= 1000.0 {
        format!("{} kHz", round_3(hz / 1000.0))
    } else {
        format!("{} Hz", round_3(hz))
    }
}

/// To three significant digits, without zeros at the end.
pub fn round_3(x: f64) -> String {
    rounded(x).replace('-', "\u{2212}")
}

/// To three significant digits, with their zeros: values that stand beside each other.
pub fn digits_3(x: f64) -> String {
    if x == 0.0 || !x.is_finite() {
        return String::from("0");
    }
    let decimals = (2 - x.abs().log10().floor() as i32).clamp(0, 9) as usize;
    format!("{x:.decimals$}")
}

fn rounded(x: f64) -> String {
    let text = digits_3(x);
    if text.contains('.') {
        text.trim_end_matches('0').trim_end_matches('.').to_owned()
    } else {
        text
    }
}

/// Round steps that cover a range, at most `most` of them; the range grows to whole steps.
pub fn ticks([low, high]: [f64; 2], most: f64) -> Vec<f64> {
    let rough = (high - low) / most;
    if !(rough > 0.0 && rough.is_finite()) {
        return vec![low, low + 1.0];
    }
    let decade = 10_f64.powf(rough.log10().floor());
    let step = [1.0, 2.0, 2.5, 5.0, 10.0]
        .into_iter()
        .map(|factor| factor * decade)
        .find(|step| *step >= rough * (1.0 - 1e-9))
        .unwrap_or(10.0 * decade);
    let first = (low / step + 1e-9).floor() as i64;
    let last = (high / step - 1e-9).ceil() as i64;
    (first..=last).map(|i| i as f64 * step).collect()
}

/// First and last of a list of ticks.
pub fn ends(ticks: &[f64]) -> [f64; 2] {
    match (ticks.first(), ticks.last()) {
        (Some(first), Some(last)) if last > first => [*first, *last],
        _ => [0.0, 1.0],
    }
}

/// Smallest and largest of what is finite.
pub fn range(values: impl Iterator<Item = f64>) -> Option<[f64; 2]> {
    values.filter(|v| v.is_finite()).fold(None, |range, v| {
        let [low, high] = range.unwrap_or([v, v]);
        Some([
            if v < low { v } else { low },
            if v > high { v } else { high },
        ])
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ticks_are_round_and_cover_the_range() {
        assert_eq!(
            ticks([0.0, 29.0], 6.0),
            [0.0, 5.0, 10.0, 15.0, 20.0, 25.0, 30.0]
        );
        assert_eq!(ticks([-4.0, 9.0], 4.0), [-5.0, 0.0, 5.0, 10.0]);
        assert_eq!(ticks([1.0, 1.0], 4.0).len(), 2);
        for range in [[0.0, 0.013], [-87.0, 61.0], [3.1, 1234.5]] {
            let [low, high] = ends(&ticks(range, 5.0));
            assert!(low <= range[0] && high >= range[1], "{range:?}");
        }
    }

    #[test]
    fn numbers_are_short() {
        for (hz, text) in [
            (20.0, "20"),
            (1000.0, "1k"),
            (2500.0, "2.5k"),
            (95.004, "95"),
        ] {
            assert_eq!(spoken_hz(hz), text);
        }
        assert_eq!(hz_with_unit(95.004), "95 Hz");
        assert_eq!(hz_with_unit(5018.0), "5.02 kHz");
        assert_eq!(round_3(0.0), "0");
        assert_eq!(digits_3(3.6), "3.60");
        assert_eq!(round_3(-12.55), "\u{2212}12.6");
    }
}
