//! Profiles as text, and what is said about them.

use super::*;
use crate::jig::Wiring;
use crate::quantity::Spread;
use crate::recording::ChannelPick;
use crate::session::Condition;

fn day(text: &str) -> Day {
    Day::parse(text).unwrap()
}

fn full() -> JigProfile {
    let take = |name: &str, condition| TakeFile {
        name: name.into(),
        condition,
        files: vec![format!("{name}.wav").into()],
        channels: None,
        one_input: None,
        sha256: vec!["00ff".repeat(16)],
        remounted: false,
        level: None,
        aside: false,
    };
    let stated_ohm = Stated {
        value: 22.0,
        spread: Spread::Standard(0.1),
    };
    JigProfile {
        name: "Desk \"left\" ½".into(),
        made: day("2026-02-28"),
        jig: JigInput {
            wiring: Wiring::AcrossDriver,
            sense_ohm: Stated::within(47.0, 0.1),
            lead_ohm: Some(Stated::within(0.05, 0.01)),
            input_load_ohm: [None, Some(Stated::unstated(1e4))],
            swap_channels: true,
        },
        devices: Some(Devices {
            host: "alsa".into(),
            output: "jig_play".into(),
            input: "hw:CARD=a,DEV=0".into(),
            sample_rate_hz: 48_000,
            channels: ChannelPick::from_numbers(3, 1).ok(),
        }),
        input_full_scale_v: [Some(Stated::within(1.37, 0.02)), None],
        amplifier: true,
        takes: vec![
            take("same-node-1", Condition::SameNode),
            take(
                "check-resistor-1",
                Condition::CheckResistor { ohm: stated_ohm },
            ),
            take("shorted-leads-1", Condition::ShortedLeads),
            take("open-leads-1", Condition::OpenLeads),
        ],
        check: Some(CheckResult {
            stated_ohm,
            read_ohm: Stated {
                value: 22.013,
                spread: Spread::Standard(0.004),
            },
            passed: true,
        }),
    }
}

#[test]
fn everything_survives_writing_and_reading() {
    let profile = full();
    let text = profile.to_json().unwrap();
    assert_eq!(JigProfile::from_json(&text).unwrap(), profile);
    let little = r#"{"schema": "farcone-jig/1", "name": "x", "made": "2026-01-31",
        "jig": {"wiring": "across-resistor", "sense": {"value": 1.0, "unit": "Ohm"}}}"#;
    let profile = JigProfile::from_json(little).unwrap();
    assert_eq!(profile.jig.sense_ohm, Stated::unstated(1.0));
    assert_eq!(
        (&profile.devices, profile.amplifier, &profile.check),
        (&None, false, &None)
    );
    assert_eq!(profile.input_full_scale_v, [None, None]);
    assert_eq!(
        JigProfile::from_json(&profile.to_json().unwrap()).unwrap(),
        profile
    );
}

#[test]
fn what_is_wrong_is_named() {
    let text = full().to_json().unwrap();
    let hash = "00ff".repeat(16);
    for (from, to, named) in [
        ("farcone-jig/1", "farcone-jig/2", "farcone-jig/2"),
        ("farcone-jig/1", "farcone-session/1", "farcone-session/1"),
        ("\"made\"", "\"mode\"", "mode"),
        ("\"host\"", "\"hots\"", "hots"),
        ("\"passed\"", "\"past\"", "past"),
        ("\"wiring\"", "\"wirring\"", "wirring"),
        ("2026-02-28", "2026-02-30", "2026-02-30"),
        ("\"across-driver\"", "\"sideways\"", "sideways"),
        ("1.37", "-1.37", "source's input"),
        ("\"V\"", "\"mV\"", "mV"),
        ("48000", "0", "sample rate"),
        ("\"same-node\"", "\"free-air\"", "free-air"),
        ("\"same-node-1.wav\"", "\"../x.wav\"", "../x.wav"),
        ("\"same-node-1.wav\"", "\"/etc/x.wav\"", "/etc/x.wav"),
        ("\"same-node-1.wav\"", "\"sub/x.wav\"", "sub/x.wav"),
        ("\"same-node-1.wav\"", "\"..\\\\x.wav\"", "x.wav"),
        ("\"same-node-1.wav\"", "\".\"", "same-node-1"),
        ("\"same-node-1.wav\"", "\"\"", "same-node-1"),
        ("\"same-node-1.wav\"", "\"a.wav\", \"b.wav\"", "same-node-1"),
        (hash.as_str(), "00FF", "sha256"),
        (hash.as_str(), "", "sha256"),
    ] {
        assert!(text.contains(from), "{from} is not in {text}");
        let error = JigProfile::from_json(&text.replacen(from, to, 1)).unwrap_err();
        assert!(error.to_string().contains(named), "{from} → {to}: {error}");
    }
    // Every level refuses what it does not know.
    for object in text.match_indices('{').map(|(at, _)| at + 1) {
        let mut more = text.clone();
        more.insert_str(object, "\"unheard_of\": 1, ");
        let error = JigProfile::from_json(&more).unwrap_err().to_string();
        assert!(error.contains("unheard_of"), "{error}\n{more}");
    }
}

#[test]
fn what_could_not_be_read_is_not_written() {
    let mut profile = full();
    profile.takes[1].sha256.clear();
    assert!(matches!(profile.to_json(), Err(ProfileError::Hash { .. })));
    profile = full();
    profile.takes[0].condition = Condition::FreeAir;
    assert!(matches!(
        profile.to_json(),
        Err(ProfileError::NotCalibration { .. })
    ));
    profile = full();
    profile.takes[0].files = vec!["a/b.wav".into()];
    assert!(matches!(
        profile.to_json(),
        Err(ProfileError::Outside { .. })
    ));
}

#[test]
fn age_and_check_are_told() {
    let mut profile = full();
    profile.made = day("2026-01-01");
    let codes = |profile: &JigProfile, today: &str| {
        profile_findings(profile, day(today))
            .into_iter()
            .map(|finding| (finding.code, finding.severity))
            .collect::<Vec<_>>()
    };
    let old = (Code::JigOld, Severity::Caution);
    // 1 January + 90 days: 1 April.
    assert_eq!(codes(&profile, "2026-01-01"), []);
    assert_eq!(codes(&profile, "2026-04-01"), []);
    assert_eq!(codes(&profile, "2026-04-02"), [old]);
    assert_eq!(codes(&profile, "2025-12-31"), [old]);
    profile.check = None;
    assert_eq!(
        codes(&profile, "2026-01-02"),
        [(Code::JigUnchecked, Severity::Note)]
    );
    profile = full();
    profile.check.as_mut().unwrap().passed = false;
    assert_eq!(
        codes(&profile, "2027-01-02"),
        [old, (Code::JigCheckFailed, Severity::Caution)]
    );
}
