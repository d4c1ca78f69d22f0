//! Bundles that were bent after they were exported: both verifiers name the same, and only what
//! was bent.
//! It never bends a plant.

use std::path::{Path, PathBuf};
use std::process::Command;

use audit::note::NoteKey;
use audit::verify::{Report, verify};

use super::forgery::FORGERIES;
use super::{Worked, check, told};

/// How many single bytes are altered.
const BYTES: usize = 1000;

/// What the second verifier says of many files, in their order: findings and the last line.
fn by_python(key: Option<&NoteKey>, bundles: &[Vec<u8>]) -> Vec<Vec<String>> {
    let folder = tempfile::tempdir().expect("a folder");
    let files: Vec<PathBuf> =
        (0..bundles.len()).map(|at| folder.path().join(format!("{at:05}"))).collect();
    for (file, bundle) in files.iter().zip(bundles) {
        std::fs::write(file, bundle).expect("a file");
    }
    let mut command = Command::new("python3");
    command.arg(Path::new(env!("CARGO_MANIFEST_DIR")).join("golden/verify.py"));
    if let Some(key) = key {
        command.args(["--key", &key.to_string()]);
    }
    let (_, said) = told(command.args(files));
    let mut found = vec![Vec::new()];
    for line in said.lines() {
        found.last_mut().expect("one").push(line.to_owned());
        if line.ends_with("are proved.") {
            found.push(Vec::new());
        }
    }
    assert_eq!(found.pop(), Some(Vec::new()), "{said}");
    found
}

fn lines(report: &Report) -> Vec<String> {
    let findings = report.findings.iter().map(ToString::to_string);
    let last = format!("{} of {} records are proved.", report.proved, report.records);
    findings.chain([last]).collect()
}

/// What the program finds, once the second verifier has found the same.
fn found(key: Option<&NoteKey>, bundles: &[Vec<u8>]) -> Vec<Vec<String>> {
    let ours: Vec<_> = bundles.iter().map(|bundle| lines(&verify(bundle, key))).collect();
    let theirs = by_python(key, bundles);
    assert_eq!(ours.len(), theirs.len());
    for (at, (our, their)) in ours.iter().zip(&theirs).enumerate() {
        assert_eq!(our, their, "{}", String::from_utf8_lossy(&bundles[at]));
    }
    ours
}

/// Numbers that look random and are the same in every run (Marsaglia's xorshift, 64 bits).
struct Numbers(u64);

impl Numbers {
    fn below(&mut self, end: usize) -> usize {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        (self.0 % end as u64) as usize
    }
}

/// The ids of a bundle's records, in order.
fn ids(bundle: &[u8]) -> Vec<String> {
    let lines = split(bundle);
    let list = audit::bundle::list(&lines[lines.len() - 4]).expect("a list");
    list.records.into_iter().map(|(id, _)| id).collect()
}

#[tokio::test(flavor = "multi_thread")]
async fn one_altered_byte_is_found_wherever_it_is_and_blames_no_other_record() {
    let worked = Worked::start().await;
    worked.sealed().await;
    let bundle = worked.lot_bundle().await;
    let key: NoteKey = worked.key().await.parse().expect("a key");
    worked.stop().await;
    let (ids, mut numbers) = (ids(&bundle), Numbers(0x5ea1));
    let ends: Vec<usize> = (0..bundle.len()).filter(|at| bundle[*at] == b'\n').collect();
    let mut bent = Vec::new();
    for _ in 0..BYTES {
        let (at, mut other) = (numbers.below(bundle.len()), bundle.clone());
        other[at] ^= 1 + numbers.below(255) as u8;
        bent.push((at, other));
    }
    let bundles: Vec<_> = bent.iter().map(|(_, bundle)| bundle.clone()).collect();
    for (at, said) in found(Some(&key), &bundles).into_iter().enumerate() {
        let (place, said) = (bent[at].0, &said[..said.len() - 1]);
        assert!(!said.is_empty(), "byte {place} was altered and nothing was found");
        let line = ends.iter().filter(|end| **end < place).count();
        // A line feed belongs to two lines; one that was put in makes two of one.
        let is_edge = bundle[place] == b'\n' || bundles[at][place] == b'\n';
        for (number, id) in ids.iter().enumerate() {
            let blamed = said.iter().any(|finding| finding.ends_with(id));
            let is_near = line == number + 1 || (is_edge && line.abs_diff(number + 1) <= 1);
            assert!(!blamed || is_near, "byte {place} of line {line} blames {id}: {said:?}");
        }
        // Where only the body of one record was altered, it is named and nothing else.
        if (1..=ids.len()).contains(&line) && !is_edge {
            assert_eq!(said, [format!("ALTERED {}", ids[line - 1])], "byte {place}");
        }
    }
}

/// The lines of a bundle.
fn split(bundle: &[u8]) -> Vec<Vec<u8>> {
    let mut lines: Vec<_> = bundle.split(|byte| *byte == b'\n').map(<[u8]>::to_vec).collect();
    lines.pop();
    lines
}

fn join(lines: &[Vec<u8>]) -> Vec<u8> {
    lines.iter().flat_map(|line| [line.as_slice(), b"\n"].concat()).collect()
}

/// A bundle whose lines were changed.
fn with(bundle: &[u8], change: impl FnOnce(&mut Vec<Vec<u8>>)) -> Vec<u8> {
    let mut lines = split(bundle);
    change(&mut lines);
    join(&lines)
}

/// A last line whose notes have swapped their signatures.
fn swapped(tail: &[u8]) -> Vec<u8> {
    let mut tail = audit::bundle::tail(tail).expect("a tail");
    let cut = |note: &str| note.rsplit_once("\n\n").map(|(a, b)| (a.to_owned(), b.to_owned()));
    let (checkpoint, manifest) = (cut(&tail.checkpoint), cut(&tail.manifest));
    let (checkpoint, manifest) = (checkpoint.expect("a note"), manifest.expect("a note"));
    tail.checkpoint = format!("{}\n\n{}", checkpoint.0, manifest.1);
    tail.manifest = format!("{}\n\n{}", manifest.0, checkpoint.1);
    audit::bundle::line(&tail).expect("a line").into_bytes()
}

/// A bundle and what both verifiers must say of it; nothing where only that they find something.
type Case = (Vec<u8>, Vec<String>);

fn proved(number: usize, of: usize) -> String {
    format!("{number} of {of} records are proved.")
}

/// Findings of one kind about some records, in the order in which they are printed.
fn about(kind: &str, ids: &[&String]) -> Vec<String> {
    let mut found: Vec<_> = ids.iter().map(|id| format!("{kind} {id}")).collect();
    found.sort();
    found
}

/// Lines moved, taken out, doubled or cut off.
fn moved(new: &[u8]) -> Vec<Case> {
    let ids = ids(new);
    let count = ids.len();
    let said = |found: Vec<String>, number: usize| [found, vec![proved(number, number)]].concat();
    let all: Vec<&String> = ids.iter().collect();
    let out = with(new, |l| _ = l.remove(2));
    let swapped = with(new, |l| l.swap(1, 3));
    let doubled = with(new, |l| l.insert(2, l[1].clone()));
    // Gone from the list too: the list is signed.
    let unlisted = with(&out, |l| {
        let at = l.len() - 4;
        let mut list = audit::bundle::list(&l[at]).expect("a list");
        list.records.remove(1);
        l[at] = audit::bundle::line(&list).expect("a line").into_bytes();
    });
    vec![
        (out, said(about("MISSING", &[&ids[1]]), count - 1)),
        (swapped, said(about("REORDERED", &[&ids[0], &ids[2]]), count)),
        (doubled, said(about("REORDERED", &all), count + 1)),
        (unlisted, said(vec!["ALTERED list".into()], count - 1)),
        (Vec::new(), said(vec!["MISSING bundle".into()], 0)),
        (new[..new.len() - 1].to_vec(), said(vec!["ALTERED end".into()], count)),
        (new[..new.len() / 2].to_vec(), Vec::new()),
    ]
}

/// Other notes in the last line.
fn resigned(old: &[u8], new: &[u8]) -> Vec<Case> {
    let (ids, old_tail) = (ids(new), split(old).pop().expect("a tail"));
    let count = ids.len();
    let newest = format!("UNSIGNED {}", ids[count - 1]);
    let mut checkpoint = audit::bundle::tail(&split(new)[count + 4]).expect("a tail");
    checkpoint.checkpoint = audit::bundle::tail(&old_tail).expect("a tail").checkpoint;
    let checkpoint = audit::bundle::line(&checkpoint).expect("a line").into_bytes();
    let last = |line: Vec<u8>| with(new, |l| l[count + 4] = line);
    let unsigned = ["UNSIGNED checkpoint".into(), "UNSIGNED manifest".into(), proved(0, count)];
    let replayed = ["ALTERED checkpoint".into(), newest.clone(), proved(0, count)];
    let parts = ["beside", "head", "list", "within"].map(|part| format!("ALTERED {part}"));
    let older = [parts.to_vec(), vec![newest, proved(0, count)]].concat();
    vec![
        // The signatures of checkpoint and list swapped.
        (last(swapped(&split(new)[count + 4])), unsigned.to_vec()),
        // An old checkpoint with its own good signature.
        (last(checkpoint), replayed.to_vec()),
        // The whole last line of an older bundle.
        (last(old_tail), older),
    ]
}

#[tokio::test(flavor = "multi_thread")]
async fn both_verifiers_name_every_way_of_bending_a_bundle() {
    let worked = Worked::start().await;
    worked.sealed().await;
    let old = worked.lot_bundle().await;
    let newest = worked.read("39").await;
    worked.sealed().await;
    let new = worked.lot_bundle().await;
    let key: NoteKey = worked.key().await.parse().expect("a key");
    worked.stop().await;
    let count = ids(&new).len();
    assert_eq!(ids(&new).last(), Some(&newest));
    let good = [(&new, count), (&old, count - 1)];
    let good = good.map(|(bundle, count)| (bundle.clone(), vec![proved(count, count)]));
    let cases = [good.to_vec(), moved(&new), resigned(&old, &new)].concat();
    let bundles: Vec<_> = cases.iter().map(|(bundle, _)| bundle.clone()).collect();
    for (at, said) in found(Some(&key), &bundles).into_iter().enumerate() {
        let wanted = &cases[at].1;
        assert!(said.len() > usize::from(at > 1), "{at}: nothing was found");
        assert!(wanted.is_empty() || said == *wanted, "{at}: {said:?} and not {wanted:?}");
    }
    // By the printed key they agree too.
    found(None, &bundles);
    // The program says the same, and its exit code with it.
    for (at, (bundle, wanted)) in cases.iter().enumerate() {
        let (holds, said) = check(&["verify", "--key", &key.to_string()], bundle);
        assert_eq!(holds, at < 2, "{said}");
        assert!(wanted.iter().all(|line| said.contains(line.as_str())), "{said}");
    }
    assert_only_a_pinned_key_tells(&new, &key);
}

/// A bundle signed anew by a key of the forger's own.
fn assert_only_a_pinned_key_tells(new: &[u8], key: &NoteKey) {
    let count = ids(new).len();
    let folder = tempfile::tempdir().expect("a folder");
    let forger = audit::note::SigningKey::open_or_create(&folder.path().join("key"));
    let forger = forger.expect("a key");
    let forged = with(new, |l| {
        let mut tail = audit::bundle::tail(&l[count + 4]).expect("a tail");
        let text = key.open(&tail.checkpoint).expect("a note");
        tail.checkpoint = forger.sign(&key.name, text);
        let signed = [0, count + 1, count + 2, count + 3].map(|at| l[at].as_slice());
        tail.manifest = forger.sign(&key.name, &audit::bundle::manifest(signed));
        tail.key = forger.public(&key.name).to_string();
        l[count + 4] = audit::bundle::line(&tail).expect("a line").into_bytes();
    });
    let said = found(Some(key), std::slice::from_ref(&forged));
    let unsigned = ["ALTERED key", "UNSIGNED checkpoint", "UNSIGNED manifest"];
    assert_eq!(said[0][..3], unsigned.map(str::to_owned));
    assert_eq!(found(None, &[forged])[0], [proved(count, count)]);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_bundle_of_a_bent_database_names_what_was_bent() {
    let worked = Worked::start().await;
    let id = worked.read("37.9").await;
    worked.sealed().await;
    let key: NoteKey = worked.key().await.parse().expect("a key");
    // The entry and its hash; then its sealed hash too, in a log of fewer than 256 leaves.
    let mut said = Vec::new();
    for (_, bend, _) in &FORGERIES[2..4] {
        let bend = bend.replace("ID", &id);
        let silent = format!(
            "SET session_replication_role = replica; {bend}; SET session_replication_role = origin"
        );
        worked.database.batch_execute(&silent).await.expect("a superuser");
        let bundle = worked.lot_bundle().await;
        let count = ids(&bundle).len();
        said.push((found(Some(&key), &[bundle]).remove(0), count));
    }
    worked.stop().await;
    let (alone, count) = &said[0];
    assert_eq!(*alone, [format!("ALTERED {id}"), proved(count - 1, *count)]);
    let (all, count) = &said[1];
    assert!(all.contains(&format!("ALTERED {id}")), "{all:?}");
    assert_eq!((all.len(), all.last()), (count + 1, Some(&proved(0, *count))));
}
