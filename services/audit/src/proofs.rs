//! Checks single proofs as REST answers them, with nothing but the answer and a public key.
//! It never asks a server for what the answer lacks.

use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use domain::merkle;
use domain::record::{Hash, leaf_hash};
use serde_json::Value;

use crate::note::{Checkpoint, NoteError, NoteKey};

/// Why a proof does not hold.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum ProofError {
    /// A member that the check needs is not there, or not of its form.
    #[error("it has no {0} of the right form")]
    Lacks(&'static str),
    /// A checkpoint is not believed.
    #[error("the checkpoint is not believed: {0}")]
    Checkpoint(NoteError),
    /// The hashes do not lead from the one to the other.
    #[error("the hashes do not prove it")]
    NotProved,
}

/// A checked proof.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Proved {
    /// What is proved, in one sentence.
    pub what: String,
    /// The key that was believed.
    pub key: String,
}

/// Checks the answer of `GET /v1/proofs/inclusion`.
pub fn inclusion(answer: &Value, pinned: Option<&NoteKey>) -> Result<Proved, ProofError> {
    let entry = answer["entry"].as_str().ok_or(ProofError::Lacks("entry"))?;
    let position = answer["position"].as_u64().ok_or(ProofError::Lacks("position"))?;
    let (head, key) = checkpoint(&answer["checkpoint"], pinned)?;
    let hashes = hashes(answer)?;
    let leaf = leaf_hash(entry);
    if !merkle::verify_inclusion(position, head.size, &leaf, &hashes, &head.root) {
        return Err(ProofError::NotProved);
    }
    let said: Value = serde_json::from_str(entry).unwrap_or_default();
    if said["id"] != answer["record"] {
        return Err(ProofError::Lacks("record"));
    }
    let id = said["id"].as_str().unwrap_or_default();
    let (size, origin) = (head.size, &head.origin);
    let what = format!("record {id} is entry {position} of the {size} of {origin}");
    Ok(Proved { what, key: key.to_string() })
}

/// Checks the answer of `GET /v1/proofs/consistency`.
pub fn consistency(answer: &Value, pinned: Option<&NoteKey>) -> Result<Proved, ProofError> {
    let (from, _) = checkpoint(&answer["from"], pinned)?;
    let (to, key) = checkpoint(&answer["to"], pinned)?;
    let hashes = hashes(answer)?;
    let proves = merkle::verify_consistency(from.size, to.size, &from.root, &to.root, &hashes);
    if !proves || from.origin != to.origin {
        return Err(ProofError::NotProved);
    }
    let what = format!("{} of {} entries begins with that of {}", to.origin, to.size, from.size);
    Ok(Proved { what, key: key.to_string() })
}

fn checkpoint(
    answer: &Value,
    pinned: Option<&NoteKey>,
) -> Result<(Checkpoint, NoteKey), ProofError> {
    let note = answer["note"].as_str().ok_or(ProofError::Lacks("note"))?;
    let printed = answer["key"].as_str().and_then(|key| key.parse().ok());
    let key = pinned.cloned().or(printed).ok_or(ProofError::Lacks("key"))?;
    let head = Checkpoint::open(note, &key).map_err(ProofError::Checkpoint)?;
    Ok((head, key))
}

fn hashes(answer: &Value) -> Result<Vec<Hash>, ProofError> {
    // An empty list is left out of an answer.
    let listed = answer["hashes"].as_array().map(Vec::as_slice).unwrap_or_default();
    let read = |value: &Value| STANDARD.decode(value.as_str()?).ok()?.try_into().ok();
    listed.iter().map(|value| read(value).ok_or(ProofError::Lacks("hash"))).collect()
}
