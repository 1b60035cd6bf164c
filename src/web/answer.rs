//! What an operation gives back.

use serde_json::Value;

/// A result, and what of it is no text.
pub(super) struct Answer {
    pub result: Value,
    pub blobs: Vec<Vec<u8>>,
}

impl From<Value> for Answer {
    fn from(result: Value) -> Self {
        Self {
            result,
            blobs: vec![],
        }
    }
}

/// Why there is none, for people.
#[derive(Debug)]
pub(super) struct Refusal(pub String);

impl Refusal {
    pub fn new(message: impl Into<String>) -> Self {
        Self(message.into())
    }
}

impl<E: std::error::Error> From<E> for Refusal {
    fn from(error: E) -> Self {
        Self(error.to_string())
    }
}
