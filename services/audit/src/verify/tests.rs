//! Bundles of trees of any size, whole and bent, made here with a key of the test's own.
//! They never ask a database: what a plant exports is bent in the end-to-end tests.

use domain::record::leaf_hash;
use domain::tree::{Node, Peaks, View};
use proptest::prelude::*;

use super::*;
use crate::bundle::{FORM, Record, Tail, line, manifest, proof_text};
use crate::note::SigningKey;

const ORIGIN: &str = "plant.example/log";

fn id(number: u64) -> String {
    format!("01997000-0000-7000-8000-{number:012}")
}

fn signer() -> SigningKey {
    let folder = tempfile::tempdir().expect("a folder");
    SigningKey::open_or_create(&folder.path().join("key")).expect("a key")
}

/// The lines of a bundle of some entries of a tree.
fn made(signer: &SigningKey, size: u64, positions: &[u64]) -> Vec<String> {
    let entry = |at: u64| format!("{{\"id\":\"{}\",\"note\":\"caf\u{e9} {at}\"}}", id(at));
    let (mut peaks, mut view) = (Peaks::default(), View::new(size));
    for index in 0..size {
        let hash = leaf_hash(&entry(index));
        view.insert(Node { level: 0, index, hash });
        peaks.push(hash).into_iter().for_each(|node| view.insert(node));
    }
    let head = Head {
        about: "day:2026-11-25".into(),
        form: FORM.into(),
        origin: ORIGIN.into(),
        records: positions.iter().map(|at| (id(*at), *at)).collect(),
        size,
    };
    let head = line(&head).expect("a line");
    let checkpoint = Checkpoint { origin: ORIGIN.into(), size, root: peaks.root() };
    let tail = Tail {
        checkpoint: signer.sign(ORIGIN, &checkpoint.text()),
        key: signer.public(ORIGIN).to_string(),
        manifest: signer.sign(ORIGIN, &manifest(head.as_bytes())),
    };
    let mut record = |position: u64| {
        let proof = proof_text(&view.inclusion(position).expect("a leaf"));
        line(&Record { entry: entry(position), position, proof }).expect("a line")
    };
    let mut lines = vec![head];
    lines.extend(positions.iter().map(|at| record(*at)));
    lines.push(line(&tail).expect("a line"));
    lines
}

fn whole(lines: &[String]) -> Vec<u8> {
    lines.iter().flat_map(|line| [line, "\n"].concat().into_bytes()).collect()
}

fn said(report: &Report) -> Vec<String> {
    report.findings.iter().map(ToString::to_string).collect()
}

#[test]
fn a_bundle_of_nothing_holds_and_no_bundle_does_not() {
    let signer = signer();
    let lines = made(&signer, 3, &[]);
    let report = verify(&whole(&lines), Some(&signer.public(ORIGIN)));
    assert_eq!((said(&report), report.records), (vec![], 0));
    assert_eq!(report.about.as_deref(), Some("day:2026-11-25"));
    assert_eq!(said(&verify(b"", None)), ["MISSING bundle"]);
    assert_eq!(said(&verify(b"x", None)), ["ALTERED end", "MISSING bundle"]);
    assert_eq!(said(&verify(b"x\ny\n", None)), ["ALTERED head", "ALTERED tail"]);
}

#[test]
fn another_spelling_of_the_same_value_is_no_line() {
    let signer = signer();
    let lines = made(&signer, 3, &[1]);
    for (from, to) in [
        ("{\"entry\"", "{ \"entry\""),
        ("\"position\":1", "\"position\":1.0"),
        ("\"position\":1", "\"position\":01"),
        ("caf\u{e9}", "caf\\u00e9"),
        ("\"proof\"", "\"extra\":1,\"proof\""),
    ] {
        let mut bent = lines.clone();
        bent[1] = bent[1].replacen(from, to, 1);
        assert_ne!(bent[1], lines[1], "{from}");
        let report = verify(&whole(&bent), None);
        assert_eq!((said(&report), report.proved), (vec![format!("ALTERED {}", id(1))], 0));
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(96))]
    #[test]
    fn a_whole_bundle_holds_and_one_altered_byte_is_found(
        size in 1u64..600,
        picks in prop::collection::vec(any::<prop::sample::Index>(), 0..12),
        at in any::<prop::sample::Index>(),
        bits in 1u8..=255,
    ) {
        let signer = signer();
        let mut positions: Vec<u64> =
            picks.iter().map(|pick| pick.index(size as usize) as u64).collect();
        positions.sort_unstable();
        positions.dedup();
        let key = signer.public(ORIGIN);
        let bundle = whole(&made(&signer, size, &positions));
        for pinned in [None, Some(&key)] {
            let report = verify(&bundle, pinned);
            prop_assert_eq!(said(&report), Vec::<String>::new());
            prop_assert_eq!(report.proved, positions.len());
            prop_assert_eq!(report.key, Some(key.to_string()));
        }
        let mut bent = bundle.clone();
        let at = at.index(bent.len());
        bent[at] ^= bits;
        prop_assert!(!verify(&bent, Some(&key)).findings.is_empty(), "byte {}", at);
    }
}
