//! The canonical bytes of a record's entry and the hash that a sealed tree holds of it.
//! It never reads a record back into a value: forms are read where they are shown.

use serde_json::Value;
use sha2::{Digest, Sha256};

/// The value has no canonical text that every reader would agree on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct NotCanonical;

impl std::fmt::Display for NotCanonical {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("an entry holds texts, whole numbers, truth values, lists and objects only")
    }
}

impl std::error::Error for NotCanonical {}

/// The entry as RFC 8785 text. Refused: a number that is not whole (measured values are decimal
/// texts in an entry).
pub fn canonical(entry: &Value) -> Result<String, NotCanonical> {
    if !is_exact(entry) {
        return Err(NotCanonical);
    }
    serde_json_canonicalizer::to_string(entry).map_err(|_| NotCanonical)
}

fn is_exact(value: &Value) -> bool {
    match value {
        Value::Number(number) => number.is_i64() || number.is_u64(),
        Value::Array(items) => items.iter().all(is_exact),
        Value::Object(members) => members.values().all(is_exact),
        _ => true,
    }
}

/// SHA-256(0x00 ‖ entry), the leaf hash of RFC 9162.
pub fn leaf_hash(entry: &str) -> [u8; 32] {
    Sha256::new().chain_update([0]).chain_update(entry).finalize().into()
}
