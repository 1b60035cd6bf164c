//! Profiles on disk: what is written, what is found again, what is refused.

use super::*;
use farcone::finding::Code;
use farcone::jig::Wiring;
use farcone::progress::Unwatched;
use farcone::quantity::Stated;
use farcone::session::{Day, JigInput, SessionFile, profile_findings};

fn take(level: f32) -> Take {
    let samples: Vec<f32> = (0..200).map(|i| level * (0.1 * i as f32).sin()).collect();
    Take::new(48_000, samples.clone(), samples).unwrap()
}

fn profile(name: &str, takes: Vec<TakeFile>) -> JigProfile {
    JigProfile {
        name: name.into(),
        made: Day::parse("2026-03-01").unwrap(),
        jig: JigInput {
            wiring: Wiring::AcrossDriver,
            sense_ohm: Stated::within(47.0, 0.1),
            lead_ohm: None,
            input_load_ohm: [None, None],
            swap_channels: false,
        },
        devices: None,
        input_full_scale_v: [None, None],
        amplifier: false,
        takes,
        check: None,
    }
}

const CHECK: Condition = Condition::CheckResistor {
    ohm: Stated::within(22.0, 0.1),
};

/// A profile of this name with two takes, in the folder.
fn written(folder: &Path, name: &str) -> (PathBuf, JigProfile) {
    let path = path_in(folder, name);
    let mut new = NewProfile::create(&path).unwrap();
    let takes = vec![
        new.add_take("same-node", Condition::SameNode, &take(0.5))
            .unwrap(),
        new.add_take("check", CHECK, &take(0.25)).unwrap(),
    ];
    let profile = profile(name, takes);
    assert_eq!(new.finish(&profile).unwrap(), path);
    (path, profile)
}

/// Names in a folder, in order.
fn names(folder: &Path) -> Vec<String> {
    let mut names: Vec<String> = fs::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .collect();
    names.sort();
    names
}

/// A session folder's place for takes.
fn session(folder: &Path) -> PathBuf {
    let session = folder.join("session");
    fs::create_dir_all(session.join("takes")).unwrap();
    session
}

#[test]
fn a_profile_is_found_again_with_its_takes() {
    let folder = tempfile::tempdir().unwrap();
    // In a folder that does not exist yet.
    let jigs = folder.path().join("deep/jigs");
    let (path, profile) = written(&jigs, "desk");
    assert_eq!(names(&jigs), ["desk.jig.json", "desk.takes"]);
    assert_eq!(
        names(&jigs.join("desk.takes")),
        ["check.wav", "same-node.wav"]
    );
    assert_eq!(read_profile(&path).unwrap(), profile);
    assert_eq!(
        profile_findings(&profile, profile.made)[0].code,
        Code::JigUnchecked
    );
    // Without takes there is no folder for them.
    let bare = path_in(&jigs, "bare");
    let new = NewProfile::create(&bare).unwrap();
    new.finish(&self::profile("bare", vec![])).unwrap();
    assert_eq!(
        names(&jigs),
        ["bare.jig.json", "desk.jig.json", "desk.takes"]
    );
    // Both parts may get another name.
    fs::rename(&path, path_in(&jigs, "table")).unwrap();
    fs::rename(jigs.join("desk.takes"), jigs.join("table.takes")).unwrap();
    let copies = copy_calibration(
        &path_in(&jigs, "table"),
        &profile,
        &session(folder.path()),
        &[],
    );
    assert_eq!(copies.unwrap().len(), 2);
}

#[test]
fn what_is_not_finished_leaves_nothing_behind() {
    let folder = tempfile::tempdir().unwrap();
    let path = path_in(folder.path(), "desk");
    let mut new = NewProfile::create(&path).unwrap();
    let take_file = new
        .add_take("same-node", Condition::SameNode, &take(0.5))
        .unwrap();
    drop(new);
    assert_eq!(names(folder.path()), [""; 0]);
    // A profile that could not be read again is not written either.
    let mut new = NewProfile::create(&path).unwrap();
    new.add_take("same-node", Condition::SameNode, &take(0.5))
        .unwrap();
    let driver = TakeFile {
        condition: Condition::FreeAir,
        ..take_file
    };
    assert!(matches!(
        new.finish(&profile("desk", vec![driver])),
        Err(StoreError::Profile { .. })
    ));
    assert_eq!(names(folder.path()), [""; 0]);
}

#[test]
fn nothing_is_ever_overwritten() {
    let folder = tempfile::tempdir().unwrap();
    let (path, profile) = written(folder.path(), "desk");
    assert!(matches!(
        NewProfile::create(&path),
        Err(StoreError::Exists { .. })
    ));
    // Takes that somebody left without their profile are nobody's to replace.
    fs::remove_file(&path).unwrap();
    assert!(matches!(
        NewProfile::create(&path),
        Err(StoreError::TakesExist { .. })
    ));
    // What appears while a profile is being made stays too, and no folder of takes is left beside it.
    let other = path_in(folder.path(), "other");
    let mut new = NewProfile::create(&other).unwrap();
    new.add_take("same-node", Condition::SameNode, &take(0.5))
        .unwrap();
    assert!(matches!(
        new.add_take("same-node", Condition::SameNode, &take(0.1)),
        Err(StoreError::Exists { .. })
    ));
    fs::write(&other, "somebody else's").unwrap();
    assert!(matches!(
        new.finish(&profile),
        Err(StoreError::Exists { .. })
    ));
    assert_eq!(fs::read_to_string(&other).unwrap(), "somebody else's");
    assert_eq!(names(folder.path()), ["desk.takes", "other.jig.json"]);
}

#[test]
fn a_session_gets_copies_under_its_own_names() {
    let folder = tempfile::tempdir().unwrap();
    let (path, profile) = written(folder.path(), "desk");
    let session = session(folder.path());
    let there = TakeFile {
        name: "same-node-1".into(),
        files: vec!["takes/same-node-1.wav".into()],
        ..profile.takes[0].clone()
    };
    let copies = copy_calibration(&path, &profile, &session, &[there]).unwrap();
    let described: Vec<_> = copies
        .iter()
        .map(|copy| (copy.name.as_str(), copy.files[0].to_str().unwrap()))
        .collect();
    assert_eq!(
        described,
        [
            ("same-node-2", "takes/same-node-2.wav"),
            ("check-resistor-1", "takes/check-resistor-1.wav")
        ]
    );
    assert_eq!(copies[1].condition, CHECK);
    // The session's own reader takes them, hashes included.
    let file = SessionFile::new("x", copies.clone());
    let loaded = crate::store::load(file, &session, &mut Unwatched).unwrap();
    assert_eq!(loaded.takes[1].sha256, copies[1].sha256);
    // Never over something else.
    assert!(matches!(
        copy_calibration(&path, &profile, &session, &copies[..1]),
        Err(StoreError::Exists { .. })
    ));
}

#[test]
fn changed_and_missing_takes_are_noticed_before_anything_is_copied() {
    let folder = tempfile::tempdir().unwrap();
    let (path, profile) = written(folder.path(), "desk");
    let session = session(folder.path());
    let wav = folder.path().join("desk.takes/check.wav");
    let mut bytes = fs::read(&wav).unwrap();
    *bytes.last_mut().unwrap() ^= 1;
    fs::write(&wav, &bytes).unwrap();
    let error = copy_calibration(&path, &profile, &session, &[]).unwrap_err();
    assert!(matches!(error, StoreError::CalibrationChanged { .. }));
    assert!(error.to_string().contains("check.wav"), "{error}");
    fs::remove_file(&wav).unwrap();
    let error = copy_calibration(&path, &profile, &session, &[]).unwrap_err();
    assert!(matches!(error, StoreError::Open { .. }));
    assert!(error.to_string().contains("check.wav"), "{error}");
    assert_eq!(names(&session.join("takes")), [""; 0]);
    // A file that changes between the two looks.
    let good = folder.path().join("desk.takes/same-node.wav");
    let to = session.join("takes/x.wav");
    assert!(matches!(
        copy_checked(&good, &"0".repeat(64), &to),
        Err(StoreError::CalibrationChanged { .. })
    ));
    assert_eq!(names(&session.join("takes")), [""; 0]);
}

#[test]
fn profiles_that_are_not_there_or_not_readable_are_named() {
    let folder = tempfile::tempdir().unwrap();
    let path = path_in(folder.path(), "desk");
    let error = read_profile(&path).unwrap_err();
    assert!(matches!(error, StoreError::NoProfile { .. }));
    assert!(error.to_string().contains("desk.jig.json"), "{error}");
    fs::write(&path, "{}").unwrap();
    let error = read_profile(&path).unwrap_err();
    assert!(matches!(error, StoreError::Profile { .. }));
    assert!(error.to_string().contains("desk.jig.json"), "{error}");
}

#[test]
fn the_list_has_the_good_and_the_bad() {
    let folder = tempfile::tempdir().unwrap();
    assert!(list_in(&folder.path().join("none")).unwrap().is_empty());
    let (_, first) = written(folder.path(), "b");
    fs::write(path_in(folder.path(), "a"), "no JSON").unwrap();
    fs::write(path_in(folder.path(), "CON"), "{}").unwrap();
    fs::write(folder.path().join("notes.txt"), "").unwrap();
    let list = list_in(folder.path()).unwrap();
    let names: Vec<&str> = list.iter().map(|listed| listed.name.as_str()).collect();
    assert_eq!(names, ["a", "b"]);
    assert!(list[0].profile.is_err());
    assert_eq!(list[1].profile.as_ref().unwrap(), &first);
    assert_eq!(list[1].path, path_in(folder.path(), "b"));
}

#[test]
fn names_become_places() {
    let jigs = jigs_folder().unwrap();
    assert!(jigs.ends_with("farcone/jigs"), "{}", jigs.display());
    for name in ["desk", "Bench-2", "große_Kiste", "v1.2", "driver-jig"] {
        assert_eq!(
            profile_path(name).unwrap(),
            jigs.join(format!("{name}.jig.json"))
        );
    }
    for (path, place) in [
        ("desk.jig.json", "desk.jig.json"),
        ("./desk", "./desk.jig.json"),
        ("/tmp/x/desk.jig.json", "/tmp/x/desk.jig.json"),
        ("../desk", "../desk.jig.json"),
    ] {
        assert_eq!(profile_path(path).unwrap(), PathBuf::from(place));
    }
    assert_eq!(
        takes_folder(Path::new("a/desk.v2.jig.json")),
        PathBuf::from("a/desk.v2.takes")
    );
}

#[test]
fn hostile_names_are_refused_with_a_better_one() {
    for (name, instead) in [
        ("", "my-jig"),
        (".", "my-jig"),
        ("..", "my-jig"),
        ("../", "my-jig"),
        ("x/..", "my-jig"),
        (".jig.json", "my-jig"),
        ("x/.jig.json", "my-jig"),
        ("...", "my-jig"),
        ("-rf", "rf"),
        (".hidden", "hidden"),
        ("con", "jig-con"),
        ("LPT1.x", "jig-LPT1.x"),
        ("a:b", "a-b"),
        ("my desk", "my-desk"),
        ("a\nb\u{1b}[2J", "a-b-2J"),
        ("a\0b", "a-b"),
    ] {
        match profile_path(name) {
            Err(StoreError::ProfileName { instead: found, .. }) => {
                assert_eq!(found, instead, "{name:?}");
            }
            other => panic!("{name:?}: {other:?}"),
        }
    }
    #[cfg(not(windows))]
    assert!(matches!(
        profile_path("a\\..\\b"),
        Err(StoreError::ProfileName { .. })
    ));
    assert!(profile_path(&"x".repeat(300)).is_err());
    let folder = tempfile::tempdir().unwrap();
    let path = path_in(folder.path(), "desk");
    let mut new = NewProfile::create(&path).unwrap();
    let file = new
        .add_take("../../same node", Condition::SameNode, &take(0.5))
        .unwrap();
    assert_eq!(file.files, [PathBuf::from("same-node.wav")]);
    new.finish(&profile("desk", vec![file])).unwrap();
    assert_eq!(names(&folder.path().join("desk.takes")), ["same-node.wav"]);
}
