//! The form of a bundle: one JSON object a line, each in canonical form, the last one signed.
//! It never decides which entries belong to a bundle and never judges one.

use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use domain::record::Hash;
use serde::de::IgnoredAny;
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};

/// The form in the first line, and the first line of the manifest.
pub const FORM: &str = "hankbook.bundle/2";
/// The greatest whole number that every reader of JSON keeps.
const MOST_WHOLE: u64 = (1 << 53) - 1;
/// The most records of a bundle.
pub const RECORDS_MAX: usize = 200_000;

/// The first line: what the bundle is about.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Head {
    /// `lot:ID`, `day:DATE`, `check:CODE:PLAN:DATE`.
    pub about: String,
    /// [`FORM`].
    pub form: String,
    /// The name of the log.
    pub origin: String,
    /// The size of the tree in which its records are proved.
    pub size: u64,
}

/// A line of a record.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Record {
    /// The entry as it was written.
    pub entry: String,
    /// Its place in the log.
    pub position: u64,
}

/// The line after the records: which they are.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct List {
    /// Ids of records with their positions, in the order of the log.
    pub records: Vec<(String, u64)>,
}

/// The line after the list: where the records stand, and the tree beside them.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Beside {
    /// Hashes of the parts of the tree that hold no record, one after the other, in base64.
    pub beside: String,
    /// Runs of positions, each by its first one and how many it has.
    pub runs: Vec<(u64, u64)>,
}

/// The line before the last: the tree over the records.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Within {
    /// Hashes of the parts of the tree that hold records, one after the other, in base64.
    pub within: String,
}

/// The last line: what signs all of it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Tail {
    /// The signed checkpoint.
    pub checkpoint: String,
    /// The public key that signs both notes.
    pub key: String,
    /// The signed note over the lines that are no record's.
    pub manifest: String,
}

/// The text of the note over the first line, the list, and the two lines of the tree.
pub fn manifest(lines: [&[u8]; 4]) -> String {
    format!("{FORM}\n{}\n", lines.map(hash_text).join("\n"))
}

/// Which of these lines the text of a manifest is about.
pub fn are_signed(manifest: &str, lines: [&[u8]; 4]) -> [bool; 4] {
    let mut signed = manifest.split('\n');
    let is_manifest = manifest.split('\n').count() == 6 && signed.next() == Some(FORM);
    lines.map(|line| signed.next() == Some(&hash_text(line)) && is_manifest)
}

fn hash_text(line: &[u8]) -> String {
    STANDARD.encode(Sha256::digest(line))
}

/// A line; its names are declared in their order, so that it is canonical. Nothing where a number
/// is too large.
pub fn line<T: Serialize>(of: &T) -> Option<String> {
    serde_json::to_string(of).ok()
}

/// A first line, if it is one.
pub fn head(line: &[u8]) -> Option<Head> {
    whole(line).filter(|read: &Head| read.form == FORM && read.size <= MOST_WHOLE)
}

/// A line of a record, if it is one.
pub fn record(line: &[u8]) -> Option<Record> {
    whole(line).filter(|read: &Record| read.position <= MOST_WHOLE)
}

/// A list, if it is one.
pub fn list(line: &[u8]) -> Option<List> {
    let is_plain = |read: &List| read.records.iter().all(|(_, at)| *at <= MOST_WHOLE);
    whole(line).filter(is_plain)
}

/// Positions in their order and the hashes beside them, if the line is one of these.
pub fn beside(line: &[u8]) -> Option<(Vec<u64>, Vec<Hash>)> {
    let read: Beside = whole(line)?;
    let (mut positions, mut next) = (Vec::new(), None);
    for (first, count) in read.runs {
        let end = first.checked_add(count).filter(|end| *end <= MOST_WHOLE)?;
        // Runs that touch are one run.
        let is_next = next.is_none_or(|next| first > next) && count > 0;
        if !is_next || positions.len() as u64 + count > RECORDS_MAX as u64 {
            return None;
        }
        positions.extend(first..end);
        next = Some(end);
    }
    Some((positions, hashes(&read.beside)?))
}

/// The hashes over the records, if the line is one of these.
pub fn within(line: &[u8]) -> Option<Vec<Hash>> {
    let read: Within = whole(line)?;
    hashes(&read.within)
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
}

/// Runs of positions that are in order.
pub fn runs(positions: &[u64]) -> Vec<(u64, u64)> {
    let runs = positions.chunk_by(|one, next| one + 1 == *next);
    runs.map(|run| (run[0], run.len() as u64)).collect()
}

/// Hashes one after the other, in base64.
pub fn hashes_text(hashes: &[Hash]) -> String {
    STANDARD.encode(hashes.as_flattened())
}

fn hashes(text: &str) -> Option<Vec<Hash>> {
    let bytes = STANDARD.decode(text).ok()?;
    let (hashes, rest) = bytes.as_chunks::<32>();
    rest.is_empty().then(|| hashes.to_vec())
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

/// What is read of an entry; what has another shape says nothing.
#[derive(Default, Deserialize)]
#[serde(default)]
struct Read {
    entered_by: Loose<Person>,
    lots: Loose<Vec<Loose<String>>>,
    check: Loose<String>,
    plan: Loose<String>,
}

#[derive(Default, Deserialize)]
#[serde(default)]
struct Person {
    id: Loose<String>,
    name: Loose<String>,
}

/// A value of the wanted shape, or any other.
#[derive(Deserialize)]
#[serde(untagged)]
enum Loose<T> {
    Is(T),
    Other(IgnoredAny),
}

impl<T: Default> Default for Loose<T> {
    fn default() -> Self {
        Self::Is(T::default())
    }
}

impl<T: Default> Loose<T> {
    fn or_nothing(self) -> T {
        match self {
            Self::Is(value) => value,
            Self::Other(_) => T::default(),
        }
    }
}

/// Reads an entry as far as it goes; one that is no JSON says nothing.
pub fn said(entry: &str) -> Said {
    let Read { entered_by, lots, check, plan } = serde_json::from_str(entry).unwrap_or_default();
    let entered_by = entered_by.or_nothing();
    let lots = lots.or_nothing().into_iter().map(Loose::or_nothing);
    Said {
        entered_by: entered_by.id.or_nothing(),
        entered_by_name: entered_by.name.or_nothing(),
        lots: lots.filter(|lot| !lot.is_empty()).collect(),
        check: (check.or_nothing(), plan.or_nothing()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_entry_says_what_it_says_and_another_shape_says_nothing() {
        let entry = r#"{"check":"CCP-1","deep":{"plan":"not it"},"entered_by":{"id":"a","name":"caf\u00e9",
            "more":[1]},"lots":["1",2,"",{"id":"3"},"4"],"plan":{"id":"5"}}"#;
        let whole = said(entry);
        assert_eq!((whole.entered_by.as_str(), whole.entered_by_name.as_str()), ("a", "caf\u{e9}"));
        assert_eq!(whole.lots, ["1", "4"]);
        assert_eq!(whole.check, ("CCP-1".to_owned(), String::new()));
        for nothing in ["", "{", "[]", "{}", "1", r#"{"lots":"1","entered_by":null,"check":2}"#] {
            assert_eq!(said(nothing), Said::default(), "{nothing}");
        }
    }
}
