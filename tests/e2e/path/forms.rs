//! The forms of entries as records really have them, pinned: they are read for ever.
//! It never changes a form: a new version of one stands beside it in the golden file.
//!
//! With UPDATE=1 in the environment the file is written anew.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::Path;

use serde_json::Value;
use tokio_postgres::Client;

/// Each form with its members: their paths, what they hold, and `?` where some entries lack one.
type Forms = BTreeMap<String, BTreeMap<String, String>>;

/// Asserts that the entries of a database have the forms of a file under tests/golden.
pub async fn assert_stand(client: &Client, name: &str) {
    assert_are(forms(client).await, name);
}

/// The same of the forms of one service alone: `yields`.
pub async fn assert_of(client: &Client, service: &str, name: &str) {
    let mut found = forms(client).await;
    found.retain(|form, _| form.split('.').next() == Some(service));
    assert!(!found.is_empty(), "no entry of {service}");
    assert_are(found, name);
}

fn assert_are(found: Forms, name: &str) {
    let file = Path::new(env!("CARGO_MANIFEST_DIR")).join("golden").join(name);
    let text = serde_json::to_string_pretty(&found).expect("JSON") + "\n";
    if std::env::var_os("UPDATE").is_some() {
        fs::write(&file, &text).expect("the golden file");
    }
    let golden = fs::read_to_string(&file).expect("the golden file");
    assert!(golden == text, "the forms are now:\n{text}");
}

async fn forms(client: &Client) -> Forms {
    let query = "SELECT form, entry FROM audit.leaf";
    let leaves = client.query(query, &[]).await.expect("the leaves");
    let mut seen: BTreeMap<String, Vec<BTreeMap<String, String>>> = BTreeMap::new();
    for leaf in leaves {
        let entry: Value = serde_json::from_str(leaf.get(1)).expect("an entry");
        let mut members = BTreeMap::new();
        walk(&entry, "", &mut members);
        seen.entry(leaf.get(0)).or_default().push(members);
    }
    seen.into_iter().map(|(form, entries)| (form, joined(&entries))).collect()
}

fn joined(entries: &[BTreeMap<String, String>]) -> BTreeMap<String, String> {
    let paths: BTreeSet<_> = entries.iter().flat_map(BTreeMap::keys).collect();
    let kind = |path: &String| {
        let kinds: BTreeSet<_> = entries.iter().filter_map(|entry| entry.get(path)).collect();
        let kinds: Vec<_> = kinds.into_iter().map(String::as_str).collect();
        let always = entries.iter().all(|entry| entry.contains_key(path));
        format!("{}{}", kinds.join(" or "), if always { "" } else { "?" })
    };
    paths.into_iter().map(|path| (path.clone(), kind(path))).collect()
}

fn walk(value: &Value, path: &str, members: &mut BTreeMap<String, String>) {
    let kind = match value {
        Value::Object(object) => {
            for (name, inner) in object {
                let path = if path.is_empty() { name.clone() } else { format!("{path}.{name}") };
                walk(inner, &path, members);
            }
            return;
        }
        Value::Array(items) => {
            items.iter().for_each(|item| walk(item, &format!("{path}[]"), members));
            "list"
        }
        Value::String(_) => "text",
        Value::Number(_) => "whole number",
        Value::Bool(_) => "truth",
        Value::Null => "null",
    };
    members.insert(path.to_owned(), kind.to_owned());
}
