//! Bundles of trees of any size, whole and bent, made here with a key of the test's own.
//! They never ask a database: what a plant exports is bent in the end-to-end tests.

use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use domain::record::{Hash, leaf_hash};
use domain::tree::{Node, Peaks, View};
use proptest::prelude::*;

use super::*;
use crate::bundle::{Beside, FORM, Record, Tail, Within, hashes_text, line, manifest, runs};
use crate::note::SigningKey;

const ORIGIN: &str = "plant.example/log";

fn id(number: u64) -> String {
    format!("01997000-0000-7000-8000-{number:012}")
}

fn signer() -> SigningKey {
    let folder = tempfile::tempdir().expect("a folder");
    SigningKey::open_or_create(&folder.path().join("key")).expect("a key")
}

fn entry(at: u64) -> String {
    format!("{{\"id\":\"{}\",\"note\":\"caf\u{e9} {at}\"}}", id(at))
}

/// The lines of a bundle of some entries of a tree; `leaf` is what the tree holds of each entry.
fn sealed(
    signer: &SigningKey,
    size: u64,
    positions: &[u64],
    leaf: impl Fn(u64) -> Hash,
) -> Vec<String> {
    let (mut peaks, mut view) = (Peaks::default(), View::new(size));
    for index in 0..size {
        view.insert(Node { level: 0, index, hash: leaf(index) });
        let nodes = peaks.push(leaf_hash(&entry(index)));
        nodes.into_iter().for_each(|node| view.insert(node));
    }
    let checkpoint = Checkpoint { origin: ORIGIN.into(), size, root: peaks.root() };
    let joint = view.joint(positions).expect("leaves");
    let written = |line: Option<String>| line.expect("a line");
    let about = "day:2026-11-25".into();
    let head = written(line(&Head { about, form: FORM.into(), origin: ORIGIN.into(), size }));
    let records = positions.iter().map(|at| (id(*at), *at)).collect();
    let list = written(line(&List { records }));
    let beside = hashes_text(&joint.beside);
    let beside = written(line(&Beside { beside, runs: runs(positions) }));
    let within = written(line(&Within { within: hashes_text(&joint.within) }));
    let tail = Tail {
        checkpoint: signer.sign(ORIGIN, &checkpoint.text()),
        key: signer.public(ORIGIN).to_string(),
        manifest: signer
            .sign(ORIGIN, &manifest([&head, &list, &beside, &within].map(|line| line.as_bytes()))),
    };
    let record = |at: &u64| written(line(&Record { entry: entry(*at), position: *at }));
    let mut lines = vec![head];
    lines.extend(positions.iter().map(record));
    lines.extend([list, beside, within, written(line(&tail))]);
    lines
}

fn made(signer: &SigningKey, size: u64, positions: &[u64]) -> Vec<String> {
    sealed(signer, size, positions, |at| leaf_hash(&entry(at)))
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
    let parts = ["beside", "head", "list", "tail", "within"].map(|part| format!("ALTERED {part}"));
    assert_eq!(said(&verify(b"1\n2\n3\n4\n5\n", None)), parts);
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
        ("\"position\"", "\"extra\":1,\"position\""),
    ] {
        let mut bent = lines.clone();
        bent[1] = bent[1].replacen(from, to, 1);
        assert_ne!(bent[1], lines[1], "{from}");
        let report = verify(&whole(&bent), None);
        assert_eq!((said(&report), report.proved), (vec![format!("ALTERED {}", id(1))], 0));
    }
}

/// A hash of a line of the tree put in another's place.
fn bent(line: &str, at: usize, hash: &Hash) -> String {
    let start = line.find(":\"").expect("hashes") + 2;
    let end = start + line[start..].find('"').expect("an end");
    let mut bytes = STANDARD.decode(&line[start..end]).expect("base64");
    bytes[at * 32..][..32].copy_from_slice(hash);
    format!("{}{}{}", &line[..start], STANDARD.encode(bytes), &line[end..])
}

#[test]
fn whoever_bends_a_record_and_its_hashes_names_no_more_than_its_neighbour() {
    let signer = signer();
    let positions: Vec<u64> = (4..12).collect();
    let lines = made(&signer, 23, &positions);
    let (list, within) = (lines.len() - 4, lines.len() - 2);
    // The leaf of position 5: both sides of 4..12, then 4..8 from the left.
    let altered = |lines: &mut Vec<String>, leaf: &Hash| {
        lines[2] = lines[2].replace("caf\u{e9} 5", "tea");
        lines[within] = bent(&lines[within], 5, leaf);
    };
    let forged = leaf_hash(&entry(5).replace("caf\u{e9} 5", "tea"));
    let mut both = lines.clone();
    altered(&mut both, &forged);
    let report = verify(&whole(&both), None);
    let named = [format!("ALTERED {}", id(4)), format!("ALTERED {}", id(5))];
    assert_eq!(said(&report)[..2], named);
    assert_eq!((said(&report)[2..].to_vec(), report.proved), (vec!["ALTERED within".into()], 6));
    // A hash over the records follows from these, if it is not as it was.
    let mut alone = lines.clone();
    alone[within] = bent(&lines[within], 5, &forged);
    let report = verify(&whole(&alone), None);
    assert_eq!((said(&report), report.proved), (vec!["ALTERED within".into()], 8));
    // Beside what was bent nobody can say which records were.
    let mut other = lines.clone();
    other[list + 1] = bent(&lines[list + 1], 0, &forged);
    let report = verify(&whole(&other), None);
    assert_eq!((said(&report), report.proved), (vec!["ALTERED beside".into()], 0));
}

#[test]
fn a_tree_that_was_bent_before_the_export_proves_nothing_below_what_was_bent() {
    let signer = signer();
    let positions: Vec<u64> = (0..600).collect();
    let forged = |text: &str| text.replace("caf\u{e9}", "tea");
    let mut lines = sealed(&signer, 600, &positions, |at| match at {
        300 => leaf_hash(&forged(&entry(at))),
        at => leaf_hash(&entry(at)),
    });
    lines[301] = forged(&lines[301]);
    let report = verify(&whole(&lines), None);
    let wanted: Vec<_> = (256..512).map(|at| format!("ALTERED {}", id(at))).collect();
    assert_eq!((said(&report), report.proved), (wanted, 344));
    // Where the sealed hash alone was bent, the entries show how it was.
    lines[301] = made(&signer, 600, &[300])[1].clone();
    let report = verify(&whole(&lines), None);
    assert_eq!((said(&report), report.proved), (vec!["ALTERED within".into()], 600));
    // Where the entry alone was bent, the tree says which one.
    let mut lines = made(&signer, 600, &positions);
    lines[301] = forged(&lines[301]);
    let report = verify(&whole(&lines), None);
    assert_eq!((said(&report), report.proved), (vec![format!("ALTERED {}", id(300))], 599));
}

fn named(said: &[String], position: u64) -> bool {
    said.iter().any(|finding| finding.ends_with(&id(position)))
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
        let line = bundle[..at].iter().filter(|byte| **byte == b'\n').count();
        let is_edge = bundle[at] == b'\n' || bent[at] == b'\n';
        let said = said(&verify(&bent, Some(&key)));
        prop_assert!(!said.is_empty(), "byte {}", at);
        match positions.get(line.wrapping_sub(1)).filter(|_| !is_edge) {
            // Where only a record was bent, it is named and nothing else.
            Some(position) if named(&said, *position) => {
                prop_assert_eq!(said.len(), 1, "{:?}", said);
            }
            _ if is_edge => {}
            Some(_) => prop_assert!(false, "byte {} of line {}: {:?}", at, line, said),
            None => prop_assert!(!positions.iter().any(|at| named(&said, *at))),
        }
    }
}
