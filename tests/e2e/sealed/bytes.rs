//! Bundles that were bent after they were exported: both verifiers name the same, and only what
//! was bent.
//! It never bends a plant.

use std::path::{Path, PathBuf};
use std::process::Command;

use audit::note::NoteKey;
use audit::verify::{Report, verify};

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
    let head = bundle.split(|byte| *byte == b'\n').next().expect("a head");
    let head = audit::bundle::head(head).expect("a head");
    head.records.into_iter().map(|(id, _)| id).collect()
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
    let (ids, count) = (ids(&new), ids(&new).len());
    assert_eq!(ids.last(), Some(&newest));
    let says = |what: &str, at: usize| format!("{what} {}", ids[at]);
    let proved = |number: usize, of: usize| format!("{number} of {of} records are proved.");
    let old_tail = split(&old).pop().expect("a tail");
    let mut checkpoint = audit::bundle::tail(split(&new).last().expect("a tail")).expect("a tail");
    checkpoint.checkpoint = audit::bundle::tail(&old_tail).expect("a tail").checkpoint;
    let checkpoint = audit::bundle::line(&checkpoint).expect("a line").into_bytes();
    let cases: Vec<(Vec<u8>, Vec<String>)> = vec![
        (new.clone(), vec![proved(count, count)]),
        (old.clone(), vec![proved(count - 1, count - 1)]),
        // A record taken out.
        (with(&new, |l| _ = l.remove(2)), vec![says("MISSING", 1), proved(count - 1, count - 1)]),
        // Two records swapped.
        (with(&new, |l| l.swap(1, 3)), {
            let mut both = vec![says("REORDERED", 0), says("REORDERED", 2)];
            both.sort();
            both.push(proved(count, count));
            both
        }),
        // A record twice.
        (with(&new, |l| l.insert(2, l[1].clone())), {
            let mut moved: Vec<_> = (0..count).map(|at| says("REORDERED", at)).collect();
            moved.sort();
            moved.push(proved(count + 1, count + 1));
            moved
        }),
        // The signatures of checkpoint and list swapped.
        (
            with(&new, |l| l[count + 1] = swapped(&l[count + 1])),
            vec!["UNSIGNED checkpoint".into(), "UNSIGNED manifest".into(), proved(0, count)],
        ),
        // An old checkpoint with its own good signature.
        (
            with(&new, |l| l[count + 1] = checkpoint),
            vec!["ALTERED checkpoint".into(), says("UNSIGNED", count - 1), proved(0, count)],
        ),
        // The whole last line of an older bundle.
        (
            with(&new, |l| l[count + 1] = old_tail),
            vec!["ALTERED head".into(), says("UNSIGNED", count - 1), proved(0, count)],
        ),
        // A reading that is gone from the list too.
        (
            with(&new, |l| {
                l.remove(2);
                let mut head = audit::bundle::head(&l[0]).expect("a head");
                head.records.remove(1);
                l[0] = audit::bundle::line(&head).expect("a line").into_bytes();
            }),
            vec!["ALTERED head".into(), proved(count - 1, count - 1)],
        ),
        (Vec::new(), vec!["MISSING bundle".into(), proved(0, 0)]),
        (new[..new.len() - 1].to_vec(), vec!["ALTERED end".into(), proved(count, count)]),
        (new[..new.len() / 2].to_vec(), vec![]),
    ];
    let bundles: Vec<_> = cases.iter().map(|(bundle, _)| bundle.clone()).collect();
    let mut wrong = Vec::new();
    for (at, said) in found(Some(&key), &bundles).into_iter().enumerate() {
        let wanted = &cases[at].1;
        // What is left of half a file is not told line by line here.
        if said != *wanted && !wanted.is_empty() || said.len() < 2 && at > 1 {
            wrong.push((at, said, wanted.clone()));
        }
    }
    assert_eq!(wrong, vec![]);
    found(None, &bundles);
    // The program says the same, and its exit code with it.
    for (at, (bundle, wanted)) in cases.iter().enumerate() {
        let (holds, said) = check(&["verify", "--key", &key.to_string()], bundle);
        assert_eq!(holds, at < 2, "{said}");
        assert!(wanted.iter().all(|line| said.contains(line.as_str())), "{said}");
    }
    // Signed anew by a key of the forger's own: only a pinned key tells.
    let folder = tempfile::tempdir().expect("a folder");
    let forger = audit::note::SigningKey::open_or_create(&folder.path().join("key"));
    let forger = forger.expect("a key");
    let forged = with(&new, |l| {
        let mut tail = audit::bundle::tail(&l[count + 1]).expect("a tail");
        let text = key.open(&tail.checkpoint).expect("a note");
        tail.checkpoint = forger.sign(&key.name, text);
        tail.manifest = forger.sign(&key.name, &audit::bundle::manifest(&l[0]));
        tail.key = forger.public(&key.name).to_string();
        l[count + 1] = audit::bundle::line(&tail).expect("a line").into_bytes();
    });
    let said = found(Some(&key), std::slice::from_ref(&forged));
    let unsigned = ["ALTERED key", "UNSIGNED checkpoint", "UNSIGNED manifest"];
    assert_eq!(said[0][..3], unsigned.map(str::to_owned));
    assert_eq!(found(None, &[forged])[0], [proved(count, count)]);
}
