//! Pieces of HTML. Everything that comes from a sheet passes [`escaped`].

/// Text for an element or an attribute in quotes, HTML and SVG alike.
pub fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in clean(text).chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            c => out.push(c),
        }
    }
    out
}

/// Without what no document may hold: control characters, marks that turn the direction of what follows, and no characters.
pub fn clean(text: &str) -> String {
    text.chars()
        .map(|c| match c {
            '\n' => c,
            c if c.is_control() => '\u{fffd}',
            '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}' => '\u{fffd}',
            '\u{fffe}' | '\u{ffff}' => '\u{fffd}',
            c => c,
        })
        .collect()
}

/// Headings that keep their order: the sections of one of several sheets stand one level deeper.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Level(pub u8);

/// A section with its heading; `id` has to be unique in the page.
pub fn section(id: &str, title: &str, level: Level, body: &str) -> String {
    let Level(h) = level;
    // The parts of one of several sheets have the same names as those of the next: they are no landmarks.
    let landmark = match h {
        2 => format!(" aria-labelledby=\"{id}\""),
        _ => String::new(),
    };
    format!(
        "<section class=\"part\"{landmark}>\n<h{h} id=\"{id}\">{}</h{h}>\n{body}</section>\n",
        escaped(title)
    )
}

/// Where several sheets are printed, what is read on a screen or in the report of that sheet alone.
pub fn off_paper(parts: &str, Level(h): Level) -> String {
    if h == 2 || parts.is_empty() {
        return parts.to_owned();
    }
    format!("<div class=\"off-paper\">\n{parts}</div>\n")
}

/// A paragraph of plain text.
pub fn paragraph(text: &str) -> String {
    format!("<p>{}</p>\n", escaped(text))
}

/// Quiet text below a table or a plot.
pub fn remark(text: &str) -> String {
    format!("<p class=\"remark\">{}</p>\n", escaped(text))
}

/// A cell of a table.
pub enum Cell {
    /// Plain text.
    Text(String),
    /// A number or what stands in its place, set to the right.
    Number(String),
    /// A doubt that nobody knows: short to look at, a word to listen to.
    Unknown,
    /// HTML that was escaped before.
    Markup(String),
}

/// What a table says of itself.
pub struct Table<'a> {
    /// Unique in the page.
    pub id: &'a str,
    pub caption: &'a str,
    /// Column heads; those of numbers are set to the right.
    pub head: &'a [(&'a str, bool)],
}

impl Table<'_> {
    /// The table, in a group that can be scrolled by keyboard where it is wider than the page. The first cell of a row heads it.
    pub fn rows(&self, rows: &[Vec<Cell>]) -> String {
        let id = self.id;
        let mut out = format!(
            "<div class=\"scroll\" role=\"group\" aria-labelledby=\"{id}\" tabindex=\"0\">\n<table>\n<caption id=\"{id}\"><span>{}</span></caption>\n<thead><tr>",
            escaped(self.caption)
        );
        for (title, is_number) in self.head {
            let class = if *is_number { " class=\"n\"" } else { "" };
            // An empty head names nothing, so it must not be one.
            match title.is_empty() {
                true => out.push_str("<td></td>"),
                false => out.push_str(&format!("<th scope=\"col\"{class}>{}</th>", escaped(title))),
            }
        }
        out.push_str("</tr></thead>\n<tbody>\n");
        for row in rows {
            out.push_str("<tr>");
            for (i, cell) in row.iter().enumerate() {
                let (tag, scope) = if i == 0 {
                    ("th", " scope=\"row\"")
                } else {
                    ("td", "")
                };
                let (class, text) = match cell {
                    Cell::Text(text) => ("", escaped(text)),
                    Cell::Number(text) => (" class=\"n\"", escaped(text)),
                    Cell::Unknown => (
                        " class=\"n\"",
                        String::from(
                            "<span aria-hidden=\"true\">?</span><span class=\"spoken\">unknown</span>",
                        ),
                    ),
                    Cell::Markup(html) => ("", html.clone()),
                };
                out.push_str(&format!("<{tag}{scope}{class}>{text}</{tag}>"));
            }
            out.push_str("</tr>\n");
        }
        out.push_str("</tbody>\n</table>\n</div>\n");
        out
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_typed_becomes_markup() {
        assert_eq!(
            escaped("<script>'\"&\u{202e}\0"),
            "&lt;script&gt;&#39;&quot;&amp;\u{fffd}\u{fffd}"
        );
        assert_eq!(escaped("a\nb"), "a\nb");
    }
}
