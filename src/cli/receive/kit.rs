//! Which kits are expected: by their ids, or by the pages themselves.

use std::fs;
use std::io;
use std::path::Path;

use farcone::bundle::{Bundle, Wanted};
use farcone::kit::{Asked, Method};

use crate::cli::failure::Failure;
use crate::store::StoreError;

const HINT: &str = "give the kit's id (K- and eight letters or digits, at the foot of its page), or the page itself (kit.html)";

/// One kit that is expected.
struct Kit {
    id: String,
    asked: Option<Asked>,
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
        match &kit.asked {
            Some(asked) if asked.class(bundle.driver).is_none() => Err(Failure::Refused {
                message: format!(
                    "{}: this is about driver {} of the kit {}, which has {}; ask which page was used",
                    path.display(),
                    bundle.driver.saturating_add(1),
                    kit.id,
                    asked.classes.len()
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
        let asked = self.of(bundle)?.asked.as_ref()?;
        let asks = |method| asked.asks(bundle.driver, method);
        Some(Wanted {
            added_mass: asks(Method::AddedMass)?,
            test_box: asks(Method::TestBox)?,
        })
    }
}

fn kit(text: &str) -> Result<Kit, Failure> {
    let path = Path::new(text);
    let is_page = path
        .extension()
        .is_some_and(|ending| ending.eq_ignore_ascii_case("html"));
    if is_page || path.is_file() {
        let asked = asked(path)?;
        return Ok(Kit {
            id: asked.id.clone(),
            asked: Some(asked),
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
        asked: None,
    })
}

fn asked(path: &Path) -> Result<Asked, Failure> {
    let page = fs::read_to_string(path).map_err(|source| match source.kind() {
        io::ErrorKind::NotFound => StoreError::Missing { path: path.into() },
        _ => StoreError::Open {
            path: path.into(),
            source,
        },
    })?;
    Asked::of_page(&page)
        .map_err(|error| Failure::usage(format!("{}: {error}", path.display()), HINT))
}
