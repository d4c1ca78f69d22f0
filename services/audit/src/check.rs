//! Compares the stored tree and its signed heads with the leaves that were sealed.
//! It never mends anything and never stops at the first difference.

use std::collections::BTreeMap;

use diesel_async::AsyncPgConnection;
use domain::record::Hash;
use domain::tree::Peaks;
use platform::error::Failure;

use crate::note::{Checkpoint, NoteKey};
use crate::sealer;
use crate::store::tree::{self, CheckpointRow};

/// Rows read at once.
const CHUNK: u64 = 10_000;

/// What was found.
#[derive(Debug, Default)]
pub struct Found {
    /// Subtrees that are not those of the leaves.
    pub tree: Vec<String>,
    /// Checkpoints that are not signed heads of the tree.
    pub checkpoints: Vec<String>,
    /// How many checkpoints each key has signed.
    pub keys: BTreeMap<String, usize>,
}

/// Replays the log from its first leaf on.
pub async fn replay(conn: &mut AsyncPgConnection) -> Result<Found, Failure> {
    let mut found = Found::default();
    let origin = sealer::origin(tree::plant(conn).await?);
    let (mut peaks, mut subtrees) = (Peaks::default(), BTreeMap::new());
    let mut heads = Heads::default();
    loop {
        let first = peaks.size();
        let leaves = tree::stored(conn, 0, first..first + CHUNK).await?;
        for (_, hash) in &leaves {
            let whole = peaks.push(*hash);
            subtrees.extend(whole.iter().map(|node| ((node.level, node.index), node.hash)));
            if let Some(row) = heads.at(conn, peaks.size()).await? {
                found.check(&row, &peaks.root(), &origin);
            }
        }
        if leaves.is_empty() {
            break;
        }
    }
    while let Some(row) = heads.next(conn).await? {
        found.checkpoints.push(format!("checkpoint of {}: the log is shorter", row.size));
    }
    compare(conn, subtrees, &mut found).await?;
    Ok(found)
}

impl Found {
    fn check(&mut self, row: &CheckpointRow, root: &Hash, origin: &str) {
        let size = row.size;
        let mut say = |what: String| self.checkpoints.push(format!("checkpoint of {size}: {what}"));
        let key = row.key.parse::<NoteKey>().ok().filter(|key| key.name == origin);
        match key.map(|key| Checkpoint::open(&row.note, &key)) {
            None => say("its key is not of this log".into()),
            Some(Err(error)) => say(error.to_string()),
            Some(Ok(head)) => {
                if head.size != size as u64 || head.root.as_slice() != row.root {
                    say("its row says something else than was signed".into());
                } else if head.root != *root {
                    say("its root is not that of the leaves".into());
                }
                *self.keys.entry(row.key.clone()).or_default() += 1;
            }
        }
    }
}

/// Checkpoints in order, read ahead.
#[derive(Default)]
struct Heads {
    ahead: std::collections::VecDeque<CheckpointRow>,
    last: i64,
    is_read: bool,
}

impl Heads {
    async fn fill(&mut self, conn: &mut AsyncPgConnection) -> Result<(), Failure> {
        if self.ahead.is_empty() && !self.is_read {
            let rows = tree::checkpoints(conn, self.last, CHUNK as i64).await?;
            self.is_read = (rows.len() as u64) < CHUNK;
            self.last = rows.last().map_or(self.last, |row| row.size);
            self.ahead.extend(rows);
        }
        Ok(())
    }

    /// The checkpoint of this size, where there is one; sizes are asked in order.
    async fn at(
        &mut self,
        conn: &mut AsyncPgConnection,
        size: u64,
    ) -> Result<Option<CheckpointRow>, Failure> {
        self.fill(conn).await?;
        let is_here = self.ahead.front().is_some_and(|row| row.size as u64 == size);
        Ok(if is_here { self.ahead.pop_front() } else { None })
    }

    async fn next(
        &mut self,
        conn: &mut AsyncPgConnection,
    ) -> Result<Option<CheckpointRow>, Failure> {
        self.fill(conn).await?;
        Ok(self.ahead.pop_front())
    }
}

/// Compares the stored subtrees with those of the leaves.
async fn compare(
    conn: &mut AsyncPgConnection,
    mut wanted: BTreeMap<(u32, u64), Hash>,
    found: &mut Found,
) -> Result<(), Failure> {
    for level in tree::levels(conn).await? {
        for (index, hash) in tree::stored(conn, level, 0..i64::MAX as u64).await? {
            let what = match wanted.remove(&(level, index)) {
                Some(wanted) if wanted == hash => continue,
                Some(_) => "is not that of its leaves",
                None => "has no leaves",
            };
            found.tree.push(format!("subtree {index} of level {level} {what}"));
        }
    }
    let missing = wanted.into_keys();
    found.tree.extend(missing.map(|(l, i)| format!("subtree {i} of level {l} is not there")));
    Ok(())
}
