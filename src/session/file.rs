//! `session.json`: what a session folder says about its takes, `farcone-session/1`.
//!
//! The format is described in `docs/session.md`. Here it is text; a folder on disk is an adapter's business.

pub(super) mod devices;
mod error;
pub(super) mod json;
mod one_input;
pub(super) mod stated;

use std::path::PathBuf;

use super::{Condition, Cone, Devices, JigInput, Photo, Session, SessionTake, TakeLevel};
use crate::air::AirInput;
use crate::fit::Choice;
use crate::quantity::Stated;
use crate::recording::ChannelPick;
use crate::sheet::Dimensions;
use crate::signal::Period;

pub use error::SessionFileError;
pub use stated::{read_stated, stated_json};

/// The format's name and version, the value of `schema`.
pub const SESSION_SCHEMA: &str = "farcone-session/1";

/// The file's name in a session folder.
pub const SESSION_FILE_NAME: &str = "session.json";

/// One take as the file describes it.
#[derive(Clone, Debug, PartialEq)]
pub struct TakeFile {
    /// Unique name in the session, for example `free-air-1`.
    pub name: String,
    /// Condition, with what was stated about it.
    pub condition: Condition,
    /// One WAV file or one impedance table, or the two mono files of one recording, source first.
    pub files: Vec<PathBuf>,
    /// Which channels of the file are source and driver; `None`: the first and the second.
    pub channels: Option<ChannelPick>,
    /// The signal's period, where one input heard both nodes in turn; `None` for two inputs. Of a file with several channels
    /// the source's is used.
    pub one_input: Option<Period>,
    /// SHA-256 of each file as lower-case hexadecimal; empty if nobody took it.
    pub sha256: Vec<String>,
    /// Whether the driver had been taken out and put back before this take.
    pub remounted: bool,
    /// How loud it was played; `None` if nobody noted it.
    pub level: Option<TakeLevel>,
    /// Made to compare levels with, and left out of the parameters.
    pub aside: bool,
}

impl TakeFile {
    /// A take of which only the condition and the files are known.
    pub fn new(name: impl Into<String>, condition: Condition, files: Vec<PathBuf>) -> Self {
        Self {
            name: name.into(),
            condition,
            files,
            channels: None,
            one_input: None,
            sha256: vec![],
            remounted: false,
            level: None,
            aside: false,
        }
    }
}

/// A session without its samples: [`Session`] as it is typed or stored.
#[derive(Clone, Debug, PartialEq)]
pub struct SessionFile {
    /// What somebody calls the driver.
    pub label: String,
    /// The jig; `None` if all takes are tables.
    pub jig: Option<JigInput>,
    /// The sound card that plays and records; `None` if the takes came from elsewhere.
    pub devices: Option<Devices>,
    /// Peak volts at full scale of the source's input; `None` if nobody measured it.
    pub source_full_scale_v: Option<Stated>,
    /// Whether a power amplifier is between output and jig.
    pub amplifier: bool,
    /// The air.
    pub air: AirInput,
    /// The cone; `None` if nobody measured it.
    pub cone: Option<Cone>,
    /// DC resistance read from a meter, ohm.
    pub meter_re_ohm: Option<Stated>,
    /// Mounting dimensions; empty if nobody measured any.
    pub dimensions: Dimensions,
    /// Photos that belong to it.
    pub photos: Vec<Photo>,
    /// Lowest and highest frequency to use, Hz.
    pub band_hz: (f64, f64),
    /// Which circuits to try.
    pub choice: Choice,
    /// Monte Carlo draws.
    pub n_draws: usize,
    /// Seed of the draws.
    pub seed: u64,
    /// The takes.
    pub takes: Vec<TakeFile>,
}

impl SessionFile {
    /// A session of which only the label and the takes are known; everything else is absent or at its default.
    pub fn new(label: impl Into<String>, takes: Vec<TakeFile>) -> Self {
        Self {
            label: label.into(),
            jig: None,
            devices: None,
            source_full_scale_v: None,
            amplifier: false,
            air: AirInput::default(),
            cone: None,
            meter_re_ohm: None,
            dimensions: Dimensions::default(),
            photos: vec![],
            band_hz: Session::DEFAULT_BAND_HZ,
            choice: Choice::default(),
            n_draws: Session::DEFAULT_DRAWS,
            seed: 0,
            takes,
        }
    }

    /// The session with the takes' samples, which somebody has read in the order of [`SessionFile::takes`].
    pub fn with_data(self, takes: Vec<SessionTake>) -> Session {
        Session {
            label: self.label,
            jig: self.jig,
            air: self.air,
            cone: self.cone,
            meter_re_ohm: self.meter_re_ohm,
            dimensions: self.dimensions,
            photos: self.photos,
            band_hz: self.band_hz,
            choice: self.choice,
            n_draws: self.n_draws,
            seed: self.seed,
            played: None,
            takes,
        }
    }

    /// Reads `session.json`.
    ///
    /// # Errors
    /// See [`SessionFileError`]. A file outside the folder (an absolute path, or one with `..`) is one of them.
    pub fn from_json(text: &str) -> Result<Self, SessionFileError> {
        json::read(text)
    }

    /// The text of `session.json`, with a line end at the end.
    ///
    /// # Errors
    /// [`SessionFileError::Malformed`] for a path that is not UTF-8.
    pub fn to_json(&self) -> Result<String, SessionFileError> {
        json::write(self)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::air::PressureInput;
    use crate::circuit::CoilFamily;
    use crate::jig::Wiring;
    use crate::quantity::Spread;

    fn full() -> SessionFile {
        let take = |name: &str, condition| TakeFile {
            sha256: vec!["00ff".repeat(16)],
            ..TakeFile::new(name, condition, vec![format!("takes/{name}.wav").into()])
        };
        let mut takes = vec![
            take("free-air-1", Condition::FreeAir),
            take(
                "added-mass-1",
                Condition::AddedMass {
                    mass_kg: Stated::within(0.0052, 0.000_05),
                },
            ),
            take(
                "test-box-1",
                Condition::TestBox {
                    volume_m3: Stated::unstated(0.002),
                },
            ),
            take(
                "check-resistor-1",
                Condition::CheckResistor {
                    ohm: Stated {
                        value: 22.0,
                        spread: Spread::Standard(0.1),
                    },
                },
            ),
            take("same-node-1", Condition::SameNode),
            take("shorted-leads-1", Condition::ShortedLeads),
            take("open-leads-1", Condition::OpenLeads),
        ];
        takes[0].channels = ChannelPick::from_numbers(3, 1).ok();
        takes[1].remounted = true;
        takes[1].level = Some(TakeLevel {
            playback_dbfs: -31.5,
            driver_peak_v: Some(0.05),
        });
        takes[0].level = Some(TakeLevel {
            playback_dbfs: -25.5,
            driver_peak_v: None,
        });
        takes[0].aside = true;
        takes[4].one_input = Some(Period {
            frames: 67_200,
            sample_rate_hz: 48_000,
        });
        takes[2].files.push("takes/second.wav".into());
        takes[2].sha256.clear();
        SessionFile {
            jig: Some(JigInput {
                wiring: Wiring::AcrossResistor,
                sense_ohm: Stated::within(1.0, 0.01),
                lead_ohm: Some(Stated::within(0.05, 0.01)),
                input_load_ohm: [None, Some(Stated::unstated(1e4))],
                swap_channels: true,
            }),
            devices: Some(Devices {
                host: "alsa".into(),
                output: "hw:1,0".into(),
                input: "hw:1,0".into(),
                sample_rate_hz: 48_000,
                channels: ChannelPick::from_numbers(2, 1).ok(),
            }),
            source_full_scale_v: Some(Stated::within(1.8, 0.02)),
            amplifier: true,
            air: AirInput {
                temperature_k: Some(Stated::within(296.15, 1.0)),
                pressure: Some(PressureInput::Altitude(Stated::unstated(-3.0))),
                relative_humidity: Some(Stated::within(0.45, 0.05)),
            },
            cone: Some(Cone::Diameter(Stated::within(0.078, 0.001))),
            meter_re_ohm: Some(Stated::unstated(5.9)),
            dimensions: Dimensions {
                flange_m: Some(0.118),
                n_screws: Some(4),
                ..Dimensions::default()
            },
            photos: vec![Photo {
                of: "wiring".into(),
                file: "photos/wiring.jpg".into(),
                sha256: Some("00ff".repeat(16)),
            }],
            band_hz: (6.0, 15_000.0),
            choice: Choice {
                coils: vec![CoilFamily::Lr2, CoilFamily::SemiInductor],
                creep: false,
            },
            n_draws: 20_000,
            seed: u64::MAX,
            ..SessionFile::new("Tidepool 3 \"spare\"", takes)
        }
    }

    #[test]
    fn everything_survives_writing_and_reading() {
        let file = full();
        assert_eq!(
            SessionFile::from_json(&file.to_json().unwrap()).unwrap(),
            file
        );
        let other = SessionFile {
            air: AirInput {
                pressure: Some(PressureInput::Pressure(Stated::within(101_300.0, 200.0))),
                ..AirInput::default()
            },
            cone: Some(Cone::Area(Stated::unstated(48e-4))),
            ..SessionFile::new("", vec![])
        };
        assert_eq!(
            SessionFile::from_json(&other.to_json().unwrap()).unwrap(),
            other
        );
    }

    #[test]
    fn little_needs_to_be_written_by_hand() {
        let text = r#"{"schema": "farcone-session/1", "label": "x", "takes": [
            {"name": "a", "condition": "free-air", "files": ["a.csv"]}]}"#;
        let file = SessionFile::from_json(text).unwrap();
        assert_eq!(file, SessionFile::new("x", file.takes.clone()));
        assert_eq!(file.takes[0].files, [PathBuf::from("a.csv")]);
    }

    /// The text of a whole session with one thing changed, and the error that reading it gives.
    fn error_after(from: &str, to: &str) -> String {
        let text = full().to_json().unwrap();
        assert!(text.contains(from), "{from} is not in {text}");
        SessionFile::from_json(&text.replacen(from, to, 1))
            .unwrap_err()
            .to_string()
    }

    #[test]
    fn what_is_wrong_is_named() {
        for (from, to, named) in [
            (
                "farcone-session/1",
                "farcone-session/9",
                "farcone-session/9",
            ),
            ("\"across-resistor\"", "\"sideways\"", "sideways"),
            ("\"free-air\"", "\"free-beer\"", "free-beer"),
            ("\"lr-2\"", "\"lr-7\"", "lr-7"),
            ("\"kg\"", "\"g\"", "added-mass-1"),
            ("0.0052", "-0.0052", "added-mass-1"),
            ("\"mass\"", "\"volume\"", "added-mass-1"),
            ("\"half_width\": 0.01", "\"half_width\": 0.0", "sense"),
            (
                "takes/free-air-1.wav",
                "../free-air-1.wav",
                "../free-air-1.wav",
            ),
            (
                "takes/free-air-1.wav",
                "/etc/free-air-1.wav",
                "/etc/free-air-1.wav",
            ),
            ("\"label\"", "\"lable\"", "lable"),
            ("67200", "0", "same-node-1"),
            (
                "takes/same-node-1.wav\"",
                "takes/same-node-1.wav\", \"takes/other.wav\"",
                "one file",
            ),
            ("\"seed\": 18446744073709551615", "\"seed\": -1", "-1"),
        ] {
            let error = error_after(from, to);
            assert!(error.contains(named), "{from} → {to}: {error}");
        }
    }

    #[test]
    fn a_spread_is_stated_once() {
        let error = error_after(
            "\"half_width\": 0.01",
            "\"standard_uncertainty\": 0.01, \"half_width\": 0.01",
        );
        assert!(error.contains("sense"), "{error}");
    }
}
