//! The Merkle tree of RFC 9162 over leaf hashes: roots and proofs, and their verification by
//! whoever holds a record but not the tree.
//! It never trusts a proof: sizes, lengths and roots are all checked.

use sha2::{Digest, Sha256};

use crate::record::{Hash, node_hash};

/// The root of the leaf hashes; of none, the hash of nothing (RFC 9162, section 2.1.1).
pub fn root(leaves: &[Hash]) -> Hash {
    match leaves {
        [] => Sha256::digest([]).into(),
        [leaf] => *leaf,
        _ => {
            let (left, right) = leaves.split_at(split(leaves.len()));
            node_hash(&root(left), &root(right))
        }
    }
}

/// The largest power of two below a length of two and more.
fn split(length: usize) -> usize {
    let half = length.next_power_of_two() / 2;
    half.max(1)
}

/// The proof that the leaf at `index` stands under the root of all the leaves (RFC 9162, section
/// 2.1.3.1); nothing when there is no such leaf.
pub fn inclusion_proof(leaves: &[Hash], index: usize) -> Option<Vec<Hash>> {
    if index >= leaves.len() {
        return None;
    }
    let mut proof = Vec::new();
    let (mut here, mut index) = (leaves, index);
    while here.len() > 1 {
        let (left, right) = here.split_at(split(here.len()));
        if index < left.len() {
            proof.push(root(right));
            here = left;
        } else {
            proof.push(root(left));
            index -= left.len();
            here = right;
        }
    }
    proof.reverse();
    Some(proof)
}

/// The proof that the tree of the first `size` leaves is the beginning of the tree of all of them
/// (RFC 9162, section 2.1.4.1); nothing when `size` is 0 or above the number of leaves.
pub fn consistency_proof(leaves: &[Hash], size: usize) -> Option<Vec<Hash>> {
    if size == 0 || size > leaves.len() {
        return None;
    }
    let mut proof = Vec::new();
    let (mut here, mut size, mut whole) = (leaves, size, true);
    while size < here.len() {
        let (left, right) = here.split_at(split(here.len()));
        if size <= left.len() {
            proof.push(root(right));
            here = left;
        } else {
            proof.push(root(left));
            size -= left.len();
            here = right;
            whole = false;
        }
    }
    if !whole {
        proof.push(root(here));
    }
    proof.reverse();
    Some(proof)
}

/// True when the proof shows that the leaf stands at `index` of the tree of `size` leaves with
/// this root (RFC 9162, section 2.1.3.2).
pub fn verify_inclusion(index: u64, size: u64, leaf: &Hash, proof: &[Hash], root: &Hash) -> bool {
    if index >= size {
        return false;
    }
    let (mut node, mut last) = (index, size - 1);
    let mut hash = *leaf;
    for sibling in proof {
        if last == 0 {
            return false;
        }
        if node & 1 == 1 || node == last {
            hash = node_hash(sibling, &hash);
            while node & 1 == 0 && node != 0 {
                node >>= 1;
                last >>= 1;
            }
        } else {
            hash = node_hash(&hash, sibling);
        }
        node >>= 1;
        last >>= 1;
    }
    last == 0 && hash == *root
}

/// True when the proof shows that the tree of `second_size` leaves begins with the tree of
/// `first_size` (RFC 9162, section 2.1.4.2). A first tree of no leaves proves nothing and is
/// refused.
pub fn verify_consistency(
    first_size: u64,
    second_size: u64,
    first_root: &Hash,
    second_root: &Hash,
    proof: &[Hash],
) -> bool {
    if first_size == 0 || first_size > second_size {
        return false;
    }
    if first_size == second_size {
        return proof.is_empty() && first_root == second_root;
    }
    // A first tree that is one whole subtree is the start itself and stands in no proof.
    let whole = first_size.is_power_of_two();
    let (start, proof) = match proof.split_first() {
        None => return false,
        Some(_) if whole => (first_root, proof),
        Some((start, rest)) => (start, rest),
    };
    let (mut node, mut last) = (first_size - 1, second_size - 1);
    let shared = node.trailing_ones();
    node >>= shared;
    last >>= shared;
    let (mut first, mut second) = (*start, *start);
    for sibling in proof {
        if last == 0 {
            return false;
        }
        if node & 1 == 1 || node == last {
            first = node_hash(sibling, &first);
            second = node_hash(sibling, &second);
            while node & 1 == 0 && node != 0 {
                node >>= 1;
                last >>= 1;
            }
        } else {
            second = node_hash(&second, sibling);
        }
        node >>= 1;
        last >>= 1;
    }
    last == 0 && first == *first_root && second == *second_root
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::record::leaf_hash;
    use proptest::prelude::*;
    use serde_json::Value;

    // Vectors: transparency-dev/merkle test data, commit 417fb0c; proofs as in RFC 9162.
    fn vectors() -> Value {
        serde_json::from_str(include_str!("../tests/data/merkle-vectors.json")).expect("JSON")
    }

    fn hash(value: &Value) -> Hash {
        let text = value.as_str().expect("hex");
        let byte = |at: usize| u8::from_str_radix(&text[at..at + 2], 16).expect("hex");
        let bytes: Vec<u8> = (0..text.len()).step_by(2).map(byte).collect();
        bytes.try_into().expect("32 bytes")
    }

    fn hashes(value: &Value) -> Vec<Hash> {
        value.as_array().expect("a list").iter().map(hash).collect()
    }

    fn number(value: &Value) -> u64 {
        value.as_u64().expect("a number")
    }

    fn holds(case: &Value, kind: &str) -> bool {
        let proof = hashes(&case["proof"]);
        if kind == "inclusion" {
            let (index, size) = (number(&case["leaf_index"]), number(&case["tree_size"]));
            verify_inclusion(index, size, &hash(&case["leaf_hash"]), &proof, &hash(&case["root"]))
        } else {
            let (first, second) = (number(&case["size1"]), number(&case["size2"]));
            let (root1, root2) = (hash(&case["root1"]), hash(&case["root2"]));
            verify_consistency(first, second, &root1, &root2, &proof)
        }
    }

    #[test]
    fn published_trees_and_proofs() {
        let file = vectors();
        let leaves = hashes(&file["leaf_hashes"]);
        for (size, wanted) in hashes(&file["roots_by_size"]).iter().enumerate() {
            assert_eq!(root(&leaves[..size]), *wanted, "{size}");
        }
        for case in file["inclusion"].as_array().expect("cases") {
            assert!(holds(case, "inclusion"), "{case}");
            let size = usize::try_from(number(&case["tree_size"])).expect("small");
            let index = usize::try_from(number(&case["leaf_index"])).expect("small");
            let made = inclusion_proof(&leaves[..size], index);
            assert_eq!(made, Some(hashes(&case["proof"])));
        }
        for case in file["consistency"].as_array().expect("cases") {
            assert!(holds(case, "consistency"), "{case}");
            let first = usize::try_from(number(&case["size1"])).expect("small");
            let second = usize::try_from(number(&case["size2"])).expect("small");
            assert_eq!(consistency_proof(&leaves[..second], first), Some(hashes(&case["proof"])));
        }
        let failing = file["must_fail"].as_array().expect("cases");
        assert!(failing.len() >= 8);
        for case in failing {
            assert!(!holds(case, case["kind"].as_str().expect("a kind")), "{case}");
        }
    }

    #[test]
    fn what_is_no_tree_proves_nothing() {
        let empty = root(&[]);
        assert_eq!(inclusion_proof(&[], 0), None);
        assert_eq!(consistency_proof(&[empty], 0), None);
        assert_eq!(consistency_proof(&[empty], 2), None);
        assert!(!verify_inclusion(0, 0, &empty, &[], &empty));
        assert!(!verify_consistency(0, 1, &empty, &empty, &[]));
        assert!(!verify_consistency(0, 0, &empty, &empty, &[]));
        assert!(!verify_inclusion(u64::MAX - 1, u64::MAX, &empty, &[empty; 70], &empty));
        assert!(!verify_consistency(u64::MAX - 1, u64::MAX, &empty, &empty, &[empty; 70]));
    }

    fn leaves(count: usize) -> Vec<Hash> {
        (0..count).map(|at| leaf_hash(&at.to_string())).collect()
    }

    proptest! {
        #[test]
        fn every_proof_verifies_and_no_altered_one_does(
            count in 1usize..70,
            at in any::<prop::sample::Index>(),
            bit in 0usize..256,
            altered in any::<prop::sample::Index>(),
        ) {
            let leaves = leaves(count);
            let (index, top) = (at.index(count), root(&leaves));
            let (position, size) = (index as u64, count as u64);
            let mut proof = inclusion_proof(&leaves, index).expect("a leaf");
            prop_assert!(verify_inclusion(position, size, &leaves[index], &proof, &top));
            let first = index + 1;
            let early = root(&leaves[..first]);
            let mut joined = consistency_proof(&leaves, first).expect("a size");
            let sizes = (first as u64, size);
            prop_assert!(verify_consistency(sizes.0, sizes.1, &early, &top, &joined));
            for (proof, inclusion) in [(&mut proof, true), (&mut joined, false)] {
                let check = |proof: &[Hash]| if inclusion {
                    verify_inclusion(position, size, &leaves[index], proof, &top)
                } else {
                    verify_consistency(sizes.0, sizes.1, &early, &top, proof)
                };
                let mut longer = proof.clone();
                longer.push(top);
                prop_assert!(!check(&longer));
                if !proof.is_empty() {
                    let place = altered.index(proof.len());
                    proof[place][bit / 8] ^= 1 << (bit % 8);
                    prop_assert!(!check(proof));
                    proof.pop();
                    prop_assert!(!check(proof));
                }
            }
        }
    }
}
