//! What a person typed, made harmless.

use crate::quantity::is_invisible;

/// Longest name made of a label; simulators have taken longer ones, but people read them.
const LONGEST_NAME: usize = 40;

/// Characters with which spreadsheets begin a formula, in both widths.
const FORMULA_STARTS: [char; 8] = ['=', '+', '-', '@', '＝', '＋', '－', '＠'];

/// A text on one line of printable ASCII: for comments of formats that know nothing else. Other characters are escaped as Rust
/// does (`\n`, `\u{e4}`).
pub(super) fn one_line(text: &str) -> String {
    text.escape_default().to_string()
}

/// A name for a subcircuit that resembles a label: `driver_` and small letters, digits and underscores. The beginning keeps
/// it clear of numbers and of words that mean something.
pub(super) fn circuit_name(label: &str) -> String {
    let mut name = String::from("driver");
    let mut gap = true;
    for c in label.chars() {
        if name.len() >= LONGEST_NAME {
            break;
        }
        if c.is_ascii_alphanumeric() {
            if gap {
                name.push('_');
            }
            name.push(c.to_ascii_lowercase());
        }
        gap = !c.is_ascii_alphanumeric();
    }
    name
}

/// A text for a cell of a spreadsheet: no line breaks, and what would begin a formula has an apostrophe before it.
pub(super) fn cell(text: &str) -> String {
    let line: String = text
        .chars()
        .map(|c| {
            if c.is_control() || is_invisible(c) {
                ' '
            } else {
                c
            }
        })
        .collect();
    if line.trim_start().starts_with(FORMULA_STARTS) {
        format!("'{line}")
    } else {
        line
    }
}

/// A string literal of OpenSCAD.
pub(super) fn openscad_string(text: &str) -> String {
    let mut literal = String::from('"');
    for c in text.chars() {
        match c {
            '"' => literal.push_str("\\\""),
            '\\' => literal.push_str("\\\\"),
            '\n' => literal.push_str("\\n"),
            '\r' => literal.push_str("\\r"),
            '\t' => literal.push_str("\\t"),
            // A zero would end the string; other control characters only confuse.
            c if c.is_control() => literal.push('\u{fffd}'),
            c => literal.push(c),
        }
    }
    literal.push('"');
    literal
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_of_circuits() {
        for (label, name) in [
            ("Tidepool 3", "driver_tidepool_3"),
            ("", "driver"),
            ("\n.ends\n", "driver_ends"),
            ("5 in/Größe", "driver_5_in_gr_e"),
            ("{a} 'b' \"c\" ;d $e", "driver_a_b_c_d_e"),
        ] {
            assert_eq!(circuit_name(label), name);
        }
        assert!(circuit_name(&"x".repeat(500)).len() <= LONGEST_NAME);
    }

    #[test]
    fn cells_begin_no_formula() {
        for (text, expected) in [
            ("=cmd()", "'=cmd()"),
            (" \t+1", "'  +1"),
            ("-1", "'-1"),
            ("＝1", "'＝1"),
            ("a=b", "a=b"),
            ("two\r\nlines", "two  lines"),
            ("\n@x", "' @x"),
        ] {
            assert_eq!(cell(text), expected);
        }
    }

    #[test]
    fn strings_end_where_they_should() {
        assert_eq!(
            openscad_string("a\"; b\\\n\0ä"),
            "\"a\\\"; b\\\\\\n\u{fffd}ä\""
        );
        assert_eq!(one_line("a\n.end \"ä\""), "a\\n.end \\\"\\u{e4}\\\"");
    }
}
