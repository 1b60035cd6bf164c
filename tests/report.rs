//! The report: what is in it, that nothing typed becomes markup, and what a real browser makes of it.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::print_stdout,
    reason = "a test fails by panicking, and says what it skips and where it left its pictures"
)]

mod common;

use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::OnceLock;

use common::outside::have;
use common::with_added_mass;
use farcone::parameters::Key;
use farcone::quantity::format_estimate;
use farcone::report::{Options, ReportError, html, plots};
use farcone::sheet::{Dimensions, Finding, Sheet};

/// A real sheet with two free-air takes' worth of everything; made once.
fn sheet() -> Sheet {
    static SHEET: OnceLock<Sheet> = OnceLock::new();
    SHEET.get_or_init(with_added_mass).clone()
}

const HOSTILE: &str = "<script>alert(1)</script> \"quoted\" 'n' & co\nline two\u{202e}\u{7}";

/// A sheet whose takes have to be made again, with everything typed hostile.
fn redo() -> Sheet {
    let mut sheet = sheet();
    sheet.label = HOSTILE.to_owned();
    sheet.verdict = String::from("redo");
    sheet.parameters = Default::default();
    sheet.correlation = None;
    sheet.circuit = None;
    sheet.derived_rating_ohm = None;
    for curve in &mut sheet.curves {
        curve.name = HOSTILE.to_owned();
        curve.modelled_re_ohm = None;
        curve.modelled_im_ohm = None;
        curve.uncertainty_re_ohm = None;
        curve.uncertainty_im_ohm = None;
    }
    for take in &mut sheet.origin.takes {
        take.name = HOSTILE.to_owned();
    }
    sheet.findings = vec![Finding {
        code: String::from("clipping"),
        severity: String::from("redo"),
        take: Some(HOSTILE.to_owned()),
        message: format!("It clips {HOSTILE}"),
        advice: format!("Turn it down {HOSTILE}"),
        evidence: None,
    }];
    sheet
}

/// Several units, one of them usable, one with the mounting dimensions.
fn units(n: usize) -> Vec<Sheet> {
    (0..n)
        .map(|i| {
            let mut unit = sheet();
            unit.label = format!("unit {}", i + 1);
            let mut fs = unit.parameters.fs.clone().unwrap();
            fs.value *= 1.0 + 0.02 * i as f64;
            unit.parameters.set(Key::Fs, fs);
            if i == 1 {
                unit.verdict = String::from("usable");
                unit.dimensions = Some(Dimensions {
                    flange_m: Some(0.118),
                    n_screws: Some(4),
                    ..Dimensions::default()
                });
            }
            unit
        })
        .collect()
}

fn page(sheets: &[Sheet]) -> String {
    let options = Options {
        net_m3: Some(2.4e-3),
        ..Options::default()
    };
    html(sheets, &options).unwrap()
}

/// What holds for every page.
fn assert_sound(page: &str) {
    let lower = page.to_lowercase();
    for forbidden in [
        "<script",
        "http:",
        "https:",
        "javascript:",
        " onload",
        " onclick",
        "src=",
        "url(",
        "style=\"",
        "<iframe",
    ] {
        assert!(!lower.contains(forbidden), "{forbidden:?} is in the page");
    }
    assert!(!page.contains("NaN") && !page.contains("inf "));
    assert!(page.contains("default-src 'none'; style-src 'sha256-"));
    assert_eq!(page.matches("<main>").count(), 1);
    assert_eq!(page.matches("<h1>").count(), 1);
    // Headings leave no level out.
    let mut last = 1;
    for (at, _) in page.match_indices("<h") {
        let Some(level) = page[at + 2..at + 3].parse::<u32>().ok() else {
            continue;
        };
        assert!(level <= last + 1, "h{level} follows h{last}");
        last = level;
    }
    // No id twice.
    let mut ids: Vec<&str> = page
        .split(" id=\"")
        .skip(1)
        .map(|rest| rest.split('"').next().unwrap())
        .collect();
    let n = ids.len();
    ids.sort_unstable();
    ids.dedup();
    assert_eq!(ids.len(), n, "an id occurs twice");
    // Every plot says what it is.
    for plot in page.split("<svg class=\"plot").skip(1) {
        let head = &plot[..plot.find("</desc>").expect("a description")];
        assert!(head.contains("role=\"img\"") && head.contains("<title id="));
    }
}

#[test]
fn every_number_of_the_table_is_the_sheets() {
    let sheet = sheet();
    let page = page(std::slice::from_ref(&sheet));
    assert_sound(&page);
    let table = &page[page.find("id=\"parameters-table\"").unwrap()..];
    let table = &table[..table.find("</table>").unwrap()];
    let mut n = 0;
    for &key in Key::ALL {
        let row = format!("<th scope=\"row\">{}</th>", key.symbol());
        let row = &table[table
            .find(&row)
            .unwrap_or_else(|| panic!("{key:?} has no row"))..];
        let row = &row[..row.find("</tr>").unwrap()];
        let Some(entry) = sheet.parameters.get(key) else {
            assert!(row.contains(">unknown</td>"), "{key:?}: {row}");
            continue;
        };
        n += 1;
        let [low, high] = entry.interval_95.unwrap();
        let unit = key.display_unit();
        let takes = format_estimate(entry.value, Some(0.5 * (high - low)), unit);
        let setup = entry.setup_uncertainty.map(|u| 1.96 * u);
        let setup = format_estimate(entry.value, setup, unit);
        let expected: String = [takes.value, takes.plus_minus, setup.plus_minus]
            .iter()
            .map(|text| match text.as_str() {
                // Short to look at, a word to listen to.
                "unknown" => String::from(
                    "<td class=\"n\"><span aria-hidden=\"true\">?</span><span class=\"spoken\">unknown</span></td>",
                ),
                text => format!("<td class=\"n\">{}</td>", text.replace('<', "&lt;")),
            })
            .collect();
        assert!(
            row.contains(&expected),
            "{key:?}: {expected} is not in {row}"
        );
    }
    assert_eq!(n, Key::ALL.len(), "the sheet has all parameters");
    let order = [
        "verdict",
        "impedance",
        "residuals",
        "plane",
        "parameters",
        "closed-box",
        "budget",
        "findings",
        "conditions",
        "how",
        "cautions",
        "origin",
    ];
    let places: Vec<usize> = order
        .iter()
        .map(|id| {
            page.find(&format!("id=\"{id}\""))
                .unwrap_or_else(|| panic!("{id}"))
        })
        .collect();
    assert!(places.is_sorted(), "{places:?}");
    assert!(
        page.contains("a closed box of 2.40 L stands a chance"),
        "the volume is answered"
    );
    for take in &sheet.origin.takes {
        for hash in &take.sha256 {
            assert!(page.contains(hash));
        }
    }
}

#[test]
fn what_is_unknown_is_shown_as_unknown() {
    let mut sheet = sheet();
    sheet.parameters.vas = None;
    let mut fs = sheet.parameters.fs.clone().unwrap();
    fs.setup_uncertainty = None;
    fs.interval_95 = None;
    fs.standard_uncertainty = None;
    let shown = format_estimate(fs.value, None, Key::Fs.display_unit()).value;
    sheet.parameters.set(Key::Fs, fs);
    sheet.dimensions = Some(Dimensions {
        flange_m: Some(0.1185),
        ..Dimensions::default()
    });
    let page = page(&[sheet]);
    assert_sound(&page);
    let row = &page[page.find("<th scope=\"row\">Vas</th>").unwrap()..][..120];
    assert!(row.contains("unknown"), "{row}");
    assert!(
        page.contains("Vas is not known"),
        "the volume says why it cannot tell"
    );
    assert!(page.contains("118.5 mm") && page.contains("<td>unknown</td>"));
    let said = format!("fs is {shown} Hz, doubt unknown");
    assert!(page.contains(&said), "{said}");
}

#[test]
fn nothing_typed_becomes_markup() {
    let redo = redo();
    let page = page(std::slice::from_ref(&redo));
    assert_sound(&page);
    assert!(
        page.contains(
            "&lt;script&gt;alert(1)&lt;/script&gt; &quot;quoted&quot; &#39;n&#39; &amp; co"
        )
    );
    assert!(!page.contains(['\u{202e}', '\u{7}']));
    assert!(
        page.contains("Turn it down"),
        "a page without parameters says what to do"
    );
    assert!(page.find("Turn it down").unwrap() < page.find("<svg class=\"plot").unwrap());
    for plot in plots(&[redo]).unwrap() {
        assert!(!plot.svg.contains("<script"), "{}", plot.name);
    }
}

#[test]
fn sheets_without_curves_or_circuit_have_pages_too() {
    let mut bare = redo();
    bare.curves.clear();
    bare.findings.clear();
    bare.origin.takes.clear();
    let page = page(std::slice::from_ref(&bare));
    assert_sound(&page);
    assert!(page.contains("no curve") && page.contains("make the takes again"));
    assert!(plots(&[bare]).unwrap().is_empty());
    assert!(matches!(
        html(&[], &Options::default()),
        Err(ReportError::NoSheet)
    ));
}

#[test]
fn several_sheets_are_laid_over_each_other_and_compared() {
    for n in [2, 5] {
        let units = units(n);
        let page = page(&units);
        assert_sound(&page);
        assert!(page.contains("id=\"comparison\""));
        // Fs of two neighbours differs by 2 %, of which 1 % each is what set-ups do; of two none is the odd one.
        // The same words, the same ±: the takes' interval as the sheet has it, with what a set-up adds.
        let vas = units[0].parameters.vas.as_ref().unwrap();
        let [low, high] = vas.interval_95.unwrap();
        let setup = vas.setup_uncertainty.map_or(0.0, |u| 1.96 * u);
        let half = (0.5 * (high - low)).hypot(setup);
        let shown = format_estimate(vas.value, Some(half), Key::Vas.display_unit());
        let vas = format!(">{} ± {}</td>", shown.value, shown.plus_minus);
        for id in ["verdicts-table", "comparison-table"] {
            let table = &page[page.find(&format!("id=\"{id}\"")).unwrap()..];
            let table = &table[..table.find("</table>").unwrap()];
            assert!(table.contains(&vas), "{id}: {vas}");
        }
        let odd = page.contains("The odd one is") || page.contains("No unit stands out");
        assert_eq!(odd, n > 2);
        assert_eq!(page.matches("<article").count(), n);
        let overlay = &page[page.find("id=\"all-impedance-w-title\"").unwrap()..];
        let overlay = &overlay[..overlay.find("</svg>").unwrap()];
        for i in 0..n {
            assert!(
                overlay.contains(&format!("class=\"s-t{i}\"")),
                "curve {i} of {n}"
            );
        }
        assert_eq!(plots(&units).unwrap().len(), 1 + 3 * n);
    }
}

/// Several sheets are printed in short, and the page says what it leaves out.
#[test]
fn what_several_sheets_leave_off_paper_is_said() {
    let one = page(&[sheet()]);
    assert!(!one.contains("class=\"off-paper\"") && !one.contains("On paper each sheet"));
    let several = page(&units(3));
    assert_eq!(
        several.matches("On paper each sheet is shortened").count(),
        1
    );
    for id in ["residuals", "plane", "budget", "how"] {
        for i in 1..=3 {
            let at = several.find(&format!("id=\"{i}-{id}\"")).unwrap();
            let opened = several[..at].rfind("<div class=\"off-paper\">").unwrap();
            assert!(
                !several[opened..at].contains("</div>\n<section"),
                "{i}-{id}"
            );
        }
    }
    // What holds for every sheet is said once, what is about one of them with it.
    for said in ["These are small-signal values", "A suspension changes"] {
        assert_eq!(one.matches(said).count(), 1);
        assert_eq!(several.matches(said).count(), 1);
    }
    let mut sheets = units(2);
    sheets[1].parameters.vas = None;
    let page = page(&sheets);
    let at = page.find("Without Vas no box can be designed").unwrap();
    assert!(page[..at].contains("id=\"2-cautions\"") && !page.contains("id=\"1-cautions\""));
}

#[test]
fn what_is_to_be_made_again_stands_at_the_top_once() {
    let mut sheets = units(3);
    sheets[2] = redo();
    sheets[2].label = String::from("third");
    // One finding for each channel, with one advice.
    let finding = |take: &str, message: &str| Finding {
        take: Some(take.to_owned()),
        message: message.to_owned(),
        advice: String::from("Turn it down"),
        ..sheets[2].findings[0].clone()
    };
    sheets[2].findings = vec![
        finding("free-air", "channel 1 clips"),
        finding("free-air", "channel 2 clips"),
    ];
    let page = page(&sheets);
    assert_sound(&page);
    let top = &page[page.find("id=\"verdicts\"").unwrap()..page.find("<article").unwrap()];
    assert!(top.contains("1 good, 1 usable and 1 to make again"));
    assert_eq!(top.matches("free-air: Turn it down").count(), 1);
    let card = &page[page.find("id=\"3-verdict\"").unwrap()..];
    let card = &card[..card.find("</section>").unwrap()];
    assert_eq!(card.matches("free-air: Turn it down").count(), 1);
    // Why the volume cannot be judged is said once for each sheet.
    assert_eq!(page.matches("cannot be said:").count(), 1);
}

#[test]
fn absurd_volumes_are_called_so() {
    let says = |net_m3: f64| {
        let options = Options {
            net_m3: Some(net_m3),
            ..Options::default()
        };
        html(&[sheet()], &options).unwrap()
    };
    for (net_m3, said) in [
        (5.0, "5000 L are far more than useful"),
        (1e6, "1000000000 L are far more than useful"),
        (1e-9, "in 0.00100 mL the air is"),
    ] {
        let page = says(net_m3);
        assert!(page.contains(said), "{said}");
        assert!(!page.contains("stands a chance"), "{net_m3}");
    }
    assert!(says(1e-9).contains("Were litres meant?"));
}

#[test]
fn only_what_the_sheet_has_is_said_to_be_typed_and_derived() {
    let how = |sheet: Sheet| {
        let page = page(&[sheet]);
        let how = &page[page.find("id=\"how\"").unwrap()..];
        how[..how.find("</section>").unwrap()].to_owned()
    };
    let full = how(sheet());
    assert!(full.contains("size of the cone") && full.contains("<dt>derived</dt>"));
    let mut free = sheet();
    for take in &mut free.origin.takes {
        take.stated = None;
    }
    free.parameters.sd = None;
    free.parameters.vas = None;
    free.parameters.mmd = None;
    free.parameters.efficiency = None;
    free.parameters.level_1w = None;
    free.parameters.level_2v83 = None;
    let bare = how(free);
    assert!(bare.contains("<dt>typed</dt><dd>the sense resistor and the air</dd>"));
    assert!(!bare.contains("<dt>derived</dt>"));
    let page = page(&[sheet()]);
    let load = sheet().origin.takes[1].stated.clone().unwrap();
    let half = load.standard_uncertainty.map(|u| 1.96 * u);
    let shown = format_estimate(load.value, half, farcone::quantity::DisplayUnit::Gram);
    let load = format!("{} ± {} g", shown.value, shown.plus_minus);
    assert!(page.contains(&load), "{load}");
}

/// Points of the first shape of a kind in a plot.
fn points(svg: &str, kind: &str, class: &str) -> Vec<(f64, f64)> {
    let shape = svg
        .lines()
        .find(|line| line.starts_with(kind) && line.contains(&format!("\"{class}\"")))
        .unwrap_or_else(|| panic!("{kind} {class}"));
    let list = shape.split("points=\"").nth(1).unwrap();
    let list = list.split('"').next().unwrap();
    list.split_whitespace()
        .map(|pair| {
            let (x, y) = pair.split_once(',').unwrap();
            (x.parse().unwrap(), y.parse().unwrap())
        })
        .collect()
}

/// At the resonance |Z| is Re·(1 + Qms/Qes): doubt of Qms alone moves it by Qms/(Qms + Qes) of its own.
#[test]
fn the_band_is_that_of_the_sheet() {
    /// Coil and creep are left out of the expectation, and a pixel is a tenth of the drawn one.
    const METHOD: f64 = 0.03;
    const RELATIVE: f64 = 0.05;
    let mut sheet = sheet();
    for key in [
        Key::Re,
        Key::Fs,
        Key::Qes,
        Key::Qms,
        Key::Le1khz,
        Key::Le10khz,
    ] {
        let mut entry = sheet.parameters.get(key).unwrap().clone();
        let relative = if key == Key::Qms { RELATIVE } else { 1e-9 };
        entry.standard_uncertainty = Some(relative * entry.value);
        sheet.parameters.set(key, entry);
    }
    let at = |key: Key| sheet.parameters.get(key).unwrap().value;
    let expected = 1.96 * RELATIVE * at(Key::Qms) / (at(Key::Qms) + at(Key::Qes));
    let svg = &plots(std::slice::from_ref(&sheet)).unwrap()[0].svg;
    let highest =
        |points: &[(f64, f64)]| points.iter().map(|p| p.1).min_by(f64::total_cmp).unwrap();
    let band = highest(&points(svg, "<polygon", "f-b0"));
    let line = highest(&points(svg, "<polyline", "s-t0"));
    let zero = svg
        .lines()
        .filter(|l| l.starts_with("<polyline") && l.contains("\"s-grid\""))
        .flat_map(|l| points(l, "<polyline", "s-grid"))
        .filter(|p| (p.1 - line).abs() > 1.0)
        .map(|p| p.1)
        .collect::<Vec<_>>();
    // The lines at round frequencies run from the head of the magnitude's panel to its foot, where |Z| is zero.
    let foot = zero[1];
    let drawn = (foot - band) / (foot - line) - 1.0;
    assert!(
        (drawn / expected - 1.0).abs() < METHOD,
        "{drawn} {expected}"
    );
}

#[test]
fn the_plots_are_whole() {
    let sheet = sheet();
    let plots = plots(std::slice::from_ref(&sheet)).unwrap();
    let names: Vec<&str> = plots.iter().map(|plot| plot.name.as_str()).collect();
    assert_eq!(names, ["impedance", "residuals", "plane"]);
    for plot in &plots {
        assert!(
            plot.svg
                .starts_with("<svg xmlns=\"http://www.w3.org/2000/svg\"")
        );
        assert!(plot.svg.contains("<desc") && plot.svg.contains("<style>"));
        // Programs other than browsers know no CSS variables, and take the inner pixels for the size.
        assert!(
            !plot.svg.contains("var(") && plot.svg.contains(".s-t0{stroke:#"),
            "{}: its colours are not literal",
            plot.name
        );
        let head = &plot.svg[..plot.svg.find('>').unwrap()];
        assert!(head.contains(" width=\"760\" height=\""), "{head}");
        assert!(
            !plot.svg.contains("#0"),
            "{}: a sentinel colour is left",
            plot.name
        );
    }
    let impedance = &plots[0].svg;
    for tick in [
        "20", "50", "100", "200", "500", "1k", "2k", "5k", "10k", "20k",
    ] {
        assert!(impedance.contains(&format!(">\n{tick}\n</text>")), "{tick}");
    }
    assert!(impedance.contains("class=\"f-b0\""), "the band is drawn");
    assert!(
        impedance.matches("<title>").count() > 50,
        "values under the pointer"
    );
}

fn run(command: &mut Command) -> String {
    let output = command.output().unwrap();
    let text = String::from_utf8_lossy(&output.stdout).into_owned();
    let errors = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{command:?}:\n{text}{errors}");
    text
}

/// Where what was seen is kept.
fn gallery() -> PathBuf {
    Path::new(env!("CARGO_TARGET_TMPDIR")).join("report")
}

#[test]
#[ignore = "needs a browser"]
fn a_browser_has_nothing_to_say_against_it() {
    if !have(
        &["chromium", "node", "npm", "pdftoppm"],
        "chromium, nodejs, npm, poppler-utils",
    ) {
        return;
    }
    let out = gallery();
    let _ = std::fs::remove_dir_all(&out);
    std::fs::create_dir_all(&out).unwrap();
    let scripts = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/report");
    let work = tempfile::tempdir().unwrap();
    for name in ["package.json", "package-lock.json", "look.mjs"] {
        std::fs::copy(scripts.join(name), work.path().join(name)).unwrap();
    }
    run(Command::new("npm")
        .args(["ci", "--no-audit", "--no-fund", "--ignore-scripts"])
        .current_dir(work.path()));
    let pages: Vec<PathBuf> = [
        ("one", vec![sheet()]),
        ("redo", vec![redo()]),
        ("two", units(2)),
        ("five", units(5)),
    ]
    .into_iter()
    .map(|(name, sheets)| {
        let path = out.join(format!("{name}.html"));
        std::fs::write(&path, page(&sheets)).unwrap();
        path
    })
    .collect();
    // A check that cannot fail is none: this page does what a report must not.
    let bad = work.path().join("bad.html");
    std::fs::write(
        &bad,
        "<!DOCTYPE html><title></title><img src='x.png'><script>console.log(1)</script>",
    )
    .unwrap();
    let refused = Command::new("node")
        .args(["look.mjs", "chromium"])
        .arg(work.path().join("bad"))
        .arg(&bad)
        .current_dir(work.path())
        .output()
        .unwrap();
    let said = String::from_utf8_lossy(&refused.stderr);
    for complaint in [
        "console: 1",
        "request: file:",
        "axe-core, critical: image-alt",
    ] {
        assert!(said.contains(complaint), "{complaint} is missing in {said}");
    }
    print!(
        "{}",
        run(Command::new("node")
            .args(["look.mjs", "chromium"])
            .arg(&out)
            .args(&pages)
            .current_dir(work.path()))
    );
    for page in &pages {
        let pdf = page.with_extension("pdf");
        run(Command::new("pdftoppm")
            .args(["-r", "70", "-png"])
            .arg(&pdf)
            .arg(page.with_extension("page")));
        let info = run(Command::new("pdfinfo").arg(&pdf));
        assert!(info.contains("A4"), "{info}");
        // A page of its own for the comparison, two for each of several sheets, four for a sheet alone.
        let most = match page.file_stem().and_then(|stem| stem.to_str()) {
            Some("two") => 6,
            Some("five") => 12,
            _ => 4,
        };
        let n_pages = info.lines().find_map(|line| line.strip_prefix("Pages:"));
        let n_pages: usize = n_pages.unwrap().trim().parse().unwrap();
        assert!(
            n_pages <= most,
            "{}: {n_pages} printed pages",
            pdf.display()
        );
    }
    println!("screenshots and printed pages are in {}", out.display());
}
