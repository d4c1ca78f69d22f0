//! Published notes, checkpoints and signatures, and keys in files.
//! They never sign with a plant's key.

use std::os::unix::fs::PermissionsExt as _;

use serde_json::Value;

use super::*;

fn file(text: &str) -> Value {
    serde_json::from_str(text).expect("JSON")
}

fn text<'v>(value: &'v Value, name: &str) -> &'v str {
    value[name].as_str().expect("a text")
}

fn bytes(value: &Value, name: &str) -> Vec<u8> {
    let hex = text(value, name);
    let byte = |at: usize| u8::from_str_radix(&hex[at..at + 2], 16).expect("hex");
    (0..hex.len()).step_by(2).map(byte).collect()
}

/// The key of a published seed.
fn seeded(seed: &[u8]) -> SigningKey {
    SigningKey { pair: Ed25519KeyPair::from_seed_unchecked(seed).expect("a seed") }
}

#[test]
fn published_signatures() {
    // RFC 8032, section 7.1; must_fail: section 5.1.7 and altered bytes.
    let vectors = file(include_str!("../../tests/data/ed25519-vectors.json"));
    let good = vectors["vectors"].as_array().expect("vectors");
    let bad = vectors["must_fail"].as_array().expect("vectors");
    assert!(good.len() >= 3 && !bad.is_empty());
    for (case, fits) in good.iter().map(|case| (case, true)).chain(bad.iter().map(|c| (c, false))) {
        let key = bytes(case, "public");
        let key = UnparsedPublicKey::new(&ED25519, &key);
        let verified = key.verify(&bytes(case, "message"), &bytes(case, "signature"));
        assert_eq!(verified.is_ok(), fits, "{case}");
    }
    for case in good {
        let key = seeded(&bytes(case, "secret"));
        assert_eq!(key.pair.sign(&bytes(case, "message")).as_ref(), bytes(case, "signature"));
    }
}

#[test]
fn published_notes_and_checkpoints() {
    // C2SP signed-note.md, commit 5ba5ee8.
    let vectors = file(include_str!("../../tests/data/checkpoint-vectors.json"));
    for case in vectors["published"].as_array().expect("vectors") {
        let key: NoteKey = text(case, "vkey").parse().expect("a key");
        let opened = key.open(text(case, "note"));
        assert_eq!(opened.is_ok(), case["verifies"] == true, "{case}");
    }
    // Made by an independent implementation of the same page.
    for case in vectors["own"].as_array().expect("vectors") {
        let key: NoteKey = text(case, "vkey").parse().expect("a key");
        let opened = Checkpoint::open(text(case, "note"), &key);
        assert_eq!(opened.is_ok(), case["verifies"] == true, "{case}");
        if case["test_seed_hex"].is_string() {
            let signer = seeded(&bytes(case, "test_seed_hex"));
            assert_eq!(signer.public(&key.name), key);
            let written = opened.expect("a checkpoint").text();
            assert_eq!(signer.sign(&key.name, &written), text(case, "note"));
        }
    }
}

#[test]
fn what_is_no_key_and_no_note_is_refused() {
    let key = seeded(&[7; 32]).public("plant.example/log");
    let written = key.to_string();
    assert_eq!(written.parse(), Ok(key.clone()));
    for wrong in [
        written.replace("plant.example", "plant.elsewhere"),
        written.to_uppercase(),
        format!("{written} "),
        written.trim_end_matches('=').to_owned() + "A",
        "a+b".to_owned(),
        String::new(),
    ] {
        assert_eq!(wrong.parse::<NoteKey>(), Err(NoteError::Malformed), "{wrong}");
    }
    for wrong in
        ["", "\n\n", "a\n", "a\n\n", "a\n\n\u{2014} b\n", "a\n\n\u{2014} b !!\n", "\u{7}\n\n"]
    {
        assert_eq!(key.open(wrong), Err(NoteError::Malformed), "{wrong:?}");
    }
    let other = seeded(&[8; 32]).sign("plant.example/log", "a\n");
    assert_eq!(key.open(&other), Err(NoteError::Unsigned));
    let own = seeded(&[7; 32]).sign("plant.example/log", "a\n");
    assert_eq!(key.open(&own), Ok("a\n"));
    assert_eq!(key.open(&own.replace("a\n", "b\n")), Err(NoteError::BadSignature));
    // A signature by somebody else beside ours is not looked at.
    let theirs = other.rsplit_once("\n\n").expect("a note").1;
    assert_eq!(key.open(&format!("{own}{theirs}")), Ok("a\n"));
}

#[test]
fn a_key_is_made_once_and_closed_to_others() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("log.der");
    let made = SigningKey::open_or_create(&path).expect("a key").public("a");
    assert_eq!(SigningKey::open_or_create(&path).expect("a key").public("a"), made);
    let mode = fs::metadata(&path).expect("the file").permissions().mode();
    assert_eq!(mode & 0o777, 0o600);
    fs::write(&path, "no key").expect("the file");
    assert!(SigningKey::open_or_create(&path).is_err());
}
