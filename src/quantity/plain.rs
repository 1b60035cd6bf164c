//! Texts that a person typed, made harmless for where people read.

/// Whether a character is there without being seen, or changes how what follows is read: marks of direction, joiners, the byte order mark,
/// tags (Unicode's general category Cf, those that occur in text).
pub fn is_invisible(c: char) -> bool {
    matches!(
        c,
        '\u{ad}'
            | '\u{61c}'
            | '\u{180e}'
            | '\u{200b}'..='\u{200f}'
            | '\u{2028}'..='\u{202e}'
            | '\u{2060}'..='\u{206f}'
            | '\u{feff}'
            | '\u{fff9}'..='\u{fffb}'
            | '\u{e0000}'..='\u{e007f}'
    )
}

/// One line without control characters: what may stand on a terminal or in a cell. Each of them becomes a blank.
pub fn plain_line(text: &str) -> String {
    let blank = |c: char| {
        if c.is_control() || is_invisible(c) {
            ' '
        } else {
            c
        }
    };
    let line: String = text.chars().map(blank).collect();
    line.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// `a, b and c`.
pub fn listed(parts: &[String]) -> String {
    match parts {
        [] => String::new(),
        [only] => only.clone(),
        [first @ .., last] => format!("{} and {last}", first.join(", ")),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_list_reads_like_a_sentence() {
        let parts: Vec<String> = ["a", "b", "c"].map(String::from).into();
        assert_eq!(listed(&parts), "a, b and c");
        assert_eq!(listed(&parts[..1]), "a");
        assert_eq!(listed(&[]), "");
    }

    #[test]
    fn nothing_steers_a_terminal() {
        assert_eq!(
            plain_line("\u{1b}[31mred\u{1b}]0;x\u{7}\r\nX"),
            "[31mred ]0;x X"
        );
        assert_eq!(plain_line("a\u{202e}b\u{feff}"), "a b");
        assert_eq!(plain_line("  größe 3\t\u{2009}“x” "), "größe 3 “x”");
    }
}
