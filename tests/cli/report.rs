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
    assert!(
        page.starts_with("<!DOCTYPE html>")
            && page.contains("a closed box of 2.40 L stands a chance")
    );
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
        (vec!["report", &sheet, &sheet], 2, "named twice"),
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

#[test]
fn photos_are_found_by_their_hash() {
    let folder = tempfile::tempdir().unwrap();
    let at = |name: &str| folder.path().join(name).to_str().unwrap().to_owned();
    // One transparent pixel.
    let pixel: &[u8] = &[
        0x89, 0x50, 0x4e, 0x47, 0x0d, 0x0a, 0x1a, 0x0a, 0, 0, 0, 0x0d, 0x49, 0x48, 0x44, 0x52, 0,
        0, 0, 1, 0, 0, 0, 1, 8, 6, 0, 0, 0, 0x1f, 0x15, 0xc4, 0x89, 0, 0, 0, 0x0d, 0x49, 0x44,
        0x41, 0x54, 0x78, 0xda, 0x63, 0x64, 0xf8, 0xff, 0xbf, 0x1e, 0, 5, 0x84, 2, 0x7f, 0xc2,
        0x3a, 0xb3, 0x33, 0, 0, 0, 0, 0x49, 0x45, 0x4e, 0x44, 0xae, 0x42, 0x60, 0x82,
    ];
    std::fs::create_dir(folder.path().join("photos")).unwrap();
    std::fs::write(at("photos/renamed.png"), pixel).unwrap();
    std::fs::write(at("photos/another.png"), "not wanted").unwrap();
    let named = format!("wiring={}", at("photos/renamed.png"));
    let take = demo().take("free-air-1");
    let sheet = at("x.driver.json");
    let fitted = super::quick_fit(&take, &["--photo", &named, "--out", &sheet, "--quiet"]);
    assert_eq!(fitted.code, 0, "{}", fitted.err);

    let made = run([
        "report",
        &sheet,
        "--photos",
        &at("photos"),
        "-o",
        &at("with.html"),
    ]);
    assert_eq!(made.code, 0, "{}", made.err);
    let page = std::fs::read_to_string(at("with.html")).unwrap();
    assert!(page.contains("<img alt=\"Photo: wiring\" src=\"data:image/png;base64,iVBOR"));
    assert_eq!(page.matches("<img").count(), 1);
    assert!(page.contains("img-src data:;"));
    let made = run(["report", &sheet, "-o", &at("without.html")]);
    assert_eq!(made.code, 0, "{}", made.err);
    let page = std::fs::read_to_string(at("without.html")).unwrap();
    assert!(page.contains("Not in this page: wiring (renamed.png)") && !page.contains("img-src"));
    let refused = run([
        "report",
        &sheet,
        "--photos",
        folder.path().to_str().unwrap(),
    ]);
    assert_eq!(refused.code, 2);
    assert!(
        refused.err.contains("none of the photos"),
        "{}",
        refused.err
    );
    let refused = run(["report", &sheet, "--net", "2.4L+-0.1L"]);
    assert_eq!(refused.code, 2);
}
