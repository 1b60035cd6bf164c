//! `farcone report`.

use super::{demo, farcone, ran, run};

fn sheet() -> String {
    let folder = std::fs::read_dir(demo().path()).unwrap();
    let mut files = folder.map(|entry| entry.unwrap().path());
    let sheet = files.find(|path| path.to_str().unwrap().ends_with(".driver.json"));
    sheet.unwrap().to_str().unwrap().to_owned()
}

#[test]
fn a_page_named_after_the_label_and_never_written_over() {
    let folder = tempfile::tempdir().unwrap();
    let sheet = sheet();
    let make = || {
        ran(&farcone(["report", &sheet, "--net", "2.4L"])
            .current_dir(folder.path())
            .output()
            .unwrap())
    };
    let done = make();
    assert_eq!(done.code, 0, "{}", done.err);
    let name = done.out.lines().last().unwrap().trim().to_owned();
    assert!(name.ends_with(".report.html"), "{name}");
    let page = std::fs::read_to_string(folder.path().join(&name)).unwrap();
    assert!(page.starts_with("<!DOCTYPE html>") && page.contains("2.40 L closed"));
    let again = make();
    assert_eq!(again.code, 1);
    assert!(again.err.contains("never overwritten"), "{}", again.err);
    assert_eq!(
        std::fs::read_to_string(folder.path().join(&name)).unwrap(),
        page
    );
}

#[test]
fn plots_alone() {
    let folder = tempfile::tempdir().unwrap();
    let plots = folder.path().join("plots");
    let plots = plots.to_str().unwrap();
    let sheet = sheet();
    let done = run(["report", &sheet, "--svg", plots]);
    assert_eq!(done.code, 0, "{}", done.err);
    for name in ["impedance", "residuals", "plane"] {
        let path = folder.path().join(format!("plots/{name}.svg"));
        let svg = std::fs::read_to_string(path).unwrap();
        assert!(svg.starts_with("<svg xmlns=") && svg.contains("<title id="));
    }
    assert_eq!(run(["report", &sheet, "--svg", plots]).code, 1);
}

#[test]
fn what_makes_no_sense_is_refused() {
    let sheet = sheet();
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path().to_str().unwrap();
    for (arguments, code, says) in [
        (vec!["report", folder], 2, "folder"),
        (vec!["report", "none.driver.json"], 1, "none.driver.json"),
        (vec!["report", &sheet, "--net", "2.4"], 2, "unit"),
        (vec!["report", &sheet, "--net", "0L"], 2, "0L"),
        (
            vec!["report", &sheet, "--svg", folder, "-o", "x.html"],
            2,
            "cannot be used",
        ),
    ] {
        let done = run(&arguments);
        assert_eq!(done.code, code, "{arguments:?}: {}", done.err);
        assert!(done.err.contains(says), "{arguments:?}: {}", done.err);
    }
}
