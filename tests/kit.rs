//! The kit's page as a file: whole, within its limits, and safe with whatever a label holds.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::disallowed_methods,
    reason = "a test fails by panicking, and reads the page's parts"
)]

use std::collections::BTreeSet;
use std::fs;
use std::path::Path;

use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use farcone::coins::DriverClass;
use farcone::kit::{Kit, KitBox, KitDriver, KitError, LONGEST_PAGE_BYTES, Method, page_parts};
use farcone::quantity::Stated;
use sha2::{Digest, Sha256};

fn kit() -> Kit {
    Kit {
        drivers: vec![KitDriver {
            label: "left unit".to_owned(),
            class: DriverClass::Small,
            nominal_ohm: Some(8.0),
        }],
        method: Method::Both,
        sense_ohm: Stated::within(47.0, 0.47),
        note: Some("The paper bag has the resistors.".to_owned()),
        test_box: Some(KitBox {
            volume_m3: Stated::within(0.0015, 0.000_014),
        }),
        made: "2026-03-01 10:00:00 UTC".to_owned(),
    }
}

/// What stands between two marks.
fn between<'a>(page: &'a str, before: &str, behind: &str) -> &'a str {
    let (_, rest) = page.split_once(before).expect(before);
    rest.split_once(behind).expect(behind).0
}

#[test]
fn the_page_is_one_file_within_its_limit() {
    let page = kit().page().unwrap();
    assert!(page.len() <= LONGEST_PAGE_BYTES, "{}", page.len());
    assert!(!page.contains("{{"), "a placeholder was left");
    for word in ["http://", "https://", "src=\"//", "@import", "url("] {
        // The one address that every SVG element made by a script needs is a name, and is never fetched.
        let page = page.replace("http://www.w3.org/2000/svg", "");
        assert!(!page.contains(word), "the page mentions {word}");
    }
}

#[test]
fn the_policy_allows_the_pages_own_script_alone() {
    let page = kit().page().unwrap();
    let script = between(&page, "<script>", "</script>");
    let hash = STANDARD.encode(Sha256::digest(script.as_bytes()));
    let policy = between(
        &page,
        "http-equiv=\"Content-Security-Policy\" content=\"",
        "\"",
    );
    assert!(policy.contains(&format!("'sha256-{hash}'")), "{policy}");
    assert!(policy.starts_with("default-src 'none';"));
    for open in ["unsafe-eval'", "'self'", "*", "http"] {
        assert!(
            !policy.replace("'wasm-unsafe-eval'", "").contains(open),
            "{policy}"
        );
    }
}

#[test]
fn the_core_is_what_was_compiled() {
    let page = kit().page().unwrap();
    let core = between(&page, "id=\"core\">", "</script>");
    let gz = STANDARD.decode(core.trim()).unwrap();
    let committed = Path::new(env!("CARGO_MANIFEST_DIR")).join("src/kit/core/farcone.wasm.gz");
    assert_eq!(gz, fs::read(committed).unwrap());
}

#[test]
fn the_settings_arrive_whatever_they_hold() {
    let mut kit = kit();
    kit.drivers[0].label = "</script><b>&\"'".to_owned();
    kit.note = Some("<!-- <script>".to_owned());
    let page = kit.page().unwrap();
    let json = between(&page, "id=\"kit\">", "</script>");
    assert!(!json.contains('<'));
    let read: serde_json::Value = serde_json::from_str(json).unwrap();
    assert_eq!(read, kit.to_json());
    assert_eq!(read["drivers"][0]["label"], "</script><b>&\"'");
    assert_eq!(read["test_box"]["volume"]["half_width"], 0.000_014);
}

#[test]
fn kits_are_told_apart() {
    let first = kit();
    assert_eq!(first.id(), kit().id());
    let ids: BTreeSet<String> = [
        first.clone(),
        Kit {
            made: "2026-03-01 10:00:01 UTC".to_owned(),
            ..first.clone()
        },
        Kit {
            note: None,
            ..first.clone()
        },
        Kit {
            sense_ohm: Stated::within(47.0, 0.5),
            ..first.clone()
        },
    ]
    .iter()
    .map(Kit::id)
    .collect();
    assert_eq!(ids.len(), 4);
}

#[test]
fn what_no_helper_could_follow_is_refused() {
    let labelled = |labels: &[&str]| Kit {
        drivers: labels
            .iter()
            .map(|label| KitDriver {
                label: (*label).to_owned(),
                ..kit().drivers[0].clone()
            })
            .collect(),
        ..kit()
    };
    assert!(matches!(labelled(&[]).check(), Err(KitError::Drivers(0))));
    assert!(matches!(
        labelled(&["a"; 21]).check(),
        Err(KitError::Drivers(21))
    ));
    assert!(matches!(
        labelled(&["a", "a"]).check(),
        Err(KitError::LabelTwice(_))
    ));
    for label in ["", "  ", "a\nb", "a\u{202e}b", &"x".repeat(41)] {
        assert!(
            matches!(labelled(&[label]).check(), Err(KitError::Label(_))),
            "{label:?}"
        );
    }
    let long = Kit {
        note: Some("x".repeat(2001)),
        ..kit()
    };
    assert!(matches!(long.check(), Err(KitError::Note(2001))));
    assert!(long.page().is_err());
}

#[test]
fn every_part_of_the_page_is_in_it() {
    fn below(folder: &Path, found: &mut BTreeSet<String>, root: &Path) {
        for entry in fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                below(&path, found, root);
            } else if path.extension().is_some_and(|e| e == "js") {
                let name = path.strip_prefix(root).unwrap();
                found.insert(name.to_string_lossy().replace('\\', "/"));
            }
        }
    }
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("src/kit/page");
    let mut there = BTreeSet::new();
    below(&root, &mut there, &root);
    let listed: Vec<&str> = page_parts().map(|(name, _)| name).collect();
    let once: BTreeSet<String> = listed.iter().map(|name| (*name).to_owned()).collect();
    assert_eq!(once.len(), listed.len(), "a part stands twice in the list");
    assert_eq!(once, there);
    // The tests in JavaScript load the parts by this list.
    let order = fs::read_to_string(root.join("order.txt")).unwrap();
    assert_eq!(listed, order.lines().collect::<Vec<_>>());
    for (name, text) in page_parts() {
        assert!(
            text.starts_with("\"use strict\";\n"),
            "{name} begins otherwise"
        );
        assert!(
            !text.contains("</script"),
            "{name} would end its own element"
        );
        // Lines travel without their indentation, so no text may span two; but for a script inside a script.
        let open = |line: &&str| line.matches('`').count() % 2 == 1;
        assert!(
            name == "recorder.js" || text.lines().find(open).is_none(),
            "{name}"
        );
        let spans = |line: &str| line.trim_start().starts_with("/*");
        assert!(
            !text.lines().any(spans),
            "{name} has a comment that may span lines"
        );
        let n_lines = text.lines().count();
        assert!(n_lines <= 500, "{name} has {n_lines} lines");
    }
}
