//! How fast 50,000 leaves are verified: their tree against a signed head, and a whole bundle.
//! It never asserts a time: it prints what was measured.

use std::sync::LazyLock;

use audit::bundle::{self, Beside, FORM, Head, List, Record, Tail, Within};
use audit::note::{Checkpoint, NoteKey, SigningKey};
use audit::verify;
use divan::counter::ItemsCount;
use divan::{Bencher, black_box};
use domain::record::leaf_hash;
use domain::tree::{Node, Peaks, View};

const LEAVES: u64 = 50_000;
const ORIGIN: &str = "plant.example/log";

fn main() {
    divan::main();
}

/// An entry of the size of a reading's.
fn entry(number: u64) -> String {
    let fill = "x".repeat(760);
    format!(
        "{{\"form\":\"haccp.reading/1\",\"id\":\"01997000-0000-7000-8000-{number:012}\",\"note\":\"{fill}\"}}"
    )
}

struct Made {
    entries: Vec<String>,
    note: String,
    key: NoteKey,
    bundle: Vec<u8>,
}

static MADE: LazyLock<Made> = LazyLock::new(|| {
    let folder = tempfile::tempdir().expect("a folder");
    let signer = SigningKey::open_or_create(&folder.path().join("key")).expect("a key");
    let entries: Vec<_> = (0..LEAVES).map(entry).collect();
    let (mut peaks, mut view) = (Peaks::default(), View::new(LEAVES));
    for (index, entry) in (0..).zip(&entries) {
        let hash = leaf_hash(entry);
        view.insert(Node { level: 0, index, hash });
        peaks.push(hash).into_iter().for_each(|node| view.insert(node));
    }
    let head = Checkpoint { origin: ORIGIN.into(), size: LEAVES, root: peaks.root() };
    let note = signer.sign(ORIGIN, &head.text());
    let positions: Vec<u64> = (0..LEAVES).collect();
    let joint = view.joint(&positions).expect("leaves");
    let about = "day:2026-11-25".into();
    let first = Head { about, form: FORM.into(), origin: ORIGIN.into(), size: LEAVES };
    let records = positions.iter().map(|at| (format!("01997000-0000-7000-8000-{at:012}"), *at));
    let list = List { records: records.collect() };
    let beside = bundle::hashes_text(&joint.beside);
    let beside = Beside { beside, runs: bundle::runs(&positions) };
    let within = Within { within: bundle::hashes_text(&joint.within) };
    let signed = [bundle::line(&first), bundle::line(&list), bundle::line(&beside)];
    let [first, list, beside] = signed.map(|line| line.expect("a line"));
    let within = bundle::line(&within).expect("a line");
    let signed = [&first, &list, &beside, &within].map(|line| line.as_bytes());
    let tail = Tail {
        checkpoint: note.clone(),
        key: signer.public(ORIGIN).to_string(),
        manifest: signer.sign(ORIGIN, &bundle::manifest(signed)),
    };
    let mut lines = vec![first];
    for (position, entry) in (0..).zip(&entries) {
        let record = Record { entry: entry.clone(), position };
        lines.push(bundle::line(&record).expect("a line"));
    }
    lines.extend([list, beside, within, bundle::line(&tail).expect("a line")]);
    let bundle = (lines.join("\n") + "\n").into_bytes();
    Made { entries, note, key: signer.public(ORIGIN), bundle }
});

/// Hashes every entry, builds the tree, and compares it with the signed head.
#[divan::bench(sample_count = 20)]
fn leaves_against_a_signed_head(bencher: Bencher) {
    let made = &*MADE;
    bencher.counter(ItemsCount::new(LEAVES)).bench(|| {
        let mut peaks = Peaks::default();
        for entry in black_box(&made.entries) {
            peaks.push(leaf_hash(entry));
        }
        let head = Checkpoint::open(&made.note, &made.key).expect("a head");
        assert_eq!((head.size, head.root), (peaks.size(), peaks.root()));
    });
}

/// What `hankbook verify` does once the file is read.
#[divan::bench(sample_count = 10)]
fn a_bundle(bencher: Bencher) {
    let made = &*MADE;
    bencher.counter(ItemsCount::new(LEAVES)).bench(|| {
        let report = verify::verify(black_box(&made.bundle), Some(&made.key));
        assert_eq!((report.findings.len(), report.proved as u64), (0, LEAVES));
    });
}
