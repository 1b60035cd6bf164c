//! `farcone receive`: from bundles to session folders, sheets and replies.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::OnceLock;

use farcone::bundle::{self, Bundle};
use farcone::circuit::CoilFamily;
use farcone::coins::DriverClass;
use farcone::fit::Choice;
use farcone::kit::{Kit, KitDriver, Method};
use farcone::parameters::Key;
use farcone::progress::Unwatched;
use farcone::quantity::Stated;
use farcone::session::{Condition, SessionFile, analyse, assemble_in_memory, file_key, sha256_hex};
use farcone::sheet::Sheet;

use super::{Ran, demo, run, write};

const KIT: &str = "K-0000ab12";

/// What a page would send of the demo's driver: with one coil model, which is quick.
fn page() -> Bundle {
    static PAGE: OnceLock<Bundle> = OnceLock::new();
    PAGE.get_or_init(|| {
        let folder = demo().path();
        let text = fs::read_to_string(folder.join("session.json")).unwrap();
        let session = SessionFile {
            label: "left unit".into(),
            choice: Choice {
                coils: vec![CoilFamily::SemiInductor],
                creep: false,
            },
            n_draws: 1000,
            ..SessionFile::from_json(&text).unwrap()
        };
        let files: BTreeMap<String, Vec<u8>> = session
            .takes
            .iter()
            .flat_map(|take| &take.files)
            .map(|file| {
                (
                    file_key(file).unwrap(),
                    fs::read(folder.join(file)).unwrap(),
                )
            })
            .collect();
        let mut bundle = Bundle {
            kit: KIT.into(),
            driver: 0,
            version: env!("CARGO_PKG_VERSION").into(),
            browser: None,
            log: vec![],
            session,
            sheet: None,
            files,
        };
        conclude(&mut bundle);
        bundle
    })
    .clone()
}

/// Computes what the page would conclude.
fn conclude(bundle: &mut Bundle) {
    let session = assemble_in_memory(bundle.session.clone(), &bundle.files, &mut Unwatched);
    bundle.sheet = Some(analyse(session.unwrap(), &mut Unwatched).unwrap());
}

fn save(folder: &Path, name: &str, bundle: &Bundle) -> String {
    let path = folder.join(name);
    fs::write(&path, bundle::write(bundle).unwrap()).unwrap();
    path.to_str().unwrap().to_owned()
}

/// A place for bundles, and one where they are received.
struct Desk(tempfile::TempDir);

impl Desk {
    fn new() -> Self {
        Self(tempfile::tempdir().unwrap())
    }

    fn save(&self, name: &str, bundle: &Bundle) -> String {
        save(self.0.path(), name, bundle)
    }

    fn out(&self) -> PathBuf {
        self.0.path().join("received")
    }

    fn receive(&self, arguments: &[&str]) -> Ran {
        let out = self.out();
        let out = out.to_str().unwrap().to_owned();
        let all = ["receive", "-o", &out];
        run(all.iter().chain(arguments))
    }

    fn reply(&self, folder: &str) -> String {
        fs::read_to_string(self.out().join(folder).join("reply.txt")).unwrap()
    }

    fn n_received(&self) -> usize {
        fs::read_dir(self.out()).map_or(0, Iterator::count)
    }
}

#[test]
fn two_drivers_become_folders_sheets_replies_and_a_comparison() {
    let desk = Desk::new();
    let left = page();
    let mut right = page();
    right.driver = 1;
    right.session.label = "right unit".into();
    right.session.seed = 7;
    conclude(&mut right);
    let (a, b) = (desk.save("a.zip", &left), desk.save("b.zip", &right));
    let ran = desk.receive(&[&a, &b]);
    assert_eq!((ran.code, ran.err.as_str()), (0, ""), "{}", ran.out);
    for word in [
        "Kit K-0000ab12, driver 1,",
        "Kit K-0000ab12, driver 2,",
        "Verdict:",
        "They agree",
        "All good, thank you. You can take it apart.",
        "Side by side",
        "A  left unit",
        "alike within",
        "left-unit.driver.json",
    ] {
        assert!(ran.out.contains(word), "{word} is missing in\n{}", ran.out);
    }
    for (folder, sent) in [("left-unit", &left), ("right-unit", &right)] {
        let folder = desk.out().join(folder);
        for (file, bytes) in &sent.files {
            assert_eq!(&fs::read(folder.join(file)).unwrap(), bytes);
        }
        let text = |name: &str| fs::read_to_string(folder.join(name)).unwrap();
        let page = Sheet::from_json(&text("page.driver.json")).unwrap();
        assert_eq!(Some(&page), sent.sheet.as_ref());
        let stem = folder.file_name().unwrap().to_str().unwrap();
        let own = Sheet::from_json(&text(&format!("{stem}.driver.json"))).unwrap();
        assert_eq!(own.label, sent.session.label);
        assert!(text("bundle.json").contains(KIT));
        assert!(text("reply.txt").contains("All good"));
        // The folder is a session like any other.
        let again = run(["fit", folder.to_str().unwrap(), "--json"]);
        assert_eq!(again.sheet().parameters, own.parameters);
    }
    // Once more: nothing is written over, and as JSON it is one document.
    let ran = desk.receive(&[&a, &b, "--json", "--kit", KIT]);
    assert_eq!((ran.code, ran.err.as_str()), (0, ""));
    let json: serde_json::Value = serde_json::from_str(&ran.out).unwrap();
    assert_eq!(json["received"][1]["agreement"], "agrees");
    assert_eq!(json["received"][0]["sheet"]["label"], "left unit");
    assert_eq!(json["comparison"]["labels"][1], "right unit");
    assert!(desk.out().join("left-unit-2/session.json").is_file());
    let quiet = desk.receive(&[&a, "--quiet"]);
    assert_eq!((quiet.code, quiet.out.as_str()), (0, ""));
    assert_eq!((quiet.err.as_str(), desk.n_received()), ("", 5));
}

/// The page's sheet with its resonance off by a part.
fn altered(relative: f64) -> Bundle {
    let mut bundle = page();
    let sheet = bundle.sheet.as_mut().unwrap();
    let fs = sheet.parameters.get_mut(Key::Fs).unwrap();
    fs.value *= 1.0 + relative;
    bundle
}

#[test]
fn a_page_that_says_something_else_is_reported() {
    let desk = Desk::new();
    // Below what rounding explains, and above.
    let rounded = desk.save("rounded.zip", &altered(1e-11));
    assert_eq!(desk.receive(&[&rounded, "--quiet"]).code, 0);
    let forged = desk.save("forged.zip", &altered(1e-5));
    let ran = desk.receive(&[&forged]);
    assert_eq!(ran.code, 1, "{}", ran.out);
    for word in ["They do not agree", "the value of fs is"] {
        assert!(ran.out.contains(word), "{word} is missing in\n{}", ran.out);
    }
    assert!(
        desk.reply("left-unit-2")
            .contains("leave everything as it is")
    );
    let ran = desk.receive(&[&forged, "--quiet"]);
    assert_eq!((ran.code, ran.out.as_str()), (1, ""));
    assert!(ran.err.contains("forged.zip") && ran.err.contains("fs"));
    let ran = desk.receive(&[&forged, "--json"]);
    let json: serde_json::Value = serde_json::from_str(&ran.out).unwrap();
    assert_eq!(json["received"][0]["agreement"], "differs");
    assert_eq!(
        json["received"][0]["differences"].as_array().unwrap().len(),
        1
    );
    // Another version may come to something else.
    let mut old = altered(1e-5);
    old.version = "0.0.9".into();
    old.sheet.as_mut().unwrap().origin.version = "0.0.9".into();
    let old = desk.save("old.zip", &old);
    let ran = desk.receive(&[&old]);
    assert_eq!(ran.code, 0, "{}", ran.out);
    assert!(ran.out.contains("version 0.0.9"), "{}", ran.out);
    assert!(!ran.out.contains("do not agree"), "{}", ran.out);
    // A page that concluded nothing.
    let mut silent = page();
    silent.sheet = None;
    let silent = desk.save("silent.zip", &silent);
    let ran = desk.receive(&[&silent]);
    assert_eq!(ran.code, 0, "{}", ran.out);
    assert!(ran.out.contains("concluded nothing"), "{}", ran.out);
}

#[test]
fn what_has_to_be_made_again_is_said_to_the_helper() {
    let desk = Desk::new();
    let mut bundle = page();
    // Somebody recorded a mono mix.
    let file = "takes/added-mass-1.wav".to_owned();
    let mut wav = bundle.files[&file].clone();
    let data = wav.windows(4).position(|w| w == b"data").unwrap() + 8;
    for frame in wav[data..].chunks_exact_mut(6) {
        frame.copy_within(0..3, 3);
    }
    let hash = sha256_hex(&mut wav.as_slice()).unwrap();
    let take = bundle
        .session
        .takes
        .iter_mut()
        .find(|take| take.name == "added-mass-1")
        .unwrap();
    take.sha256 = vec![hash];
    bundle.files.insert(file, wav);
    conclude(&mut bundle);
    let zip = desk.save("mono.zip", &bundle);
    let ran = desk.receive(&[&zip]);
    assert_eq!(ran.code, 3, "{}", ran.out);
    assert!(ran.out.contains("They agree"), "{}", ran.out);
    let reply = desk.reply("left-unit");
    for word in [
        "do not take it apart",
        "make this again",
        "- added-mass-1: ",
        "What to do: ",
    ] {
        assert!(reply.contains(word), "{word} is missing in\n{reply}");
    }
    assert!(
        !reply.contains("--") && !reply.contains("All good"),
        "{reply}"
    );
    assert!(ran.out.contains("added-mass-1: "));
}

/// The demo's driver without what a take's condition says.
fn without(leave_out: impl Fn(&Condition) -> bool) -> Bundle {
    let mut bundle = page();
    bundle
        .session
        .takes
        .retain(|take| !leave_out(&take.condition));
    bundle
}

/// The page itself, under the bundles' id.
fn kit_page(method: &str, class: &str) -> String {
    let kit = Kit {
        drivers: vec![KitDriver {
            label: "x".to_owned(),
            class: DriverClass::parse(class).unwrap(),
            nominal_ohm: None,
        }],
        method: Method::parse(method).unwrap(),
        sense_ohm: Stated::within(47.0, 0.5),
        note: Some("</script><b>".to_owned()),
        test_box: None,
        made: String::new(),
    };
    kit.page().unwrap().replace(&kit.id(), KIT)
}

#[test]
fn what_is_missing_is_asked_for() {
    let desk = Desk::new();
    // Only the free-air takes, and what the kit asked for is not known.
    let mut bundle = without(|c| !matches!(c, Condition::FreeAir));
    conclude(&mut bundle);
    let zip = desk.save("free.zip", &bundle);
    let ran = desk.receive(&[&zip]);
    assert_eq!(ran.code, 0, "{}", ran.out);
    let reply = desk.reply("left-unit");
    assert!(reply.contains("left out by mistake"), "{reply}");
    let received = |method: &str, class: &str| {
        let kit = write(
            desk.0.path(),
            &format!("{method}-{class}.html"),
            &kit_page(method, class),
        );
        let ran = desk.receive(&[&zip, "--kit", &kit, "--json"]);
        let json: serde_json::Value = serde_json::from_str(&ran.out).unwrap();
        let reply = json["received"][0]["reply"].as_str().unwrap().to_owned();
        (ran.code, reply)
    };
    let (code, reply) = received("added-mass", "small");
    assert_eq!(code, 3);
    assert!(
        reply.contains("weighed mass") && !reply.contains("box"),
        "{reply}"
    );
    let (code, reply) = received("both", "woofer");
    assert_eq!(code, 3);
    assert!(
        reply.contains("weighed mass") && reply.contains("test box"),
        "{reply}"
    );
    let (code, reply) = received("both", "tweeter");
    assert_eq!(code, 0, "{reply}");
    assert!(reply.contains("All good"), "{reply}");
    // Nothing of the driver alone: there is no sheet, and that is said.
    let mut bundle = without(|c| matches!(c, Condition::FreeAir));
    bundle.sheet = None;
    let zip = desk.save("loaded.zip", &bundle);
    let ran = desk.receive(&[&zip]);
    assert_eq!(ran.code, 3, "{}", ran.err);
    assert!(ran.out.contains("No sheet can be computed"), "{}", ran.out);
    assert!(ran.out.contains("driver alone"), "{}", ran.out);
    // A result that comes from nowhere.
    bundle.sheet = page().sheet;
    let zip = desk.save("nowhere.zip", &bundle);
    assert_eq!(desk.receive(&[&zip, "--quiet"]).code, 1);
}

#[test]
fn other_kits_are_refused_before_anything_is_written() {
    let desk = Desk::new();
    let zip = desk.save("a.zip", &page());
    let refused = |kit: &str, code: i32, says: &str| {
        let ran = desk.receive(&[&zip, "--kit", kit]);
        assert_eq!((ran.code, ran.out.as_str()), (code, ""), "{kit}");
        assert!(ran.err.contains(says), "{kit}: {}", ran.err);
        assert_eq!(desk.n_received(), 0);
    };
    refused("K-9", 1, KIT);
    refused("../kit", 2, "neither a kit's id");
    refused("none.html", 1, "none.html");
    let page_of = |name: &str, text: &str| write(desk.0.path(), name, text);
    refused(&page_of("plain.html", "<html></html>"), 2, "no kit");
    refused(
        &page_of(
            "none.html",
            &kit_page("both", "small").replace("\"class\":\"small\"", "\"clash\":\"small\""),
        ),
        2,
        "class",
    );
    refused(
        &page_of(
            "next.html",
            &kit_page("both", "small").replace("kit/1", "kit/2"),
        ),
        2,
        "farcone-kit/2",
    );
    let whole = kit_page("both", "small");
    let empty = whole.replace(
        "{\"class\":\"small\",\"label\":\"x\",\"nominal_ohm\":null,\"start_hz\":5.0}",
        "",
    );
    assert_ne!(empty, whole);
    refused(&page_of("empty.html", &empty), 1, "driver 1");
    let ran = desk.receive(&[&zip, "--kit", "K-9", "--kit", KIT, "--quiet"]);
    assert_eq!(ran.code, 0, "{}", ran.err);
}

#[test]
fn several_bundles_are_held_against_each_other() {
    let desk = Desk::new();
    let first = page();
    let mut second = page();
    second.log = vec![bundle::LogEntry {
        at_s: 1.0,
        what: "again".into(),
    }];
    let mut other = page();
    other.kit = "K-9".into();
    let [a, b, c] = [("a.zip", &first), ("b.zip", &second), ("c.zip", &other)]
        .map(|(name, bundle)| desk.save(name, bundle));
    let copy = desk.save("copy.zip", &first);
    let ran = desk.receive(&[&a, &copy]);
    assert_eq!(ran.code, 2, "{}", ran.out);
    assert!(ran.err.contains("same bundle"), "{}", ran.err);
    assert_eq!(desk.n_received(), 0);
    let ran = desk.receive(&[&a, &b, &c]);
    assert_eq!(ran.code, 0, "{}", ran.err);
    assert!(ran.out.contains("the same driver"), "{}", ran.out);
    assert!(ran.out.contains("K-0000ab12, K-9"), "{}", ran.out);
}

#[test]
fn spoiled_bundles_say_what_to_ask_for_and_leave_nothing() {
    let desk = Desk::new();
    let good = desk.save("good.zip", &page());
    let bytes = fs::read(&good).unwrap();
    let spoil = |name: &str, change: &dyn Fn(&mut Vec<u8>)| {
        let mut bytes = bytes.clone();
        change(&mut bytes);
        let path = desk.0.path().join(name);
        fs::write(&path, bytes).unwrap();
        path.to_str().unwrap().to_owned()
    };
    let middle = bytes.len() / 2;
    for (path, says) in [
        (spoil("cut.zip", &|b| b.truncate(middle)), "sent again"),
        (spoil("bit.zip", &|b| b[middle] ^= 4), "sent again"),
        (spoil("empty.zip", &|b| b.clear()), "no ZIP file"),
        (spoil("text.zip", &|b| b[0] = b'<'), "no ZIP file"),
        ("nowhere.zip".to_owned(), "no such file"),
        (demo().path().to_str().unwrap().to_owned(), "demo"),
    ] {
        // A good one beside it is not unpacked either: it would be there twice next time.
        let ran = desk.receive(&[&good, &path]);
        assert_eq!((ran.code, ran.out.as_str()), (1, ""), "{path}");
        assert!(ran.err.contains(says), "{path}: {}", ran.err);
        assert!(ran.err.contains(&path), "{path}: {}", ran.err);
        assert_eq!(desk.n_received(), 0, "{path}");
    }
    assert_eq!(desk.receive(&[]).code, 2);
    // A label is not a path, and no terminal obeys it.
    let mut bundle = page();
    bundle.session.label = "../../\u{1b}[31mup".into();
    bundle.sheet.as_mut().unwrap().label = bundle.session.label.clone();
    let zip = desk.save("label.zip", &bundle);
    let ran = desk.receive(&[&zip]);
    assert_eq!(ran.code, 0, "{}", ran.err);
    assert!(!ran.out.contains('\u{1b}'));
    assert!(
        desk.out().join("31mup/session.json").is_file(),
        "{}",
        ran.out
    );
}
