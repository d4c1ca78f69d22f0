//! Our tree beside that of ct-merkle, which shares no code with ours.
//! It never looks at how either of them works.

use ct_merkle::mem_backed_tree::MemoryBackedTree;
use domain::merkle::{verify_consistency, verify_inclusion};
use domain::record::{Hash, leaf_hash};
use domain::tree::{Node, Peaks, View};
use proptest::prelude::*;
use sha2::Sha256;

type Theirs = MemoryBackedTree<Sha256, Vec<u8>>;

fn theirs(entries: &[String]) -> Theirs {
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

fn root(tree: &Theirs) -> Hash {
    tree.root().as_bytes().as_slice().try_into().expect("32 bytes")
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]
    #[test]
    fn roots_and_proofs_are_those_of_another_implementation(
        entries in prop::collection::vec("[ -~]{0,40}", 1..600),
        at in any::<prop::sample::Index>(),
        first in any::<prop::sample::Index>(),
    ) {
        let (tree, (peaks, mut view)) = (theirs(&entries), ours(&entries));
        let (at, first) = (at.index(entries.len()), first.index(entries.len()) + 1);
        let (size, top) = (entries.len() as u64, root(&tree));
        prop_assert_eq!(peaks.root(), top);
        prop_assert_eq!(view.root(), Some(top));
        let proof = hashes(tree.prove_inclusion(at).as_bytes());
        prop_assert_eq!(view.inclusion(at as u64), Some(proof.clone()));
        let leaf = leaf_hash(&entries[at]);
        prop_assert!(verify_inclusion(at as u64, size, &leaf, &proof, &top));
        let early = root(&theirs(&entries[..first]));
        let added = entries.len() - first;
        if added > 0 {
            let proof = hashes(tree.prove_consistency(added).as_bytes());
            prop_assert_eq!(view.consistency(first as u64), Some(proof.clone()));
            prop_assert!(verify_consistency(first as u64, size, &early, &top, &proof));
        }
    }
}
