//! Whether both languages say the same things, and every page says what is there.
//! Whether they say it well, a person says.

use std::collections::BTreeSet;
use std::fs;
use std::path::Path;

use fluent_bundle::FluentResource;

use super::*;

/// The messages of a resource with the values that each names, from its text.
fn messages(text: &str) -> Vec<(String, BTreeSet<String>)> {
    let is_of_id = |c: char| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '-';
    let mut found: Vec<(String, BTreeSet<String>)> = Vec::new();
    for line in text.lines() {
        let id = line.split_once(" =").map(|(id, _)| id);
        if let Some(id) = id.filter(|id| !id.is_empty() && id.chars().all(is_of_id)) {
            found.push((id.to_owned(), BTreeSet::new()));
        }
        let Some((_, values)) = found.last_mut() else { continue };
        for part in line.split('$').skip(1) {
            let end = part.find(|c: char| !c.is_ascii_alphanumeric()).unwrap_or(part.len());
            values.insert(part[..end].to_owned());
        }
    }
    found
}

/// The text of every file of the pages but tests.
fn sources() -> String {
    fn read(folder: &Path, all: &mut String) {
        let entries = fs::read_dir(folder).expect("a folder");
        for entry in entries.map(|entry| entry.expect("an entry")) {
            let path = entry.path();
            match path.is_dir() {
                true => read(&path, all),
                false if path.ends_with("tests.rs") => {}
                false => all.push_str(&fs::read_to_string(&path).expect("a text")),
            }
        }
    }
    let mut all = String::new();
    read(&Path::new(env!("CARGO_MANIFEST_DIR")).join("src/pages"), &mut all);
    all
}

#[test]
fn both_files_can_be_read_whole() {
    for text in [ENGLISH, SPANISH] {
        if let Err((_, faults)) = FluentResource::try_new(text.to_owned()) {
            panic!("{faults:?}");
        }
    }
}

#[test]
fn both_languages_have_the_same_messages_with_the_same_values() {
    let (english, spanish) = (messages(ENGLISH), messages(SPANISH));
    assert!(english.len() > 200, "{}", english.len());
    assert_eq!(english, spanish);
    let ids: BTreeSet<_> = english.iter().map(|(id, _)| id).collect();
    assert_eq!(ids.len(), english.len(), "a message stands twice");
}

#[test]
fn every_message_is_said_and_none_is_missing() {
    let (source, english) = (sources(), messages(ENGLISH));
    // Messages that `one_of` puts together of a kind and a word.
    let kinds = source.split("one_of(\"").skip(1).filter_map(|rest| rest.split('"').next());
    let kinds: Vec<&str> = kinds.chain(["mark"]).collect();
    let is_of_kind = |id: &str| {
        let after = |kind: &&str| id.strip_prefix(*kind).is_some_and(|rest| rest.starts_with('-'));
        kinds.iter().any(after)
    };
    for (id, _) in &english {
        assert!(source.contains(&format!("\"{id}\"")) || is_of_kind(id), "no page says {id}");
    }
    let ids: BTreeSet<&str> = english.iter().map(|(id, _)| id.as_str()).collect();
    for call in [".say(\"", ".with(\""] {
        for said in source.split(call).skip(1).filter_map(|rest| rest.split('"').next()) {
            assert!(ids.contains(said), "{said} is said and stands nowhere");
        }
    }
}

#[test]
fn every_kind_of_problem_has_its_words() {
    for words in LANGUAGES.map(Words::of) {
        for row in platform::error::KINDS {
            let said = words.one_of("problem", row.reason);
            assert_ne!(said, row.reason, "{:?}", words.language);
        }
    }
}

#[test]
fn numbers_choose_their_form() {
    let words = Words::of(Language::Spanish);
    assert_eq!(words.with("summary-holds", [("count", 1.into())]), "1 retención en pie");
    assert_eq!(words.with("summary-holds", [("count", 3.into())]), "3 retenciones en pie");
}
