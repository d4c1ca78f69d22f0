//! The canonical bytes of a record's entry and the hash that a sealed tree holds of it.
//! It never reads a record back into a value: forms are read where they are shown.

use serde_json::Value;
use sha2::{Digest, Sha256};

/// A SHA-256 hash.
pub type Hash = [u8; 32];

/// The greatest whole number that every reader of JSON keeps (RFC 8785, appendix D).
const MOST_WHOLE: u64 = (1 << 53) - 1;

/// The value has no canonical text that every reader would agree on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct NotCanonical;

impl std::fmt::Display for NotCanonical {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("an entry holds texts, whole numbers, truth values, lists and objects only")
    }
}

impl std::error::Error for NotCanonical {}

/// The entry as RFC 8785 text. Refused: a number that is not whole, or beyond 2^53 - 1 (measured
/// values are decimal texts in an entry).
pub fn canonical(entry: &Value) -> Result<String, NotCanonical> {
    if !is_exact(entry) {
        return Err(NotCanonical);
    }
    serde_json_canonicalizer::to_string(entry).map_err(|_| NotCanonical)
}

fn is_exact(value: &Value) -> bool {
    match value {
        Value::Number(number) => {
            let magnitude = number.as_u64().or(number.as_i64().map(i64::unsigned_abs));
            magnitude.is_some_and(|magnitude| magnitude <= MOST_WHOLE)
        }
        Value::Array(items) => items.iter().all(is_exact),
        Value::Object(members) => members.values().all(is_exact),
        _ => true,
    }
}

/// SHA-256(0x00 ‖ entry), the leaf hash of RFC 9162, section 2.1.1.
pub fn leaf_hash(entry: &str) -> Hash {
    leaf_hash_of(entry.as_bytes())
}

fn leaf_hash_of(entry: &[u8]) -> Hash {
    Sha256::new().chain_update([0]).chain_update(entry).finalize().into()
}

/// SHA-256(0x01 ‖ left ‖ right), the hash of an inner node of RFC 9162, section 2.1.1.
pub fn node_hash(left: &Hash, right: &Hash) -> Hash {
    Sha256::new().chain_update([1]).chain_update(left).chain_update(right).finalize().into()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use serde_json::json;

    fn vectors(text: &str) -> Value {
        serde_json::from_str(text).expect("JSON")
    }

    fn text(value: &Value) -> &str {
        value.as_str().expect("text")
    }

    fn hex(bytes: &[u8]) -> String {
        bytes.iter().map(|byte| format!("{byte:02x}")).collect()
    }

    #[test]
    fn published_documents_have_their_canonical_text() {
        // RFC 8785, sections 3.2.2 to 3.2.4, and the test data of its reference implementation.
        let file = vectors(include_str!("../tests/data/jcs-vectors.json"));
        let documents = file["documents"].as_array().expect("documents");
        assert!(documents.len() >= 6);
        for document in documents {
            let value = vectors(text(&document["input"]));
            let written = serde_json_canonicalizer::to_string(&value).expect("canonical text");
            assert_eq!(hex(written.as_bytes()), text(&document["output_hex"]));
            let kept = canonical(&value);
            let fractions = ["structures", "values"].contains(&text(&document["name"]));
            assert_eq!(kept.ok(), (!fractions).then_some(written), "{document}");
        }
        for refused in file["must_refuse"].as_array().expect("refusals") {
            // Duplicates cannot stand in a value: the last one wins before it is an entry.
            let read = serde_json::from_str::<Value>(text(&refused["input"]));
            assert!(read.is_err() || text(&refused["why"]).contains("duplicate"), "{refused}");
        }
    }

    #[test]
    fn published_numbers_have_their_canonical_text() {
        // RFC 8785, appendix B.
        let file = vectors(include_str!("../tests/data/jcs-vectors.json"));
        for case in file["numbers"].as_array().expect("numbers") {
            let bits = u64::from_str_radix(text(&case["ieee754"]), 16).expect("bits");
            let written = serde_json_canonicalizer::to_string(&f64::from_bits(bits));
            assert_eq!(written.expect("canonical text"), text(&case["text"]));
        }
    }

    #[test]
    fn a_number_that_readers_may_read_differently_is_refused() {
        assert_eq!(
            canonical(&json!({"n": 9_007_199_254_740_991_i64})).as_deref(),
            Ok(r#"{"n":9007199254740991}"#)
        );
        assert_eq!(
            canonical(&json!([-9_007_199_254_740_991_i64])).as_deref(),
            Ok("[-9007199254740991]")
        );
        for wrong in
            [json!(9_007_199_254_740_992_u64), json!(i64::MIN), json!(1.5), json!(1.0), json!(-0.0)]
        {
            assert_eq!(canonical(&json!({"a": [wrong]})), Err(NotCanonical));
        }
    }

    #[test]
    fn published_hashes() {
        // RFC 6962 test data of transparency-dev/merkle, commit 417fb0c.
        let file = vectors(include_str!("../tests/data/merkle-vectors.json"));
        let value = |what: &str| {
            let all = file["primitives"].as_array().expect("primitives");
            let found = all.iter().find(|p| text(&p["what"]).contains(what)).expect("a primitive");
            text(&found["value"]).to_owned()
        };
        assert_eq!(hex(&leaf_hash("")), value("empty entry"));
        assert_eq!(hex(&leaf_hash("L123456")), value("L123456"));
        let node = Sha256::new().chain_update([1]).chain_update("N123").chain_update("N456");
        assert_eq!(hex(&node.finalize()), value("N123"));
    }

    fn entry() -> impl Strategy<Value = Value> {
        let leaf = prop_oneof![
            Just(Value::Null),
            any::<bool>().prop_map(Value::from),
            (-1_000_000i64..1_000_000).prop_map(Value::from),
            ".{0,8}".prop_map(Value::from),
        ];
        leaf.prop_recursive(4, 40, 6, |inner| {
            prop_oneof![
                prop::collection::vec(inner.clone(), 0..6).prop_map(Value::from),
                prop::collection::hash_map(".{0,6}", inner, 0..6)
                    .prop_map(|members| Value::Object(members.into_iter().collect())),
            ]
        })
    }

    proptest! {
        #[test]
        fn canonical_text_reads_back_as_the_same_entry(entry in entry()) {
            let written = canonical(&entry).expect("whole numbers only");
            let read: Value = serde_json::from_str(&written).expect("JSON");
            prop_assert_eq!(canonical(&read), Ok(written));
            prop_assert_eq!(read, entry);
        }
    }
}
