//! JSON with lists of numbers in one line each: a sheet holds thousands of them, and a line for each is half of its size.

/// The text of `serde_json`'s pretty writer with every list of numbers in one line, and a line end at the end.
///
/// There, each element of a list has a line of its own and strings hold no line ends, so a line that begins like a number is an
/// element that is one. `null`, `true` and `false` count as numbers.
pub fn numbers_in_rows(pretty: &str) -> String {
    let mut text = String::with_capacity(pretty.len());
    let mut in_row = false;
    for line in pretty.lines() {
        let word = line.trim_start();
        if word.starts_with(|c: char| c == '-' || c.is_ascii_digit() || "ntf".contains(c)) {
            if in_row {
                text.push(' ');
            }
            text.push_str(word);
            in_row = true;
            continue;
        }
        let closes_row = in_row && word.starts_with(']');
        if !text.is_empty() && !closes_row {
            text.push('\n');
        }
        text.push_str(if closes_row { word } else { line });
        in_row = false;
    }
    text.push('\n');
    text
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests fail by panicking")]
mod tests {
    use serde_json::{Value, json};

    use super::*;

    #[test]
    fn numbers_stand_in_a_row_and_all_else_as_before() {
        let value = json!({
            "list": [1.5, -2e-300, null, 3],
            "matrix": [[1.0, 0.25], [0.25, 1.0]],
            "none": [],
            "one": [7],
            "things": [{"x": 1, "y": [2]}, "12, 13", "[", "]", "a\n1\n]"],
            "mixed": [1, "two", 3, [4, 5]],
            "unknown": null
        });
        let pretty = serde_json::to_string_pretty(&value).unwrap();
        let text = numbers_in_rows(&pretty);
        assert_eq!(serde_json::from_str::<Value>(&text).unwrap(), value);
        for line in [
            "  \"list\": [1.5, -2e-300, null, 3],",
            "    [1.0, 0.25],",
            "  \"one\": [7],",
            "      \"y\": [2]",
            "  \"unknown\": null",
        ] {
            assert!(text.lines().any(|l| l == line), "{line}\n{text}");
        }
        let without = json!({"a": ["x", "y"], "b": {"c": null}});
        let pretty = serde_json::to_string_pretty(&without).unwrap();
        assert_eq!(numbers_in_rows(&pretty), format!("{pretty}\n"));
    }
}
