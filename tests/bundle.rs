//! Bundles: what is written is read back, and whatever is done to the bytes on the way is noticed.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    reason = "a test fails by panicking"
)]

use std::collections::BTreeMap;
use std::io::{Cursor, Write};
use std::path::PathBuf;

use farcone::bundle::{self, Bundle, BundleError, LogEntry, MOST_BYTES, read, unpack};
use farcone::recording::{WavFormat, write_wav};
use farcone::session::{Condition, Photo, SessionFile, TakeFile, sha256_hex};
use proptest::prelude::*;
use zip::write::SimpleFileOptions;
use zip::{CompressionMethod, ZipArchive, ZipWriter};

fn hash(bytes: &[u8]) -> String {
    sha256_hex(&mut &bytes[..]).unwrap()
}

fn wav(n_frames: usize) -> Vec<u8> {
    let source: Vec<f32> = (0..n_frames).map(|i| (i % 7) as f32 / 16.0).collect();
    let driver: Vec<f32> = source.iter().map(|x| 0.5 * x).collect();
    let mut bytes = Cursor::new(vec![]);
    write_wav(&mut bytes, 48_000, &[&source, &driver], WavFormat::Pcm24).unwrap();
    bytes.into_inner()
}

/// A small bundle with everything in it.
fn bundle() -> Bundle {
    let files = BTreeMap::from([
        ("takes/free-air-1.wav".to_owned(), wav(20)),
        ("takes/free-air-2.wav".to_owned(), wav(21)),
        ("photos/wiring.jpg".to_owned(), vec![0xFF, 0xD8, 0xFF, 0]),
    ]);
    let take = |name: &str| {
        let file = format!("takes/{name}.wav");
        TakeFile {
            sha256: vec![hash(&files[&file])],
            ..TakeFile::new(name, Condition::FreeAir, vec![PathBuf::from(file)])
        }
    };
    let mut session = SessionFile::new("left unit", vec![take("free-air-1"), take("free-air-2")]);
    session.photos = vec![Photo {
        of: "wiring".into(),
        file: "photos/wiring.jpg".into(),
        sha256: Some(hash(&files["photos/wiring.jpg"])),
    }];
    Bundle {
        kit: "K-0000ab12".into(),
        driver: 1,
        version: "0.1.0".into(),
        browser: Some(serde_json::json!({"agent": "x", "checks": [1.5, null]})),
        log: vec![LogEntry {
            at_s: 12.5,
            what: "free-air-1 recorded".into(),
        }],
        session,
        sheet: None,
        files,
    }
}

/// The entries of a ZIP file in their order.
fn entries(zip: &[u8]) -> Vec<(String, Vec<u8>)> {
    let mut archive = ZipArchive::new(Cursor::new(zip)).unwrap();
    (0..archive.len())
        .map(|i| {
            let mut entry = archive.by_index(i).unwrap();
            let mut content = vec![];
            std::io::Read::read_to_end(&mut entry, &mut content).unwrap();
            (entry.name().unwrap().into_owned(), content)
        })
        .collect()
}

/// A ZIP file of any entries, stored.
fn zip_of(entries: &[(String, Vec<u8>)]) -> Vec<u8> {
    let options = SimpleFileOptions::default().compression_method(CompressionMethod::Stored);
    let mut zip = ZipWriter::new(Cursor::new(vec![]));
    for (name, content) in entries {
        zip.start_file(name.as_str(), options).unwrap();
        zip.write_all(content).unwrap();
    }
    zip.finish().unwrap().into_inner()
}

fn crc32(bytes: &[u8]) -> u32 {
    !bytes.iter().fold(!0_u32, |mut crc, byte| {
        crc ^= u32::from(*byte);
        for _ in 0..8 {
            crc = (crc >> 1) ^ (0xEDB8_8320 & (crc & 1).wrapping_neg());
        }
        crc
    })
}

/// A ZIP file written by hand, for what no writer of ZIP files writes: (name, content, method, size that it states).
fn zip_by_hand(entries: &[(&[u8], &[u8], u16, u32)]) -> Vec<u8> {
    let (mut zip, mut directory) = (vec![], vec![]);
    for (name, content, method, stated) in entries {
        let mut fields = vec![];
        for word in [20_u16, 0, *method, 0, 0x21] {
            fields.extend(word.to_le_bytes());
        }
        fields.extend(crc32(content).to_le_bytes());
        fields.extend((content.len() as u32).to_le_bytes());
        fields.extend(stated.to_le_bytes());
        fields.extend((name.len() as u16).to_le_bytes());
        fields.extend(0_u16.to_le_bytes());
        let offset = zip.len() as u32;
        zip.extend(b"PK\x03\x04");
        zip.extend(&fields);
        zip.extend(*name);
        zip.extend(*content);
        directory.extend(b"PK\x01\x02\x14\x00");
        directory.extend(&fields);
        directory.extend([0; 10]);
        directory.extend(offset.to_le_bytes());
        directory.extend(*name);
    }
    let n = entries.len() as u16;
    let at = zip.len() as u32;
    zip.extend(&directory);
    zip.extend(b"PK\x05\x06\0\0\0\0");
    zip.extend(n.to_le_bytes());
    zip.extend(n.to_le_bytes());
    zip.extend((directory.len() as u32).to_le_bytes());
    zip.extend(at.to_le_bytes());
    zip.extend([0, 0]);
    zip
}

fn by_hand(entries: &[(String, Vec<u8>)]) -> Vec<u8> {
    let entries: Vec<(&[u8], &[u8], u16, u32)> = entries
        .iter()
        .map(|(name, content)| (name.as_bytes(), content.as_slice(), 0, content.len() as u32))
        .collect();
    zip_by_hand(&entries)
}

#[test]
fn what_is_written_is_read_back() {
    let bundle = bundle();
    let zip = bundle::write(&bundle).unwrap();
    assert_eq!(read(&zip).unwrap(), bundle);
    assert_eq!(bundle::write(&bundle).unwrap(), zip, "equal bytes");
    let names: Vec<String> = entries(&zip).into_iter().map(|entry| entry.0).collect();
    assert_eq!(
        names,
        [
            "bundle.json",
            "session.json",
            "takes/free-air-1.wav",
            "takes/free-air-2.wav",
            "photos/wiring.jpg"
        ]
    );
    // The texts stay as they are, and a manifest by hand is as good.
    let spaced: Vec<_> = entries(&zip)
        .into_iter()
        .map(|(name, mut content)| {
            if name == "bundle.json" {
                content.extend(b"\n\n");
            }
            (name, content)
        })
        .collect();
    for zip in [zip_of(&spaced), by_hand(&spaced)] {
        let unpacked = unpack(&zip).unwrap();
        assert_eq!(unpacked.bundle, bundle);
        assert!(unpacked.texts.manifest.ends_with("}\n\n\n"));
    }
}

#[test]
fn any_changed_byte_is_an_error_or_changes_nothing() {
    let bundle = bundle();
    let zip = bundle::write(&bundle).unwrap();
    let mut n_harmless = 0;
    for at in 0..zip.len() {
        for bits in [0x01, 0x80, 0xFF] {
            let mut spoiled = zip.clone();
            spoiled[at] ^= bits;
            if let Ok(read) = read(&spoiled) {
                assert_eq!(read, bundle, "byte {at} xor {bits:#x}");
                n_harmless += 1;
            }
        }
    }
    // Times, permissions and the like are in nobody's way; content is most of the file.
    assert!(
        n_harmless < 3 * zip.len() / 4,
        "{n_harmless} of {}",
        zip.len()
    );
}

#[test]
fn what_is_cut_off_is_an_error() {
    let zip = bundle::write(&bundle()).unwrap();
    for n in 0..zip.len() {
        let error = read(&zip[..n]).expect_err("cut off");
        if n > 4 {
            let said = error.to_string();
            assert!(said.contains("sent again"), "{n}: {said}");
        }
    }
}

/// What reading a bundle says after its entries were changed.
fn spoiled(change: impl FnOnce(&mut Vec<(String, Vec<u8>)>)) -> BundleError {
    let mut entries = entries(&bundle::write(&bundle()).unwrap());
    change(&mut entries);
    // By hand, since the writer refuses some of it.
    read(&by_hand(&entries)).expect_err("spoiled")
}

fn replaced(entries: &mut [(String, Vec<u8>)], file: &str, from: &str, to: &str) {
    let entry = entries.iter_mut().find(|entry| entry.0 == file).unwrap();
    let text = String::from_utf8(entry.1.clone()).unwrap();
    assert!(text.contains(from), "{from} is not in {file}");
    entry.1 = text.replace(from, to).into_bytes();
}

/// Changes a file, and notes the change in the manifest as whoever wants to deceive would.
fn forged(entries: &mut [(String, Vec<u8>)], file: &str, from: &str, to: &str) {
    let before = entries
        .iter()
        .find(|entry| entry.0 == file)
        .unwrap()
        .1
        .clone();
    replaced(entries, file, from, to);
    let after = entries
        .iter()
        .find(|entry| entry.0 == file)
        .unwrap()
        .1
        .clone();
    replaced(entries, "bundle.json", &hash(&before), &hash(&after));
    replaced(
        entries,
        "bundle.json",
        &format!("\"n_bytes\": {}\n", before.len()),
        &format!("\"n_bytes\": {}\n", after.len()),
    );
}

#[test]
fn names_that_lead_elsewhere_are_refused() {
    for name in [
        "../evil.wav",
        "takes/../../evil.wav",
        "/etc/evil",
        "C:\\evil.wav",
        "takes\\evil.wav",
        "takes/deep/evil.wav",
        "my bundle/session.json",
        "__MACOSX/takes/._a.wav",
        "takes/",
        "takes/.hidden",
        "takes/nul",
        "notes.txt",
        "Session.json",
        "\u{1b}[31mred",
    ] {
        let error = spoiled(|entries| entries.push((name.to_owned(), b"x".to_vec())));
        assert!(
            matches!(&error, BundleError::Name { .. }),
            "{name}: {error}"
        );
        assert!(!error.to_string().contains('\u{1b}'));
    }
    let good = entries(&bundle::write(&bundle()).unwrap());
    let mut listed: Vec<(&[u8], &[u8], u16, u32)> = good
        .iter()
        .map(|(name, content)| (name.as_bytes(), content.as_slice(), 0, content.len() as u32))
        .collect();
    listed.push((b"takes/\xFF\xFE.wav", b"x", 0, 1));
    let error = read(&zip_by_hand(&listed)).unwrap_err();
    assert!(matches!(error, BundleError::Name { .. }), "{error}");
}

#[test]
fn every_file_is_there_once_and_as_it_was() {
    let error = spoiled(|entries| {
        entries.remove(2);
    });
    assert!(
        matches!(&error, BundleError::Missing { file } if file == "takes/free-air-1.wav"),
        "{error}"
    );
    assert!(error.to_string().contains("sent again"), "{error}");
    let error = spoiled(|entries| entries.push(("takes/new.wav".into(), vec![0])));
    assert!(matches!(&error, BundleError::Unlisted { file } if file == "takes/new.wav"));
    let error = spoiled(|entries| entries[2].1.push(0));
    assert!(matches!(&error, BundleError::Changed { what: "size", .. }));
    let error = spoiled(|entries| entries[2].1[30] ^= 1);
    assert!(
        matches!(&error, BundleError::Changed { what: "SHA-256", file } if file == "takes/free-air-1.wav")
    );
    let error = spoiled(|entries| {
        let copy = entries[2].clone();
        entries.push(copy);
    });
    assert!(matches!(&error, BundleError::Twice { file } if file == "takes/free-air-1.wav"));
    let error = spoiled(|entries| {
        entries.remove(0);
    });
    assert!(matches!(&error, BundleError::Missing { file } if file == "bundle.json"));
    for file in ["bundle.json", "session.json"] {
        let error = spoiled(|entries| {
            entries.iter_mut().find(|e| e.0 == file).unwrap().1 = vec![0xFF; 9];
        });
        let named = error.to_string().contains(file);
        assert!(named, "{file}: {error}");
    }
}

#[test]
fn what_was_noted_on_the_way_is_held_to() {
    let of = |file: &'static str, from: &'static str, to: &'static str| {
        spoiled(|entries| forged(entries, file, from, to))
    };
    let error = of(
        "session.json",
        "takes/free-air-2.wav",
        "takes/free-air-3.wav",
    );
    assert!(matches!(&error, BundleError::NotThere { what, .. } if what.contains("free-air-2")));
    let error = of("session.json", "photos/wiring.jpg", "photos/other.jpg");
    assert!(matches!(&error, BundleError::NotThere { what, .. } if what.contains("wiring")));
    let error = of("session.json", "farcone-session/1", "farcone-session/2");
    assert!(matches!(&error, BundleError::Session { .. }), "{error}");
    let error = of("session.json", "takes/free-air-2.wav", "../free-air-2.wav");
    assert!(matches!(&error, BundleError::Session { .. }), "{error}");
    let error = of("session.json", "\"draws\": 10000", "\"draws\": 99000000000");
    assert!(matches!(&error, BundleError::Value { .. }), "{error}");
    // A take swapped for another one that the manifest knows.
    let files = bundle().files;
    let first = hash(&files["takes/free-air-1.wav"]);
    let error = spoiled(|entries| {
        let second = hash(&files["takes/free-air-2.wav"]);
        forged(entries, "session.json", &first, &second);
    });
    assert!(matches!(&error, BundleError::NotRecorded { .. }), "{error}");
    for (from, to) in [
        ("farcone-bundle/1", "farcone-bundle/2"),
        ("\"driver\"", "\"pilot\""),
        ("\"driver\": 1", "\"driver\": -1"),
        ("K-0000ab12", ""),
        ("K-0000ab12", "../x"),
        ("\"farcone\"", "\"other\""),
        ("0.1.0", "\\u001b[31m"),
        ("12.5", "1e999"),
    ] {
        let error = spoiled(|entries| replaced(entries, "bundle.json", from, to));
        let fits = matches!(
            &error,
            BundleError::Version { .. } | BundleError::Malformed { .. } | BundleError::Value { .. }
        );
        assert!(fits, "{from} to {to}: {error}");
        assert!(!error.to_string().contains('\u{1b}'));
    }
}

#[test]
fn packed_again_or_blown_up_is_refused() {
    let good = entries(&bundle::write(&bundle()).unwrap());
    let with = |at: usize, method: u16, stated: Option<u32>| {
        let listed: Vec<(&[u8], &[u8], u16, u32)> = good
            .iter()
            .enumerate()
            .map(|(i, (name, content))| {
                let n = content.len() as u32;
                let (method, n) = match i == at {
                    true => (method, stated.unwrap_or(n)),
                    false => (0, n),
                };
                (name.as_bytes(), content.as_slice(), method, n)
            })
            .collect();
        read(&zip_by_hand(&listed)).expect_err("spoiled")
    };
    // Deflated, bzip2 and whatever else; nothing is unpacked to find out.
    for method in [8, 9, 12, 14, 93, 95, 99, 1234] {
        let error = with(2, method, Some(u32::MAX - 1));
        assert!(
            matches!(
                &error,
                BundleError::Repacked { .. } | BundleError::Damaged { .. }
            ),
            "{method}: {error}"
        );
    }
    assert!(matches!(with(2, 8, None), BundleError::Repacked { .. }));
    // A size that is not there.
    for stated in [1, u32::MAX - 1, u32::MAX] {
        let error = with(2, 0, Some(stated));
        assert!(matches!(error, BundleError::Damaged { .. }), "{error}");
    }
    let zeros = vec![0; MOST_BYTES + 1];
    assert!(matches!(read(&zeros), Err(BundleError::TooLarge { .. })));
    let mut many = good.clone();
    for i in 0..1100 {
        many.push((format!("takes/{i}.wav"), vec![]));
    }
    assert!(matches!(
        read(&by_hand(&many)),
        Err(BundleError::Damaged { .. })
    ));
}

#[test]
fn two_views_of_one_file_are_refused() {
    // The directory names another file, or fewer, than the front does.
    let zip = bundle::write(&bundle()).unwrap();
    let name = b"takes/free-air-2.wav";
    let last = zip.windows(name.len()).rposition(|w| w == name).unwrap();
    let mut renamed = zip.clone();
    renamed[last + 15] = b'3';
    assert!(matches!(read(&renamed), Err(BundleError::Damaged { .. })));
    // Something in front, as self-extracting files have it, and something behind.
    let mut before = b"#!/bin/sh\n".to_vec();
    before.extend(&zip);
    assert!(matches!(read(&before), Err(BundleError::NotZip)));
    let mut two = zip.clone();
    two.extend(&zip);
    assert!(read(&two).is_err());
    assert!(matches!(read(b""), Err(BundleError::NotZip)));
    assert!(matches!(read(b"<html>"), Err(BundleError::NotZip)));
    // An empty ZIP file.
    assert!(read(&by_hand(&[])).is_err());
}

#[test]
fn what_could_not_be_read_is_not_written() {
    let written = |change: &dyn Fn(&mut Bundle)| {
        let mut bundle = bundle();
        change(&mut bundle);
        bundle::write(&bundle)
    };
    assert!(matches!(
        written(&|b| drop(b.files.remove("takes/free-air-1.wav"))),
        Err(BundleError::NotThere { .. })
    ));
    assert!(matches!(
        written(&|b| drop(b.files.insert("takes/../x".into(), vec![]))),
        Err(BundleError::Name { .. })
    ));
    assert!(matches!(
        written(&|b| drop(b.files.insert("takes/FREE-air-1.wav".into(), vec![]))),
        Err(BundleError::Twice { .. })
    ));
    assert!(matches!(
        written(&|b| b.log[0].at_s = f64::NAN),
        Err(BundleError::Value { .. })
    ));
    assert!(matches!(
        written(&|b| b.kit = "a b".into()),
        Err(BundleError::Value { .. })
    ));
    assert!(matches!(
        written(&|b| drop(
            b.files
                .insert("takes/large.wav".into(), vec![0; MOST_BYTES])
        )),
        Err(BundleError::TooLarge { .. })
    ));
}

fn any_bundle() -> impl Strategy<Value = Bundle> {
    let name = "(takes|photos)/[a-z0-9]{1,2}(-[a-z0-9]{1,6})?\\.[a-z]{1,3}[0-9]?";
    let files = prop::collection::btree_map(name, prop::collection::vec(any::<u8>(), 0..300), 0..6);
    let files = files.prop_filter("Windows keeps some names", |files| {
        let kept = |file: &String| {
            let name = file.split(['/', '.']).nth(1).unwrap_or_default();
            ["con", "prn", "aux", "nul", "com", "lpt"]
                .contains(&name.trim_end_matches(|c: char| c.is_ascii_digit()))
        };
        !files.keys().any(kept)
    });
    let log = prop::collection::vec((-1e9..1e9_f64, "\\PC{0,20}"), 0..4);
    let browser = prop::option::of("\\PC{0,20}");
    (
        "K-[0-9a-f]{8}",
        any::<u64>(),
        "\\PC{0,30}",
        files,
        log,
        browser,
    )
        .prop_map(|(kit, driver, label, files, log, browser)| {
            let takes = files
                .iter()
                .filter(|(file, _)| file.starts_with("takes/"))
                .map(|(file, content)| TakeFile {
                    sha256: vec![hash(content)],
                    ..TakeFile::new(file.clone(), Condition::FreeAir, vec![file.into()])
                })
                .collect();
            Bundle {
                kit,
                driver,
                version: "0.1.0".into(),
                browser: browser.map(serde_json::Value::String),
                log: log
                    .into_iter()
                    .map(|(at_s, what)| LogEntry { at_s, what })
                    .collect(),
                session: SessionFile::new(label, takes),
                sheet: None,
                files,
            }
        })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(128))]

    #[test]
    fn any_bundle_comes_back(bundle in any_bundle()) {
        let zip = bundle::write(&bundle).unwrap();
        prop_assert_eq!(read(&zip).unwrap(), bundle);
    }

    #[test]
    fn any_damage_is_an_error_or_changes_nothing(
        bundle in any_bundle(),
        changes in prop::collection::vec((any::<prop::sample::Index>(), any::<u8>()), 1..4),
        cut in prop::option::of(any::<prop::sample::Index>()),
    ) {
        let mut zip = bundle::write(&bundle).unwrap();
        for (at, bits) in changes {
            let at = at.index(zip.len());
            zip[at] ^= bits;
        }
        if let Some(cut) = cut {
            zip.truncate(cut.index(zip.len()));
        }
        if let Ok(read) = read(&zip) {
            prop_assert_eq!(read, bundle);
        }
    }

    #[test]
    fn no_bytes_make_it_panic(bytes in prop::collection::vec(any::<u8>(), 0..400)) {
        let mut zip = b"PK\x03\x04".to_vec();
        zip.extend(&bytes);
        prop_assert!(read(&zip).is_err());
        prop_assert!(read(&bytes).is_err());
    }
}
