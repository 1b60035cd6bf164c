//! `farcone kit` from the outside.

use std::fs;

use super::{farcone, ran, run};

#[test]
fn a_kit_is_written_once() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("kit.html");
    let call = || {
        run([
            "kit",
            "--driver",
            "left unit,small,8ohm",
            "--driver",
            "right, again,tweeter",
            "--note",
            "Thank you!",
            "-o",
            path.to_str().unwrap(),
        ])
    };
    let kit = call();
    assert_eq!(kit.code, 0, "{}", kit.err);
    assert!(
        kit.out.contains("for 2 drivers") && kit.out.contains("farcone receive"),
        "{}",
        kit.out
    );
    let page = fs::read_to_string(&path).unwrap();
    let id = kit
        .out
        .split_whitespace()
        .nth(1)
        .unwrap()
        .trim_end_matches(':');
    assert!(id.starts_with("K-") && page.contains(id), "{}", kit.out);
    assert!(page.contains("\"right, again\"") && page.contains("Thank you!"));
    let again = call();
    assert_eq!(again.code, 1);
    assert!(again.err.contains("kit.html"), "{}", again.err);
    assert_eq!(fs::read_to_string(&path).unwrap(), page);
}

#[test]
fn settings_that_do_not_fit_are_refused() {
    let folder = tempfile::tempdir().unwrap();
    for (args, named) in [
        (&["--driver", "left unit"][..], "left unit,small,8ohm"),
        (
            &["--driver", "a,small", "--driver", "a,small"],
            "label of its own",
        ),
        (&["--driver", "a,small", "--box", "1.5L"], "--method both"),
        (
            &["--driver", "a,tweeter", "--method", "both", "--box", "1.5L"],
            "leave out --box",
        ),
        (&["--driver", "a,small", "--sense", "47"], "47ohm"),
        (&[], "--driver"),
    ] {
        let mut command = farcone(["kit"]);
        let refused = ran(&command
            .current_dir(folder.path())
            .args(args)
            .output()
            .unwrap());
        assert_eq!(refused.code, 2, "{args:?}");
        assert!(refused.err.contains(named), "{args:?}: {}", refused.err);
        assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 0, "{args:?}");
    }
}
