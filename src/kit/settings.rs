//! What the designer decides about a kit.

use serde_json::{Value, json};
use sha2::{Digest, Sha256};

use crate::coins::DriverClass;
use crate::quantity::{Stated, is_invisible};
use crate::session::stated_json;

/// The format's name and version.
pub const SCHEMA: &str = "farcone-kit/1";

/// Most drivers of one kit: each is half an hour of somebody's evening.
const MOST_DRIVERS: usize = 20;
/// Longest label, characters: it names files and stands in the line for the chat.
const LONGEST_LABEL: usize = 40;
/// Longest note, characters: it stands above the first question.
const LONGEST_NOTE: usize = 2000;

/// How the moving mass is found.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Method {
    /// A known mass on the cone.
    AddedMass,
    /// A closed box of known volume.
    TestBox,
    /// Both.
    Both,
}

impl Method {
    /// All of them.
    pub const ALL: [Self; 3] = [Self::AddedMass, Self::TestBox, Self::Both];

    /// Its name, for example `added-mass`.
    pub fn as_str(self) -> &'static str {
        match self {
            Self::AddedMass => "added-mass",
            Self::TestBox => "test-box",
            Self::Both => "both",
        }
    }

    /// The method of that name.
    pub fn parse(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|method| method.as_str() == name)
    }
}

/// One driver that the helper is asked to measure.
#[derive(Clone, Debug, PartialEq)]
pub struct KitDriver {
    /// What somebody calls it.
    pub label: String,
    /// Its kind.
    pub class: DriverClass,
    /// Nominal impedance, ohm; `None` if nobody knows.
    pub nominal_ohm: Option<f64>,
}

/// A test box that the helper has, or prints.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct KitBox {
    /// The air that the cone closes off, hollow and gasket counted in, m³.
    pub volume_m3: Stated,
}

/// What the designer decides.
#[derive(Clone, Debug, PartialEq)]
pub struct Kit {
    /// The drivers, in the order in which they are measured.
    pub drivers: Vec<KitDriver>,
    /// How the moving mass is found.
    pub method: Method,
    /// The sense resistor that the helper is asked for, ohm.
    pub sense_ohm: Stated,
    /// A message for the helper; `None` if there is none.
    pub note: Option<String>,
    /// The box; `None` if the helper finds one.
    pub test_box: Option<KitBox>,
    /// When it was made, as text that tells kits apart; it enters the kit's id and nothing else.
    pub made: String,
}

/// Why settings make no kit, or a page is none.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum KitError {
    /// Nothing to measure, or too much for one page.
    #[error("a kit has 1 to {MOST_DRIVERS} drivers, and {0} were named (--driver \"LABEL,class\")")]
    Drivers(usize),
    /// A label that cannot name a driver.
    #[error(
        "the label \"{0}\" cannot name a driver: it has to be 1 to {LONGEST_LABEL} characters that can be seen"
    )]
    Label(String),
    /// Two drivers with one label: their results could not be told apart.
    #[error("two drivers are called \"{0}\"; give every driver a label of its own")]
    LabelTwice(String),
    /// A note that nobody would read.
    #[error("the note has {0} characters; the page shows up to {LONGEST_NOTE}")]
    Note(usize),
    /// A page that is too large for mail, or lacks a part: a fault of the program, not of the settings.
    #[error("the page cannot be made: {0}")]
    Page(String),
    /// A text that is no page of a kit.
    #[error("this is no kit")]
    NoKit,
    /// A page whose settings cannot be read.
    #[error("this is no kit: {0}")]
    Settings(String),
    /// A page of another version.
    #[error(
        "this is no kit that can be read here: its settings have the format \"{0}\", and only \"{SCHEMA}\" is known"
    )]
    Schema(String),
}

impl Kit {
    /// Refuses what no helper could follow.
    ///
    /// # Errors
    /// See [`KitError`].
    pub fn check(&self) -> Result<(), KitError> {
        if self.drivers.is_empty() || self.drivers.len() > MOST_DRIVERS {
            return Err(KitError::Drivers(self.drivers.len()));
        }
        for (i, driver) in self.drivers.iter().enumerate() {
            let label = driver.label.trim();
            let unseen = |c: char| c.is_control() || is_invisible(c);
            if label.is_empty()
                || label.chars().count() > LONGEST_LABEL
                || label.chars().any(unseen)
            {
                return Err(KitError::Label(driver.label.chars().take(80).collect()));
            }
            if self.drivers[..i]
                .iter()
                .any(|other| other.label == driver.label)
            {
                return Err(KitError::LabelTwice(driver.label.clone()));
            }
        }
        let n_note = self.note.as_ref().map_or(0, |note| note.chars().count());
        if n_note > LONGEST_NOTE {
            return Err(KitError::Note(n_note));
        }
        Ok(())
    }

    /// What tells this kit from others: bundles that come back name it.
    pub fn id(&self) -> String {
        let digest = Sha256::digest(self.without_id().to_string().as_bytes());
        let hex: String = digest
            .iter()
            .take(4)
            .map(|byte| format!("{byte:02x}"))
            .collect();
        format!("K-{hex}")
    }

    /// The settings as the page carries them.
    pub fn to_json(&self) -> Value {
        let mut json = self.without_id();
        json["id"] = self.id().into();
        json
    }

    fn without_id(&self) -> Value {
        let driver = |driver: &KitDriver| {
            json!({
                "label": driver.label.trim(),
                "class": driver.class.as_str(),
                "start_hz": driver.class.start_hz(),
                "nominal_ohm": driver.nominal_ohm,
            })
        };
        json!({
            "schema": SCHEMA,
            "version": env!("CARGO_PKG_VERSION"),
            "made": self.made,
            "note": self.note,
            "method": self.method.as_str(),
            "sense": stated_json(&self.sense_ohm, "Ohm"),
            "test_box": self.test_box.map(|of| json!({"volume": stated_json(&of.volume_m3, "m3")})),
            "drivers": self.drivers.iter().map(driver).collect::<Vec<_>>(),
        })
    }
}
