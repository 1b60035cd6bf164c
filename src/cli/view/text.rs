//! Widths, line breaks and colours.

use ratatui::text::Span;

use crate::cli::console::Look;

/// What a piece of text means; the colour only repeats what the words say.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Tint {
    Strong,
    Faint,
    Good,
    Caution,
    Redo,
    Measured,
    Fitted,
}

impl Tint {
    /// The parameters of the terminal's "select graphic rendition" sequence (ECMA-48).
    fn code(self) -> &'static str {
        match self {
            Self::Strong => "1",
            Self::Faint => "2",
            Self::Good => "1;32",
            Self::Caution => "1;33",
            Self::Redo => "1;31",
            Self::Measured => "36",
            Self::Fitted => "33",
        }
    }
}

/// Text in its colour, where colours are wanted.
pub fn tinted(text: &str, tint: Tint, look: Look) -> String {
    if look.colour && !text.trim().is_empty() {
        format!("\u{1b}[{}m{text}\u{1b}[0m", tint.code())
    } else {
        text.to_owned()
    }
}

/// Columns that a text takes on a terminal.
pub fn width(text: &str) -> usize {
    Span::raw(text).width()
}

/// Breaks text between words so that no line is wider than `columns`, unless a single word is.
pub fn wrapped(text: &str, columns: usize) -> Vec<String> {
    let mut lines = vec![String::new()];
    for word in text.split_whitespace() {
        let Some(line) = lines.last_mut() else { break };
        if line.is_empty() {
            line.push_str(word);
        } else if width(line) + 1 + width(word) <= columns {
            line.push(' ');
            line.push_str(word);
        } else {
            lines.push(word.to_owned());
        }
    }
    lines
}

/// Control characters in somebody else's text must not reach the terminal.
pub fn harmless(text: &str) -> String {
    text.chars()
        .map(|c| if c.is_control() { '\u{fffd}' } else { c })
        .collect()
}

/// How a column's entries line up.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Side {
    Left,
    Right,
}

/// Lines up columns, two spaces apart; every row has as many cells as there are sides.
pub fn columns(rows: &[Vec<String>], sides: &[Side]) -> Vec<String> {
    let widths: Vec<usize> = (0..sides.len())
        .map(|i| {
            rows.iter()
                .filter_map(|row| row.get(i))
                .map(|cell| width(cell))
                .max()
                .unwrap_or_default()
        })
        .collect();
    rows.iter()
        .map(|row| {
            let mut line = String::from(" ");
            for ((cell, side), full) in row.iter().zip(sides).zip(&widths) {
                let space = " ".repeat(full - width(cell));
                match side {
                    Side::Left => line.push_str(&format!(" {cell}{space} ")),
                    Side::Right => line.push_str(&format!(" {space}{cell} ")),
                }
            }
            line.trim_end().to_owned()
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_break_between_words() {
        assert_eq!(wrapped("aa bb cc", 5), ["aa bb", "cc"]);
        assert_eq!(wrapped("", 5), [""]);
        assert_eq!(wrapped("überlang x", 3), ["überlang", "x"]);
    }

    #[test]
    fn columns_line_up_by_what_is_seen() {
        let rows = vec![
            vec!["fs".into(), "95.0".into(), "Ω".into()],
            vec!["minimum".into(), "3".into(), "kg/s".into()],
        ];
        let lines = columns(&rows, &[Side::Left, Side::Right, Side::Left]);
        assert_eq!(lines, ["  fs       95.0  Ω", "  minimum     3  kg/s"]);
    }

    #[test]
    fn colours_only_where_they_are_wanted() {
        let plain = Look {
            width: 80,
            colour: false,
        };
        assert_eq!(tinted("good", Tint::Good, plain), "good");
        let coloured = Look {
            colour: true,
            ..plain
        };
        assert!(tinted("good", Tint::Good, coloured).contains('\u{1b}'));
    }
}
