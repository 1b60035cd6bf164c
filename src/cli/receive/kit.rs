//! Which kits are expected: by their ids, or by the pages themselves.

use std::fs;
use std::io;
use std::path::Path;

use farcone::bundle::{Bundle, Wanted};
use farcone::kit::SCHEMA;
use serde::Deserialize;

use crate::cli::failure::Failure;
use crate::store::StoreError;

/// Where the settings stand in the page.
const SETTINGS_OPEN: &str = "<script type=\"application/json\" id=\"kit\">";
const SETTINGS_CLOSE: &str = "</script>";
const HINT: &str = "give the kit's id (K- and eight letters or digits, at the foot of its page), or the page itself (kit.html)";

/// What of a kit's settings matters for an answer.
#[derive(Deserialize)]
struct Settings {
    schema: String,
    id: String,
    method: String,
    drivers: Vec<Driver>,
}

#[derive(Deserialize)]
struct Driver {
    class: String,
}

/// One kit that is expected.
struct Kit {
    id: String,
    settings: Option<Settings>,
}

/// The kits that are expected; none: any.
pub struct Kits(Vec<Kit>);

impl Kits {
    /// From what was typed.
    pub fn read(typed: &[String]) -> Result<Self, Failure> {
        typed
            .iter()
            .map(|text| kit(text))
            .collect::<Result<_, _>>()
            .map(Self)
    }

    /// Refuses a bundle that answers another kit, or a driver that the kit does not have.
    pub fn admit(&self, path: &Path, bundle: &Bundle) -> Result<(), Failure> {
        let Some(kit) = self.of(bundle) else {
            if self.0.is_empty() {
                return Ok(());
            }
            let expected: Vec<&str> = self.0.iter().map(|kit| kit.id.as_str()).collect();
            return Err(Failure::Refused {
                message: format!(
                    "{}: this answers the kit {}, and {} was asked for; ask for the bundle of that kit, or leave --kit out",
                    path.display(),
                    bundle.kit,
                    expected.join(" or ")
                ),
            });
        };
        match &kit.settings {
            Some(settings) if driver(settings, bundle).is_none() => Err(Failure::Refused {
                message: format!(
                    "{}: this is about driver {} of the kit {}, which has {}; ask which page was used",
                    path.display(),
                    bundle.driver.saturating_add(1),
                    kit.id,
                    settings.drivers.len()
                ),
            }),
            _ => Ok(()),
        }
    }

    fn of(&self, bundle: &Bundle) -> Option<&Kit> {
        self.0.iter().find(|kit| kit.id == bundle.kit)
    }

    /// What the kit asked for; `None` if only its id is known.
    pub fn wanted(&self, bundle: &Bundle) -> Option<Wanted> {
        let settings = self.of(bundle)?.settings.as_ref()?;
        // Nothing can be put on a tweeter's dome, and its box is closed already.
        let loads = driver(settings, bundle)?.class != "tweeter";
        let asks = |method: &str| loads && (settings.method == method || settings.method == "both");
        Some(Wanted {
            added_mass: asks("added-mass"),
            test_box: asks("test-box"),
        })
    }
}

fn driver<'a>(settings: &'a Settings, bundle: &Bundle) -> Option<&'a Driver> {
    settings.drivers.get(usize::try_from(bundle.driver).ok()?)
}

fn kit(text: &str) -> Result<Kit, Failure> {
    let path = Path::new(text);
    let is_page = path
        .extension()
        .is_some_and(|ending| ending.eq_ignore_ascii_case("html"));
    if is_page || path.is_file() {
        let settings = settings(path)?;
        return Ok(Kit {
            id: settings.id.clone(),
            settings: Some(settings),
        });
    }
    let is_id = |c: char| c.is_ascii_alphanumeric() || c == '-';
    if text.is_empty() || !text.chars().all(is_id) {
        return Err(Failure::usage(
            format!("--kit \"{text}\" is neither a kit's id nor a file"),
            HINT,
        ));
    }
    Ok(Kit {
        id: text.to_owned(),
        settings: None,
    })
}

fn settings(path: &Path) -> Result<Settings, Failure> {
    let page = fs::read_to_string(path).map_err(|source| match source.kind() {
        io::ErrorKind::NotFound => StoreError::Missing { path: path.into() },
        _ => StoreError::Open {
            path: path.into(),
            source,
        },
    })?;
    let no_kit =
        |why: String| Failure::usage(format!("{}: this is no kit{why}", path.display()), HINT);
    let text = page
        .split_once(SETTINGS_OPEN)
        .and_then(|(_, behind)| behind.split_once(SETTINGS_CLOSE))
        .map(|(settings, _)| settings)
        .ok_or_else(|| no_kit(String::new()))?;
    let settings: Settings =
        serde_json::from_str(text).map_err(|error| no_kit(format!(": {error}")))?;
    if settings.schema != SCHEMA {
        return Err(no_kit(format!(
            " that can be read here: its settings have the format \"{}\", and only \"{SCHEMA}\" is known",
            settings.schema
        )));
    }
    Ok(settings)
}
