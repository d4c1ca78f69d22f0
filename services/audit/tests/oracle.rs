//! Our tree beside that of ct-merkle, which shares no code with ours.
//! It never looks at how either of them works.

use ct_merkle::mem_backed_tree::MemoryBackedTree;
use ct_merkle::{ConsistencyProof, HashableLeaf, InclusionProof, RootHash};
use domain::merkle::{verify_consistency, verify_inclusion};
use domain::record::{Hash, leaf_hash};
use domain::tree::{Node, Peaks, View};
use proptest::prelude::*;
use sha2::Sha256;

fn theirs(entries: &[String]) -> MemoryBackedTree<Sha256, Vec<u8>> {
    let mut tree = MemoryBackedTree::new();
    entries.iter().for_each(|entry| tree.push(entry.clone().into_bytes()));
    tree
}

/// Our tree with all that is stored of it.
fn ours(entries: &[String]) -> (Peaks, View) {
    let (mut peaks, mut view) = (Peaks::default(), View::new(entries.len() as u64));
    for (index, entry) in (0..).zip(entries) {
        let hash = leaf_hash(entry);
        view.insert(Node { level: 0, index, hash });
        peaks.push(hash).into_iter().for_each(|node| view.insert(node));
    }
    (peaks, view)
}

fn hashes(bytes: &[u8]) -> Vec<Hash> {
    let (hashes, rest) = bytes.as_chunks::<32>();
    assert!(rest.is_empty());
    hashes.to_vec()
}

fn root(of: &RootHash<Sha256>) -> Hash {
    of.as_bytes().as_slice().try_into().expect("32 bytes")
}
