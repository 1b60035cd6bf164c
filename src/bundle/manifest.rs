//! `bundle.json`: what is in a bundle, with the hash of each file.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use super::{BundleError, LogEntry};
use crate::session::sha256_hex;

/// The format's name and version, the value of `schema`.
pub const BUNDLE_SCHEMA: &str = "farcone-bundle/1";

/// What `program` says.
const PROGRAM: &str = "farcone";

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Manifest {
    pub schema: String,
    pub kit: String,
    pub driver: u64,
    pub program: String,
    pub version: String,
    pub browser: Option<serde_json::Value>,
    pub log: Vec<LogEntry>,
    pub files: Vec<Listed>,
}

/// One file but for the manifest itself.
#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Listed {
    pub path: String,
    pub sha256: String,
    pub n_bytes: u64,
}

impl Listed {
    pub fn of(path: &str, bytes: &[u8]) -> Self {
        Self {
            path: path.to_owned(),
            sha256: sha256_of(bytes),
            n_bytes: bytes.len() as u64,
        }
    }
}

/// SHA-256 of bytes in memory, of which reading cannot fail.
pub(super) fn sha256_of(mut bytes: &[u8]) -> String {
    sha256_hex(&mut bytes).unwrap_or_default()
}

impl Manifest {
    /// A manifest without its files.
    pub fn of(bundle: &super::Bundle) -> Self {
        Self {
            schema: BUNDLE_SCHEMA.into(),
            kit: bundle.kit.clone(),
            driver: bundle.driver,
            program: PROGRAM.into(),
            version: bundle.version.clone(),
            browser: bundle.browser.clone(),
            log: bundle.log.clone(),
            files: vec![],
        }
    }

    pub fn to_json(&self) -> Result<String, BundleError> {
        let mut text = serde_json::to_string_pretty(self)
            .map_err(|source| BundleError::Malformed { source })?;
        text.push('\n');
        Ok(text)
    }

    pub fn from_json(text: &str) -> Result<Self, BundleError> {
        #[derive(Deserialize)]
        struct Version {
            schema: String,
        }
        let malformed = |source| BundleError::Malformed { source };
        // The version first: a later one may have entries that would only be called unknown here.
        let version: Version = serde_json::from_str(text).map_err(malformed)?;
        if version.schema != BUNDLE_SCHEMA {
            return Err(BundleError::Version {
                found: version.schema,
            });
        }
        let manifest: Self = serde_json::from_str(text).map_err(malformed)?;
        if manifest.program != PROGRAM {
            return Err(BundleError::Value {
                what: "\"program\" in bundle.json",
                found: super::names::shown(manifest.program.as_bytes()),
                allowed: "\"farcone\"",
            });
        }
        Ok(manifest)
    }

    /// Holds the files that arrived against the list.
    pub fn verify(&self, files: &BTreeMap<String, Vec<u8>>) -> Result<(), BundleError> {
        let mut listed = BTreeMap::new();
        for entry in &self.files {
            if listed.insert(entry.path.as_str(), entry).is_some() {
                return Err(BundleError::Twice {
                    file: super::names::shown(entry.path.as_bytes()),
                });
            }
        }
        for file in files.keys().filter(|file| *file != super::BUNDLE_FILE_NAME) {
            if !listed.contains_key(file.as_str()) {
                return Err(BundleError::Unlisted { file: file.clone() });
            }
        }
        for (path, entry) in listed {
            let changed = |what| BundleError::Changed {
                file: path.to_owned(),
                what,
            };
            match files.get(path) {
                None => {
                    return Err(BundleError::Missing {
                        file: super::names::shown(path.as_bytes()),
                    });
                }
                Some(bytes) if bytes.len() as u64 != entry.n_bytes => return Err(changed("size")),
                Some(bytes) if sha256_of(bytes) != entry.sha256 => {
                    return Err(changed("SHA-256"));
                }
                Some(_) => {}
            }
        }
        Ok(())
    }
}
