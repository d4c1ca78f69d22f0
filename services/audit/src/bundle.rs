//! The form of a bundle: one JSON object a line, each in canonical form, the last two notes signed.
//! It never decides which entries belong to a bundle and never judges one.

use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use domain::record::Hash;
use serde::{Deserialize, Serialize};
use serde_json::Value;
use sha2::{Digest, Sha256};

/// The form of the first line, and the first line of the signed list.
pub const FORM: &str = "hankbook.bundle/1";
/// The greatest whole number that every reader of JSON keeps.
const MOST_WHOLE: u64 = (1 << 53) - 1;
/// The most hashes of a proof.
const HASHES_MAX: usize = 64;

/// The first line: what the bundle is about and which records it holds.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Head {
    /// `lot:ID`, `day:DATE`, `check:CODE:PLAN:DATE`.
    pub about: String,
    /// [`FORM`].
    pub form: String,
    /// The name of the log.
    pub origin: String,
    /// Ids of records with their positions, in the order of the log.
    pub records: Vec<(String, u64)>,
    /// The size of the tree in which the proofs hold.
    pub size: u64,
}

/// A line between the first and the last: an entry and its proof.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Record {
    /// The entry as it was written.
    pub entry: String,
    /// Its place in the log.
    pub position: u64,
    /// The hashes of its inclusion proof, one after the other, in base64.
    pub proof: String,
}

/// The last line: what signs all of it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Tail {
    /// The signed checkpoint.
    pub checkpoint: String,
    /// The public key that signs both notes.
    pub key: String,
    /// The signed note over the first line.
    pub manifest: String,
}

/// The text of the note over the first line of a bundle.
pub fn manifest(head: &[u8]) -> String {
    format!("{FORM}\n{}\n", STANDARD.encode(Sha256::digest(head)))
}

/// A line; its names are declared in their order, so that it is canonical. Nothing where a number
/// is too large.
pub fn line<T: Serialize>(of: &T) -> Option<String> {
    serde_json::to_string(of).ok()
}

/// A first line, if it is one.
pub fn head(line: &[u8]) -> Option<Head> {
    let read: Head = whole(line)?;
    let numbers = read.records.iter().map(|(_, position)| *position);
    let is_plain = numbers.chain([read.size]).all(|number| number <= MOST_WHOLE);
    (read.form == FORM && is_plain).then_some(read)
}

/// A line of a record, if it is one.
pub fn record(line: &[u8]) -> Option<Record> {
    whole(line).filter(|read: &Record| read.position <= MOST_WHOLE)
}

/// A last line, if it is one.
pub fn tail(line: &[u8]) -> Option<Tail> {
    whole(line)
}

/// Reads a line that must be written just so: any other spelling of the same value is none.
fn whole<T: Serialize + for<'d> Deserialize<'d>>(line: &[u8]) -> Option<T> {
    let read: T = serde_json::from_slice(line).ok()?;
    (serde_json::to_vec(&read).ok()? == line).then_some(read)
}

impl Record {
    /// The record's id, as its entry says it.
    pub fn id(&self) -> Option<String> {
        #[derive(Deserialize)]
        struct Named {
            id: String,
        }
        serde_json::from_str::<Named>(&self.entry).ok().map(|named| named.id)
    }

    /// The hashes of its proof.
    pub fn hashes(&self) -> Option<Vec<Hash>> {
        let bytes = STANDARD.decode(&self.proof).ok()?;
        let (hashes, rest) = bytes.as_chunks::<32>();
        (rest.is_empty() && hashes.len() <= HASHES_MAX).then(|| hashes.to_vec())
    }
}

/// The base64 of the hashes of a proof.
pub fn proof_text(hashes: &[Hash]) -> String {
    STANDARD.encode(hashes.as_flattened())
}

/// What an entry says of itself by which it is found.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Said {
    /// Id of the person who entered it, or `system/NAME`.
    pub entered_by: String,
    /// The name as it was.
    pub entered_by_name: String,
    /// The lots that it names.
    pub lots: Vec<String>,
    /// The check and the plan of a reading or a deviation.
    pub check: (String, String),
}

/// Reads an entry as far as it goes; one that is no JSON says nothing.
pub fn said(entry: &str) -> Said {
    let value: Value = serde_json::from_str(entry).unwrap_or_default();
    let text = |value: &Value| value.as_str().unwrap_or_default().to_owned();
    let lots = value["lots"].as_array().map(Vec::as_slice).unwrap_or_default();
    Said {
        entered_by: text(&value["entered_by"]["id"]),
        entered_by_name: text(&value["entered_by"]["name"]),
        lots: lots.iter().map(text).filter(|lot| !lot.is_empty()).collect(),
        check: (text(&value["check"]), text(&value["plan"])),
    }
}
