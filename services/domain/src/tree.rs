//! A Merkle tree too large for memory: it grows by its peaks, and proves from parts of it.
//! It never reads or keeps a tree itself: whoever stores one hands in the parts that are needed.
//!
//! Stored are the hashes of leaves (level 0) and of every whole subtree whose level is a multiple
//! of [`TIER`]. The node at `index` of `level` covers the leaves from `index << level`.

use std::collections::{BTreeSet, HashMap};
use std::ops::Range;

use sha2::{Digest, Sha256};

use crate::record::{Hash, node_hash};

/// The distance of stored levels: a stored node stands for 256 of the stored level below it.
pub const TIER: u32 = 8;

/// The hash of one whole subtree.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Node {
    /// The height: it covers `1 << level` leaves.
    pub level: u32,
    /// How many subtrees of this level stand before it.
    pub index: u64,
    /// Its hash.
    pub hash: Hash,
}

/// The right edge of a tree, enough to grow it and to know its root.
#[derive(Clone, Debug, Default)]
pub struct Peaks {
    size: u64,
    /// Whole subtrees, the largest first.
    peaks: Vec<(u32, Hash)>,
}

impl Peaks {
    /// The number of leaves.
    pub fn size(&self) -> u64 {
        self.size
    }

    /// Adds a leaf; gives the nodes that are whole now and to be stored, the leaf not among them.
    pub fn push(&mut self, leaf: Hash) -> Vec<Node> {
        let (mut stored, mut level, mut hash) = (Vec::new(), 0, leaf);
        while let Some((height, left)) = self.peaks.last()
            && *height == level
        {
            hash = node_hash(left, &hash);
            level += 1;
            self.peaks.pop();
            if level.is_multiple_of(TIER) {
                stored.push(Node { level, index: self.size >> level, hash });
            }
        }
        self.peaks.push((level, hash));
        self.size += 1;
        stored
    }

    /// The root (RFC 9162, section 2.1.1).
    pub fn root(&self) -> Hash {
        let mut peaks = self.peaks.iter().rev().map(|(_, hash)| *hash);
        match peaks.next() {
            None => Sha256::digest([]).into(),
            Some(last) => peaks.fold(last, |right, left| node_hash(&left, &right)),
        }
    }
}

/// A run of stored nodes: those of `level` from `first` up to, without, `end`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Run {
    /// A multiple of [`TIER`]; 0 for leaves.
    pub level: u32,
    /// The first index.
    pub first: u64,
    /// The index after the last.
    pub end: u64,
}

/// The runs from which everything about leaves at `positions` of a tree of `size` leaves follows:
/// its root, their inclusion, and that it begins with the tree up to and with such a leaf.
pub fn runs(size: u64, positions: impl IntoIterator<Item = u64>) -> Vec<Run> {
    let mut within: BTreeSet<u64> = positions.into_iter().map(|at| at >> TIER).collect();
    let (mut found, mut level, mut count) = (Vec::new(), 0, size);
    while count > 0 {
        // The last block is not whole: its nodes are the peaks between this tier and the next.
        within.insert(count >> TIER);
        let mut blocks = within.iter().copied().peekable();
        while let Some(block) = blocks.next() {
            let mut last = block;
            while blocks.next_if_eq(&(last + 1)).is_some() {
                last += 1;
            }
            let run = Run { level, first: block << TIER, end: ((last + 1) << TIER).min(count) };
            found.extend((run.first < run.end).then_some(run));
        }
        within = within.iter().map(|block| block >> TIER).collect();
        level += TIER;
        count >>= TIER;
    }
    found
}

/// What proves several leaves at once, in the order of one walk: from the root, through every part
/// that holds such a leaf, the left side of a part before its right one.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Joint {
    /// The side without such a leaf, where only the other one holds some.
    pub beside: Vec<Hash>,
    /// Both sides, the left one first, where each holds some; and each such leaf, if no part above
    /// it has named it as a side.
    pub within: Vec<Hash>,
}

/// What is known of a tree of `size` leaves.
#[derive(Clone, Debug, Default)]
pub struct View {
    size: u64,
    nodes: HashMap<(u32, u64), Hash>,
}

impl View {
    /// A tree of which nothing is known yet.
    pub fn new(size: u64) -> Self {
        Self { size, nodes: HashMap::new() }
    }

    /// Takes in a stored node.
    pub fn insert(&mut self, node: Node) {
        self.nodes.insert((node.level, node.index), node.hash);
    }

    /// The root; nothing where a part is missing.
    pub fn root(&mut self) -> Option<Hash> {
        match self.size {
            0 => Some(Sha256::digest([]).into()),
            size => self.range(0, size),
        }
    }

    /// The peaks, from which the tree can grow on; nothing where a part is missing.
    pub fn peaks(&mut self) -> Option<Peaks> {
        let (mut peaks, mut from, size) = (Vec::new(), 0, self.size);
        for level in (0..u64::BITS).rev().filter(|level| size >> level & 1 == 1) {
            peaks.push((level, self.node(level, from >> level)?));
            from += 1 << level;
        }
        Some(Peaks { size, peaks })
    }

    /// The proof that the leaf at `index` stands in the tree (RFC 9162, section 2.1.3.1).
    pub fn inclusion(&mut self, index: u64) -> Option<Vec<Hash>> {
        if index >= self.size {
            return None;
        }
        let (mut proof, mut from, mut end) = (Vec::new(), 0, self.size);
        while end - from > 1 {
            let middle = from + split(end - from);
            if index < middle {
                proof.push(self.range(middle, end)?);
                end = middle;
            } else {
                proof.push(self.range(from, middle)?);
                from = middle;
            }
        }
        proof.reverse();
        Some(proof)
    }

    /// The proof that the tree begins with that of its first `first` leaves (RFC 9162, section
    /// 2.1.4.1).
    pub fn consistency(&mut self, first: u64) -> Option<Vec<Hash>> {
        if first == 0 || first > self.size {
            return None;
        }
        let (mut proof, mut from, mut end) = (Vec::new(), 0, self.size);
        while first < end {
            let middle = from + split(end - from);
            if first <= middle {
                proof.push(self.range(middle, end)?);
                end = middle;
            } else {
                proof.push(self.range(from, middle)?);
                from = middle;
            }
        }
        if from > 0 {
            proof.push(self.range(from, end)?);
        }
        proof.reverse();
        Some(proof)
    }

    /// What proves that the leaves at `positions`, which are in order, stand in the tree: the
    /// walk of [`Joint`].
    pub fn joint(&mut self, positions: &[u64]) -> Option<Joint> {
        let mut joint = Joint::default();
        match positions.last() {
            None => Some(joint),
            Some(last) if *last >= self.size => None,
            Some(_) => {
                self.walk(0..self.size, positions, false, &mut joint)?;
                Some(joint)
            }
        }
    }

    fn walk(
        &mut self,
        part: Range<u64>,
        positions: &[u64],
        is_listed: bool,
        joint: &mut Joint,
    ) -> Option<()> {
        let length = part.end - part.start;
        if length == 1 {
            if !is_listed {
                joint.within.push(self.range(part.start, part.end)?);
            }
            return Some(());
        }
        let middle = part.start + split(length);
        let (left, right) = (part.start..middle, middle..part.end);
        let (before, after) = positions.split_at(positions.partition_point(|at| *at < middle));
        if before.is_empty() {
            joint.beside.push(self.range(left.start, left.end)?);
            return self.walk(right, after, false, joint);
        }
        if after.is_empty() {
            joint.beside.push(self.range(right.start, right.end)?);
            return self.walk(left, before, false, joint);
        }
        joint.within.push(self.range(left.start, left.end)?);
        joint.within.push(self.range(right.start, right.end)?);
        self.walk(left, before, true, joint)?;
        self.walk(right, after, true, joint)
    }

    /// The hash over the leaves from `from` up to, without, `end`.
    fn range(&mut self, from: u64, end: u64) -> Option<Hash> {
        let length = end - from;
        if length.is_power_of_two() {
            let level = length.trailing_zeros();
            return self.node(level, from >> level);
        }
        let middle = from + split(length);
        Some(node_hash(&self.range(from, middle)?, &self.range(middle, end)?))
    }

    /// The hash of a whole subtree; kept, since neighbours share it.
    fn node(&mut self, level: u32, index: u64) -> Option<Hash> {
        if let Some(known) = self.nodes.get(&(level, index)) {
            return Some(*known);
        }
        // A stored level is never made from below: then a wrong tree would mend itself.
        if level.is_multiple_of(TIER) {
            return None;
        }
        let left = self.node(level - 1, index * 2)?;
        let hash = node_hash(&left, &self.node(level - 1, index * 2 + 1)?);
        self.nodes.insert((level, index), hash);
        Some(hash)
    }
}

/// The largest power of two below a length of two and more.
pub fn split(length: u64) -> u64 {
    (length.next_power_of_two() / 2).max(1)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::merkle;
    use crate::record::leaf_hash;
    use proptest::prelude::*;

    /// Leaves with all that is stored of their tree.
    fn grown(count: u64) -> (Vec<Hash>, Vec<Node>, Peaks) {
        let (mut leaves, mut stored, mut peaks) = (Vec::new(), Vec::new(), Peaks::default());
        for index in 0..count {
            let hash = leaf_hash(&index.to_string());
            leaves.push(hash);
            stored.push(Node { level: 0, index, hash });
            stored.extend(peaks.push(hash));
        }
        (leaves, stored, peaks)
    }

    /// A view with just the named runs.
    fn view(size: u64, stored: &[Node], positions: &[u64]) -> View {
        let runs = runs(size, positions.iter().copied());
        let mut view = View::new(size);
        let within = |node: &&Node| {
            runs.iter()
                .any(|run| run.level == node.level && (run.first..run.end).contains(&node.index))
        };
        stored.iter().filter(within).for_each(|node| view.insert(*node));
        view
    }

    #[test]
    fn the_peaks_of_every_size_give_the_root() {
        let mut peaks = Peaks::default();
        assert_eq!(peaks.root(), merkle::root(&[]));
        let (leaves, ..) = grown(600);
        for (at, leaf) in leaves.iter().enumerate() {
            peaks.push(*leaf);
            assert_eq!(peaks.root(), merkle::root(&leaves[..=at]), "{at}");
        }
        assert_eq!(peaks.size(), 600);
    }

    #[test]
    fn few_parts_are_needed_of_a_large_tree() {
        let size = 20_000_000;
        let runs = runs(size, [4_711_000]);
        let nodes: u64 = runs.iter().map(|run| run.end - run.first).sum();
        assert!(nodes < 2_000, "{nodes}");
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(48))]
        #[test]
        fn parts_of_a_tree_prove_what_the_whole_proves(
            count in prop_oneof![1u64..700, 65_500u64..65_800],
            at in any::<prop::sample::Index>(),
            other in any::<prop::sample::Index>(),
        ) {
            let (leaves, stored, peaks) = grown(count);
            let (index, other) = (at.index(leaves.len()), other.index(leaves.len()));
            let mut view = view(count, &stored, &[index as u64, other as u64]);
            prop_assert_eq!(view.root(), Some(merkle::root(&leaves)));
            prop_assert_eq!(view.peaks().map(|peaks| peaks.root()), Some(peaks.root()));
            for index in [index, other] {
                let proof = merkle::inclusion_proof(&leaves, index);
                prop_assert_eq!(view.inclusion(index as u64), proof);
                let proof = merkle::consistency_proof(&leaves, index + 1);
                prop_assert_eq!(view.consistency(index as u64 + 1), proof);
            }
            prop_assert_eq!(view.inclusion(count), None);
            prop_assert_eq!(view.consistency(count + 1), None);
        }
    }
}
