//! How requests and replies are laid out: the length of a JSON head as four bytes, least first, the head, and the blobs that it
//! names the lengths of, one behind the other.

use serde::de::DeserializeOwned;
use serde::{Deserialize, Serialize};
use serde_json::Value;

use super::answer::{Answer, Refusal};

#[derive(Deserialize)]
struct RequestHead {
    op: String,
    #[serde(default)]
    args: Value,
    #[serde(default)]
    blobs: Vec<usize>,
}

#[derive(Serialize)]
struct ReplyHead {
    #[serde(skip_serializing_if = "Option::is_none")]
    result: Option<Value>,
    #[serde(skip_serializing_if = "Option::is_none")]
    error: Option<String>,
    blobs: Vec<usize>,
}

/// One request.
pub(super) struct Request<'a> {
    pub op: String,
    args: Value,
    pub blobs: Vec<&'a [u8]>,
}

impl<'a> Request<'a> {
    pub fn read(bytes: &'a [u8]) -> Result<Self, Refusal> {
        let cut = || Refusal::new("the request is cut short");
        let (length, rest) = bytes.split_first_chunk::<4>().ok_or_else(cut)?;
        let length = u32::from_le_bytes(*length) as usize;
        let (head, mut rest) = rest.split_at_checked(length).ok_or_else(cut)?;
        let head: RequestHead = serde_json::from_slice(head)?;
        let mut blobs = Vec::with_capacity(head.blobs.len());
        for n_bytes in head.blobs {
            let (blob, behind) = rest.split_at_checked(n_bytes).ok_or_else(cut)?;
            blobs.push(blob);
            rest = behind;
        }
        Ok(Self {
            op: head.op,
            args: head.args,
            blobs,
        })
    }

    /// The arguments, as the operation wants them.
    pub fn args<T: DeserializeOwned>(&self) -> Result<T, Refusal> {
        T::deserialize(&self.args)
            .map_err(|error| Refusal::new(format!("\"{}\": {error}", self.op)))
    }

    /// The blob at a place, as samples.
    pub fn samples(&self, index: usize) -> Result<Vec<f32>, Refusal> {
        let bytes = self.blob(index)?;
        let whole = bytes.as_chunks::<4>();
        if !whole.1.is_empty() {
            return Err(Refusal::new("samples have four bytes each"));
        }
        Ok(whole
            .0
            .iter()
            .map(|four| f32::from_le_bytes(*four))
            .collect())
    }

    pub fn blob(&self, index: usize) -> Result<&'a [u8], Refusal> {
        self.blobs
            .get(index)
            .copied()
            .ok_or_else(|| Refusal::new(format!("\"{}\" needs {} blobs", self.op, index + 1)))
    }
}

/// Samples as bytes.
pub(super) fn bytes_of(samples: &[f32]) -> Vec<u8> {
    samples.iter().flat_map(|v| v.to_le_bytes()).collect()
}

pub(super) fn write(answered: Result<Answer, Refusal>) -> Vec<u8> {
    let (head, blobs) = match answered {
        Ok(Answer { result, blobs }) => (
            ReplyHead {
                result: Some(result),
                error: None,
                blobs: blobs.iter().map(Vec::len).collect(),
            },
            blobs,
        ),
        Err(Refusal(message)) => (
            ReplyHead {
                result: None,
                error: Some(message),
                blobs: vec![],
            },
            vec![],
        ),
    };
    // Values and texts cannot fail to be written.
    let head = serde_json::to_vec(&head).unwrap_or_default();
    let mut bytes = (head.len() as u32).to_le_bytes().to_vec();
    bytes.extend(head);
    for blob in blobs {
        bytes.extend(blob);
    }
    bytes
}
