//! The tree over the records of a bundle, from the signed root down to their leaves.
//! It never takes a hash for true that does not lead to the root, however it is listed.

use std::collections::HashMap;
use std::ops::Range;

use domain::record::{Hash, node_hash};
use domain::tree::split;

use crate::note::Checkpoint;

/// What a bundle says of the tree; none of it is believed yet.
#[derive(Default)]
pub struct Said {
    /// Positions of the records, in order.
    pub positions: Vec<u64>,
    pub beside: Vec<Hash>,
    pub within: Vec<Hash>,
}

/// What follows from the root.
pub struct Settled {
    /// The leaves that lead to the root.
    pub leaves: HashMap<u64, Hash>,
    /// False where a hash over the records is listed as another than it is, or too much is listed.
    pub is_within_right: bool,
}

/// A part of the tree that holds records, with what it may be.
struct Part {
    /// What `within` says of it.
    listed: Option<Hash>,
    /// What follows from the hashes that are listed below it.
    over: Option<Hash>,
    /// What follows from the records below it.
    built: Option<Hash>,
    below: Below,
}

enum Below {
    Leaf(u64),
    Sides(Box<Side>, Box<Side>),
}

enum Side {
    Beside(Option<Hash>),
    Part(Part),
}

impl Side {
    /// What it may be, the likeliest first.
    fn candidates(&self) -> [Option<Hash>; 3] {
        match self {
            Self::Beside(hash) => [*hash, None, None],
            Self::Part(part) => [part.listed, part.over, part.built],
        }
    }

    fn over(&self) -> Option<Hash> {
        self.candidates().into_iter().flatten().next()
    }

    fn built(&self) -> Option<Hash> {
        match self {
            Self::Beside(hash) => *hash,
            Self::Part(part) => part.built,
        }
    }
}

/// Finds the leaves of the tree from its signed root and what the bundle says; `records` are the
/// leaves that follow from the entries.
pub fn settle(head: &Checkpoint, said: &Said, records: &HashMap<u64, Hash>) -> Settled {
    let mut settled = Settled { leaves: HashMap::new(), is_within_right: true };
    let within = said.positions.partition_point(|at| *at < head.size);
    let positions = &said.positions[..within];
    if positions.is_empty() {
        settled.is_within_right = said.within.is_empty();
        return settled;
    }
    let (beside, within) = (said.beside.iter().copied(), said.within.iter().copied());
    let mut reader = Reader { beside, within, records };
    let root = reader.part(0..head.size, positions, None);
    settled.is_within_right = reader.within.next().is_none();
    settled.descend(&root, head.root);
    settled
}

/// Reads the lists in the order of the walk.
struct Reader<'b, B, W> {
    beside: B,
    within: W,
    records: &'b HashMap<u64, Hash>,
}

impl<B: Iterator<Item = Hash>, W: Iterator<Item = Hash>> Reader<'_, B, W> {
    /// The part over some leaves, of which `positions` are records; `listed` where it is a side of
    /// a part whose other side holds records too.
    fn part(&mut self, leaves: Range<u64>, positions: &[u64], listed: Option<Hash>) -> Part {
        let Range { start, end } = leaves;
        if end - start == 1 {
            let listed = listed.or_else(|| self.within.next());
            let built = self.records.get(&start).copied();
            return Part { listed, over: listed, built, below: Below::Leaf(start) };
        }
        let middle = start + split(end - start);
        let (before, after) = positions.split_at(positions.partition_point(|at| *at < middle));
        let (left, right) = if before.is_empty() {
            let beside = Side::Beside(self.beside.next());
            (beside, Side::Part(self.part(middle..end, after, None)))
        } else if after.is_empty() {
            let beside = Side::Beside(self.beside.next());
            (Side::Part(self.part(start..middle, before, None)), beside)
        } else {
            let (left, right) = (self.within.next(), self.within.next());
            let left = Side::Part(self.part(start..middle, before, left));
            (left, Side::Part(self.part(middle..end, after, right)))
        };
        let over = joined(left.over(), right.over());
        let built = joined(left.built(), right.built());
        Part { listed, over, built, below: Below::Sides(left.into(), right.into()) }
    }
}

fn joined(left: Option<Hash>, right: Option<Hash>) -> Option<Hash> {
    Some(node_hash(&left?, &right?))
}

impl Settled {
    /// Goes down from a part whose hash is certain.
    fn descend(&mut self, part: &Part, hash: Hash) {
        self.is_within_right &= part.listed.is_none_or(|listed| listed == hash);
        match &part.below {
            Below::Leaf(position) => _ = self.leaves.insert(*position, hash),
            Below::Sides(left, right) => {
                // Where no choice leads to the part, nothing below it is certain.
                let Some((one, other)) = choice(hash, left, right) else { return };
                for (side, hash) in [(left, one), (right, other)] {
                    if let Side::Part(part) = &**side {
                        self.descend(part, hash);
                    }
                }
            }
        }
    }
}

/// Which hashes of both sides lead to the hash of the part.
fn choice(hash: Hash, left: &Side, right: &Side) -> Option<(Hash, Hash)> {
    let pairs =
        left.candidates().into_iter().flatten().flat_map(|one| {
            right.candidates().into_iter().flatten().map(move |other| (one, other))
        });
    pairs.into_iter().find(|(one, other)| node_hash(one, other) == hash)
}
