//! `farcone compare`.

use super::{demo, run};

/// Sheets of the demo's driver with another seed and another name.
fn sheets(folder: &std::path::Path) -> Vec<String> {
    ["one", "two", "three"]
        .iter()
        .enumerate()
        .map(|(i, name)| {
            let out = folder.join(format!("{name}.driver.json"));
            let out = out.to_str().unwrap().to_owned();
            let seed = (i + 1).to_string();
            let done = run([
                "fit",
                demo().path().to_str().unwrap(),
                "--seed",
                &seed,
                "--label",
                name,
                "--out",
                &out,
                "--quiet",
            ]);
            assert_eq!(done.code, 0, "{}", done.err);
            out
        })
        .collect()
}

#[test]
fn sheets_side_by_side_and_a_sellers_claims() {
    let folder = tempfile::tempdir().unwrap();
    let sheets = sheets(folder.path());
    let [a, b, c] = [&sheets[0], &sheets[1], &sheets[2]].map(String::as_str);
    let done = run([
        "compare",
        a,
        b,
        c,
        "--claimed",
        "fs=300Hz,qts=0.6+-0.5,mmd=3g+-u0.9g",
    ]);
    let text = done.out;
    assert_eq!(done.code, 0, "{text}");
    for expected in [
        "A  one",
        "B  two",
        "alike within",
        "No unit stands out",
        "does not hold",
        "1 do not",
    ] {
        assert!(text.contains(expected), "{expected} is missing in\n{text}");
    }
    let done = run(["compare", a, b, "--run-in"]);
    let text = done.out;
    assert!(text.contains("Nothing moved beyond doubt."), "{text}");
    let copy = folder.path().join("copy.driver.json");
    std::fs::copy(a, &copy).unwrap();
    let text = run(["compare", a, copy.to_str().unwrap()]).out;
    for of_two_alike in ["one.driver.json", "copy.driver.json"] {
        assert!(text.contains(of_two_alike), "{text}");
    }
    let done = run(["compare", a, b, c, "--json"]);
    let json: serde_json::Value = serde_json::from_str(&done.out).unwrap();
    assert_eq!(json["comparison"]["labels"][2], "three");
    assert_eq!(json["comparison"]["rows"][0]["key"], "fs");
    assert_eq!(json["comparison"]["pairs"].as_array().unwrap().len(), 3);
}

#[test]
fn what_cannot_be_compared_is_refused() {
    let folder = tempfile::tempdir().unwrap();
    let sheets = sheets(folder.path());
    let refused = |arguments: &[&str], code: i32, says: &str| {
        let done = run(arguments);
        let text = done.err;
        assert_eq!(done.code, code, "{text}");
        assert!(text.contains(says), "{text}");
    };
    refused(&["compare", &sheets[0]], 2, "one sheet alone");
    refused(
        &["compare", &sheets[0], "--run-in", "--claimed", "fs=3Hz"],
        2,
        "two sheets",
    );
    refused(&["compare", &sheets[0], "--claimed", "fs=3"], 2, "unit");
    refused(
        &["compare", &sheets[0], "none.driver.json"],
        1,
        "none.driver.json",
    );
    refused(
        &["compare", &sheets[0], folder.path().to_str().unwrap()],
        2,
        "folder",
    );
    let odd = folder.path().join("odd.driver.json");
    std::fs::write(&odd, "{}").unwrap();
    refused(
        &["compare", &sheets[0], odd.to_str().unwrap()],
        1,
        "odd.driver.json",
    );
}
