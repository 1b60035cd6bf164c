//! Labels that a person typed, or that somebody meant to do harm with.

use farcone::export::{Format, export};
use farcone::sheet::Sheet;

use super::literal::{self, Given};

pub const HOSTILE: &[&str] = &[
    "",
    "two\nlines\r\nand a third",
    "a\n.ends\n.control\nshell touch /tmp/owned\n.endc\n",
    "a\n+ continued\nRevil plus minus 1",
    "\"quoted\" and 'quoted'",
    "<script>alert(1)</script>",
    "=cmd()",
    "+1",
    "-1",
    "@SUM(A1)",
    "\t=1+1",
    "a,b;c",
    "\\\"; cube(1); //",
    "*/ cube(1); /*",
    "$var {expr} `cmd` %x",
    "Größe 5½ 低音",
    "a\u{0}b\u{1b}[31m",
    "\u{2028}line\u{85}separators",
    "*ng_script",
];

fn sheet(label: &str) -> Sheet {
    Given {
        label: label.to_owned(),
        ..literal::power_law()
    }
    .sheet()
}

#[test]
fn a_netlist_has_the_same_lines_whatever_the_label() {
    let lines = |label: &str| -> Vec<String> {
        let text = export(&sheet(label), Format::Spice).unwrap();
        assert!(text.is_ascii(), "{label:?}");
        assert!(
            text.bytes()
                .all(|byte| byte == b'\n' || (b' '..=b'~').contains(&byte))
        );
        text.lines()
            .filter(|line| !line.starts_with('*'))
            .map(str::to_owned)
            .collect()
    };
    let plain = lines("x");
    for label in HOSTILE {
        let hostile = lines(label);
        assert_eq!(hostile.len(), plain.len(), "{label:?}");
        for (a, b) in hostile.iter().zip(&plain) {
            if b.starts_with(".subckt") || b.starts_with(".ends") {
                let name = a.split(' ').nth(1).unwrap();
                assert!(name.starts_with("driver"), "{a}");
                assert!(
                    name.bytes().all(|c| c.is_ascii_alphanumeric() || c == b'_'),
                    "{a}"
                );
            } else {
                assert_eq!(a, b, "{label:?}");
            }
        }
    }
}

#[test]
fn a_touchstone_file_has_the_same_data_whatever_the_label() {
    let data = |label: &str| {
        let text = export(&sheet(label), Format::Touchstone).unwrap();
        assert!(text.is_ascii(), "{label:?}");
        let lines = text.lines().filter(|line| !line.starts_with('!'));
        lines.map(str::to_owned).collect::<Vec<_>>()
    };
    let plain = data("x");
    for label in HOSTILE {
        assert_eq!(data(label), plain, "{label:?}");
    }
}

#[test]
fn a_spreadsheet_begins_no_formula() {
    for label in HOSTILE {
        let text = export(&sheet(label), Format::CsvParameters).unwrap();
        let mut reader = csv::Reader::from_reader(text.as_bytes());
        for record in reader.records() {
            let record = record.unwrap();
            assert_eq!(record.len(), 11, "{label:?}");
            let cell = record[0].trim_start();
            assert!(!cell.starts_with(['=', '+', '-', '@']), "{label:?}: {cell}");
            assert!(!cell.contains(char::is_control), "{label:?}");
        }
    }
}

/// Code outside strings and comments is the same whatever the label.
#[test]
fn a_model_has_the_same_code_whatever_the_label() {
    let code = |label: &str| {
        let text = export(&sheet(label), Format::Openscad).unwrap();
        let (mut out, mut in_string, mut chars) = (String::new(), false, text.chars().peekable());
        while let Some(c) = chars.next() {
            match (in_string, c) {
                (true, '\\') => {
                    chars.next();
                }
                (_, '"') => in_string = !in_string,
                (true, _) => {}
                (false, '/') if chars.peek() == Some(&'/') => {
                    for c in chars.by_ref() {
                        if c == '\n' {
                            break;
                        }
                    }
                }
                (false, c) => out.push(c),
            }
        }
        assert!(!in_string, "{label:?}");
        out
    };
    let plain = code("x");
    assert!(plain.contains("driver_label = ;"), "{plain}");
    for label in HOSTILE {
        assert_eq!(code(label), plain, "{label:?}");
    }
}

#[test]
fn json_keeps_the_label() {
    for label in HOSTILE {
        let text = export(&sheet(label), Format::Json).unwrap();
        assert_eq!(Sheet::from_json(&text).unwrap().label, *label);
    }
}
