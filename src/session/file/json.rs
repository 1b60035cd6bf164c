//! The JSON form: structs that serde fills, and the way from and to what they mean.

use std::path::{Component, Path, PathBuf};

use serde::{Deserialize, Serialize};

use super::devices::DevicesJson;
use super::one_input::OneInputJson;
use super::stated::{Allowed, StatedJson};
use super::{Condition, Cone, SESSION_SCHEMA, SessionFile, SessionFileError, TakeFile};
use crate::air::{AirInput, PressureInput};
use crate::circuit::CoilFamily;
use crate::fit::Choice;
use crate::jig::Wiring;
use crate::quantity::Stated;
use crate::recording::ChannelPick;
use crate::session::{JigInput, Photo, Session, TakeLevel};
use crate::sheet::Dimensions;

type Result<T> = std::result::Result<T, SessionFileError>;

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct SessionJson {
    schema: String,
    label: String,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    jig: Option<JigJson>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    devices: Option<DevicesJson>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    source_full_scale: Option<StatedJson>,
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    amplifier: bool,
    #[serde(default)]
    air: AirJson,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    cone: Option<ConeJson>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    meter_re: Option<StatedJson>,
    #[serde(default, skip_serializing_if = "Dimensions::is_empty")]
    dimensions: Dimensions,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    photos: Vec<PhotoJson>,
    #[serde(default = "default_band")]
    band_hz: [f64; 2],
    #[serde(default)]
    analysis: AnalysisJson,
    takes: Vec<TakeJson>,
}

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct PhotoJson {
    of: String,
    file: PathBuf,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    sha256: Option<String>,
}

fn default_band() -> [f64; 2] {
    Session::DEFAULT_BAND_HZ.into()
}

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(in crate::session) struct JigJson {
    wiring: String,
    sense: StatedJson,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    leads: Option<StatedJson>,
    /// Of channel 1 and channel 2; null where it is taken as infinite.
    #[serde(default)]
    input_load: [Option<StatedJson>; 2],
    #[serde(default)]
    swap_channels: bool,
}

#[derive(Default, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct AirJson {
    #[serde(default, skip_serializing_if = "Option::is_none")]
    temperature: Option<StatedJson>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pressure: Option<StatedJson>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    altitude: Option<StatedJson>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    relative_humidity: Option<StatedJson>,
}

#[derive(Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
enum ConeJson {
    Diameter(StatedJson),
    Area(StatedJson),
}

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
struct AnalysisJson {
    coils: Vec<String>,
    creep: bool,
    draws: usize,
    seed: u64,
}

impl Default for AnalysisJson {
    fn default() -> Self {
        let Choice { coils, creep } = Choice::default();
        Self {
            coils: coils.iter().map(|coil| coil.as_str().into()).collect(),
            creep,
            draws: Session::DEFAULT_DRAWS,
            seed: 0,
        }
    }
}

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(in crate::session) struct TakeJson {
    name: String,
    condition: String,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    mass: Option<StatedJson>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    volume: Option<StatedJson>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    resistance: Option<StatedJson>,
    files: Vec<PathBuf>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    channels: Option<[usize; 2]>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    one_input: Option<OneInputJson>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    sha256: Vec<String>,
    #[serde(default)]
    remounted: bool,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    level: Option<LevelJson>,
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    aside: bool,
}

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct LevelJson {
    playback_dbfs: f64,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    driver_peak_v: Option<f64>,
}

pub(super) fn read(text: &str) -> Result<SessionFile> {
    #[derive(Deserialize)]
    struct Version {
        schema: String,
    }
    let malformed = |source| SessionFileError::Malformed { source };
    // The version first: a later one may have fields that would only be called unknown here.
    let version: Version = serde_json::from_str(text).map_err(malformed)?;
    if version.schema != SESSION_SCHEMA {
        return Err(SessionFileError::Version {
            found: version.schema,
        });
    }
    let json: SessionJson = serde_json::from_str(text).map_err(malformed)?;
    let positive = |stated: Option<StatedJson>, what: &str, unit| {
        stated
            .map(|stated| stated.read(what, unit, Allowed::Positive))
            .transpose()
    };
    Ok(SessionFile {
        label: json.label,
        jig: json.jig.map(JigJson::read).transpose()?,
        devices: json.devices.map(DevicesJson::read).transpose()?,
        source_full_scale_v: positive(
            json.source_full_scale,
            "the full scale of the source's input",
            "V",
        )?,
        amplifier: json.amplifier,
        air: json.air.read()?,
        cone: match json.cone {
            None => None,
            Some(ConeJson::Diameter(stated)) => {
                positive(Some(stated), "the cone's diameter", "m")?.map(Cone::Diameter)
            }
            Some(ConeJson::Area(stated)) => {
                positive(Some(stated), "the cone's area", "m2")?.map(Cone::Area)
            }
        },
        meter_re_ohm: positive(json.meter_re, "meter_re", "Ohm")?,
        dimensions: {
            json.dimensions.check()?;
            json.dimensions
        },
        photos: json
            .photos
            .into_iter()
            .map(PhotoJson::read)
            .collect::<Result<_>>()?,
        band_hz: json.band_hz.into(),
        choice: Choice {
            coils: json
                .analysis
                .coils
                .iter()
                .map(|name| coil(name))
                .collect::<Result<_>>()?,
            creep: json.analysis.creep,
        },
        n_draws: json.analysis.draws,
        seed: json.analysis.seed,
        takes: json
            .takes
            .into_iter()
            .map(TakeJson::read)
            .collect::<Result<_>>()?,
    })
}

pub(super) fn write(file: &SessionFile) -> Result<String> {
    let stated = |value: Option<Stated>, unit| value.map(|value| StatedJson::new(value, unit));
    let (pressure, altitude) = match file.air.pressure {
        None => (None, None),
        Some(PressureInput::Pressure(value)) => (Some(value), None),
        Some(PressureInput::Altitude(value)) => (None, Some(value)),
    };
    let json = SessionJson {
        schema: SESSION_SCHEMA.into(),
        label: file.label.clone(),
        jig: file.jig.as_ref().map(JigJson::new),
        devices: file.devices.as_ref().map(DevicesJson::new),
        source_full_scale: stated(file.source_full_scale_v, "V"),
        amplifier: file.amplifier,
        air: AirJson {
            temperature: stated(file.air.temperature_k, "K"),
            pressure: stated(pressure, "Pa"),
            altitude: stated(altitude, "m"),
            relative_humidity: stated(file.air.relative_humidity, "1"),
        },
        cone: file.cone.map(|cone| match cone {
            Cone::Diameter(value) => ConeJson::Diameter(StatedJson::new(value, "m")),
            Cone::Area(value) => ConeJson::Area(StatedJson::new(value, "m2")),
        }),
        meter_re: stated(file.meter_re_ohm, "Ohm"),
        dimensions: file.dimensions,
        photos: file.photos.iter().map(PhotoJson::new).collect(),
        band_hz: file.band_hz.into(),
        analysis: AnalysisJson {
            coils: file
                .choice
                .coils
                .iter()
                .map(|coil| coil.as_str().into())
                .collect(),
            creep: file.choice.creep,
            draws: file.n_draws,
            seed: file.seed,
        },
        takes: file.takes.iter().map(TakeJson::new).collect(),
    };
    let mut text = serde_json::to_string_pretty(&json)
        .map_err(|source| SessionFileError::Malformed { source })?;
    text.push('\n');
    Ok(text)
}

fn coil(name: &str) -> Result<CoilFamily> {
    CoilFamily::parse(name).ok_or_else(|| SessionFileError::UnknownName {
        what: "the coil family".into(),
        found: name.into(),
        allowed: "plain, lr-2, power-law, semi-inductor",
    })
}

impl PhotoJson {
    fn new(photo: &Photo) -> Self {
        Self {
            of: photo.of.clone(),
            file: photo.file.clone(),
            sha256: photo.sha256.clone(),
        }
    }

    fn read(self) -> Result<Photo> {
        if leaves_the_folder(&self.file) {
            return Err(SessionFileError::Outside {
                what: format!("the photo of \"{}\"", self.of),
                file: self.file.display().to_string(),
            });
        }
        Ok(Photo {
            of: self.of,
            file: self.file,
            sha256: self.sha256,
        })
    }
}

/// Whether a path may lead out of the folder that it is relative to.
fn leaves_the_folder(file: &Path) -> bool {
    file.components()
        .any(|part| !matches!(part, Component::Normal(_) | Component::CurDir))
}

impl JigJson {
    pub(in crate::session) fn new(jig: &JigInput) -> Self {
        let ohm = |value: Option<Stated>| value.map(|value| StatedJson::new(value, "Ohm"));
        Self {
            wiring: jig.wiring.as_str().into(),
            sense: StatedJson::new(jig.sense_ohm, "Ohm"),
            leads: ohm(jig.lead_ohm),
            input_load: jig.input_load_ohm.map(ohm),
            swap_channels: jig.swap_channels,
        }
    }

    pub(in crate::session) fn read(self) -> Result<JigInput> {
        let wiring = Wiring::parse(&self.wiring).ok_or_else(|| SessionFileError::UnknownName {
            what: "the wiring".into(),
            found: self.wiring,
            allowed: "across-driver, across-resistor",
        })?;
        let ohm = |stated: Option<StatedJson>, what: &str| {
            stated
                .map(|stated| stated.read(what, "Ohm", Allowed::Positive))
                .transpose()
        };
        let [load_1, load_2] = self.input_load;
        Ok(JigInput {
            wiring,
            sense_ohm: self
                .sense
                .read("the jig's sense resistor", "Ohm", Allowed::Positive)?,
            lead_ohm: ohm(self.leads, "the jig's leads")?,
            input_load_ohm: [
                ohm(load_1, "the input load of channel 1")?,
                ohm(load_2, "the input load of channel 2")?,
            ],
            swap_channels: self.swap_channels,
        })
    }
}

impl AirJson {
    fn read(self) -> Result<AirInput> {
        let read = |stated: Option<StatedJson>, what: &str, unit, allowed| {
            stated
                .map(|stated| stated.read(what, unit, allowed))
                .transpose()
        };
        let pressure = read(self.pressure, "the air's pressure", "Pa", Allowed::Positive)?;
        let altitude = read(self.altitude, "the altitude", "m", Allowed::Any)?;
        if pressure.is_some() && altitude.is_some() {
            return Err(SessionFileError::Twice {
                what: "the air's pressure",
                first: "pressure",
                second: "altitude",
            });
        }
        Ok(AirInput {
            temperature_k: read(
                self.temperature,
                "the air's temperature",
                "K",
                Allowed::Positive,
            )?,
            pressure: pressure
                .map(PressureInput::Pressure)
                .or(altitude.map(PressureInput::Altitude)),
            relative_humidity: read(
                self.relative_humidity,
                "the air's humidity",
                "1",
                Allowed::NotNegative,
            )?,
        })
    }
}

impl TakeJson {
    pub(in crate::session) fn new(take: &TakeFile) -> Self {
        let (mut mass, mut volume, mut resistance) = (None, None, None);
        match take.condition {
            Condition::AddedMass { mass_kg } => mass = Some(StatedJson::new(mass_kg, "kg")),
            Condition::TestBox { volume_m3 } => volume = Some(StatedJson::new(volume_m3, "m3")),
            Condition::CheckResistor { ohm } => resistance = Some(StatedJson::new(ohm, "Ohm")),
            Condition::FreeAir
            | Condition::SameNode
            | Condition::ShortedLeads
            | Condition::OpenLeads => {}
        }
        Self {
            name: take.name.clone(),
            condition: take.condition.as_str().into(),
            mass,
            volume,
            resistance,
            files: take.files.clone(),
            channels: take
                .channels
                .map(|pick| [pick.source() + 1, pick.driver() + 1]),
            one_input: take.one_input.map(OneInputJson::new),
            sha256: take.sha256.clone(),
            remounted: take.remounted,
            level: take.level.map(|level| LevelJson {
                playback_dbfs: level.playback_dbfs,
                driver_peak_v: level.driver_peak_v,
            }),
            aside: take.aside,
        }
    }

    pub(in crate::session) fn read(self) -> Result<TakeFile> {
        let condition = condition(
            &self.name,
            &self.condition,
            [self.mass, self.volume, self.resistance],
        )?;
        if !(1..=2).contains(&self.files.len()) {
            return Err(SessionFileError::FileCount {
                take: self.name,
                n_files: self.files.len(),
            });
        }
        if let Some(file) = self.files.iter().find(|file| leaves_the_folder(file)) {
            return Err(SessionFileError::Outside {
                what: format!("the take \"{}\"", self.name),
                file: file.display().to_string(),
            });
        }
        let channels = self
            .channels
            .map(|[source, driver]| ChannelPick::from_numbers(source, driver))
            .transpose();
        let one_input = self
            .one_input
            .map(|json| json.read(&self.name, self.files.len()));
        Ok(TakeFile {
            condition,
            one_input: one_input.transpose()?,
            channels: channels.map_err(|source| SessionFileError::Channels {
                take: self.name.clone(),
                source,
            })?,
            name: self.name,
            files: self.files,
            sha256: self.sha256,
            remounted: self.remounted,
            level: self.level.map(|level| TakeLevel {
                playback_dbfs: level.playback_dbfs,
                driver_peak_v: level.driver_peak_v,
            }),
            aside: self.aside,
        })
    }
}

/// The condition of that name, with exactly the value that belongs to it.
fn condition(take: &str, name: &str, stated: [Option<StatedJson>; 3]) -> Result<Condition> {
    let wrong = |needed| {
        Err(SessionFileError::WrongStatement {
            take: take.into(),
            condition: name.into(),
            needed,
        })
    };
    let of = |what: &str| format!("the {what} of \"{take}\"");
    match (name, stated) {
        ("free-air", [None, None, None]) => Ok(Condition::FreeAir),
        ("same-node", [None, None, None]) => Ok(Condition::SameNode),
        ("shorted-leads", [None, None, None]) => Ok(Condition::ShortedLeads),
        ("open-leads", [None, None, None]) => Ok(Condition::OpenLeads),
        ("added-mass", [Some(mass), None, None]) => Ok(Condition::AddedMass {
            mass_kg: mass.read(&of("mass"), "kg", Allowed::Positive)?,
        }),
        ("test-box", [None, Some(volume), None]) => Ok(Condition::TestBox {
            volume_m3: volume.read(&of("volume"), "m3", Allowed::Positive)?,
        }),
        ("check-resistor", [None, None, Some(ohm)]) => Ok(Condition::CheckResistor {
            ohm: ohm.read(&of("resistance"), "Ohm", Allowed::Positive)?,
        }),
        ("free-air" | "same-node" | "shorted-leads" | "open-leads", _) => {
            wrong("nothing to be stated")
        }
        ("added-mass", _) => wrong("a mass"),
        ("test-box", _) => wrong("a volume"),
        ("check-resistor", _) => wrong("a resistance"),
        _ => Err(SessionFileError::UnknownName {
            what: format!("the condition of \"{take}\""),
            found: name.into(),
            allowed: "free-air, added-mass, test-box, check-resistor, same-node, shorted-leads, open-leads",
        }),
    }
}
