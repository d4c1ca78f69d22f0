//! The stored tree: its size, the parts that a proof needs, and signed checkpoints.
//! It never computes a hash: the tree's arithmetic is in `domain`.

use std::ops::Range;

use diesel::dsl::max;
use diesel::prelude::*;
use diesel::sql_types::{BigInt, Bytea, Integer, Uuid as SqlUuid};
use diesel_async::{AsyncPgConnection, RunQueryDsl};
use domain::record::Hash;
use domain::tree::{Node, Run, TIER, View, runs};
use jiff_diesel::Timestamp;
use platform::error::Failure;
use platform::statement::statement;
use uuid::Uuid;

use super::entries::Place;
use super::hash_of;
use crate::schema::{checkpoint, sealed};

/// A signed head of the tree.
#[derive(Clone, Debug, Queryable, Selectable, Insertable)]
#[diesel(table_name = checkpoint, check_for_backend(diesel::pg::Pg))]
pub struct CheckpointRow {
    pub size: i64,
    pub root: Vec<u8>,
    pub note: String,
    pub key: String,
    pub signed_at: Timestamp,
}

#[derive(QueryableByName)]
struct Mark {
    #[diesel(sql_type = SqlUuid)]
    id: Uuid,
}

#[derive(QueryableByName)]
struct Stored {
    #[diesel(sql_type = BigInt)]
    index: i64,
    #[diesel(sql_type = Bytea)]
    hash: Vec<u8>,
}

/// The id of the plant, after which its log is named.
pub async fn plant(conn: &mut AsyncPgConnection) -> Result<Uuid, Failure> {
    let mark: Mark = statement("SELECT id FROM house.plant").get_result(conn).await?;
    Ok(mark.id)
}

/// How many leaves are sealed.
pub async fn size(conn: &mut AsyncPgConnection) -> Result<u64, Failure> {
    let last: Option<i64> = sealed::table.select(max(sealed::position)).first(conn).await?;
    Ok(last.map_or(0, |last| last as u64 + 1))
}

/// What follows from the stored tree about positions of a tree of `size` leaves.
pub async fn view(
    conn: &mut AsyncPgConnection,
    size: u64,
    positions: &[u64],
) -> Result<View, Failure> {
    let mut view = View::new(size);
    for run in runs(size, positions.iter().copied()) {
        for (index, hash) in stored(conn, run.level, run.first..run.end).await? {
            view.insert(Node { level: run.level, index, hash });
        }
    }
    Ok(view)
}

/// What follows from the stored tree about leaves that are at hand: [`view`] without reading the
/// leaves again that fill a stored subtree.
pub async fn view_beside(
    conn: &mut AsyncPgConnection,
    size: u64,
    places: &[Place],
) -> Result<View, Failure> {
    let positions: Vec<_> = places.iter().map(|place| place.position as u64).collect();
    let mut view = View::new(size);
    for run in runs_beside(size, &positions) {
        for (index, hash) in stored(conn, run.level, run.first..run.end).await? {
            view.insert(Node { level: run.level, index, hash });
        }
    }
    for place in places {
        let hash = hash_of(&place.hash)?;
        view.insert(Node { level: 0, index: place.position as u64, hash });
    }
    Ok(view)
}

/// The stored nodes from which everything about leaves at hand follows, whose positions are in
/// order: without the leaves of a stored subtree all of which are at hand.
fn runs_beside(size: u64, positions: &[u64]) -> Vec<Run> {
    let blocks = positions.chunk_by(|one, next| one >> TIER == next >> TIER);
    let partly = blocks.filter(|block| block.len() < 1 << TIER).flatten().copied();
    let leaves = runs(size, partly).into_iter().filter(|run| run.level == 0);
    let nodes = runs(size, positions.iter().copied()).into_iter().filter(|run| run.level > 0);
    leaves.chain(nodes).collect()
}

/// Stored nodes of a level, in order.
pub async fn stored(
    conn: &mut AsyncPgConnection,
    level: u32,
    within: Range<u64>,
) -> Result<Vec<(u64, Hash)>, Failure> {
    let text = match level {
        0 => {
            "SELECT position AS index, hash FROM audit.sealed \
             WHERE position >= $1 AND position < $2 AND $3 = 0 ORDER BY position"
        }
        _ => {
            "SELECT index, hash FROM audit.subtree \
             WHERE index >= $1 AND index < $2 AND level = $3 ORDER BY index"
        }
    };
    let found: Vec<Stored> = statement(text)
        .bind::<BigInt, _>(within.start as i64)
        .bind::<BigInt, _>(within.end as i64)
        .bind::<Integer, _>(level as i32)
        .load(conn)
        .await?;
    found.iter().map(|row| Ok((row.index as u64, hash_of(&row.hash)?))).collect()
}

/// The levels of which nodes are stored, above the leaves.
pub async fn levels(conn: &mut AsyncPgConnection) -> Result<Vec<u32>, Failure> {
    let query = "SELECT DISTINCT level::bigint AS index, ''::bytea AS hash FROM audit.subtree";
    let found: Vec<Stored> = statement(query).load(conn).await?;
    Ok(found.into_iter().map(|row| row.index as u32).collect())
}

/// The newest checkpoint, or that of a size.
pub async fn checkpoint(
    conn: &mut AsyncPgConnection,
    size: Option<i64>,
) -> Result<Option<CheckpointRow>, Failure> {
    let mut query = checkpoint::table.select(CheckpointRow::as_select()).into_boxed();
    if let Some(size) = size {
        query = query.filter(checkpoint::size.eq(size));
    }
    Ok(query.order(checkpoint::size.desc()).first(conn).await.optional()?)
}

/// Checkpoints above a size, in order.
pub async fn checkpoints(
    conn: &mut AsyncPgConnection,
    above: i64,
    limit: i64,
) -> Result<Vec<CheckpointRow>, Failure> {
    let query = checkpoint::table.select(CheckpointRow::as_select());
    let query = query.filter(checkpoint::size.gt(above)).order(checkpoint::size).limit(limit);
    Ok(query.load(conn).await?)
}

/// Keeps a signed checkpoint.
pub async fn insert_checkpoint(
    conn: &mut AsyncPgConnection,
    row: &CheckpointRow,
) -> Result<(), Failure> {
    diesel::insert_into(checkpoint::table).values(row).execute(conn).await?;
    Ok(())
}

#[cfg(test)]
mod tests {
    use domain::record::leaf_hash;
    use domain::tree::Peaks;

    use super::*;

    #[test]
    fn leaves_at_hand_are_not_asked_for() {
        let (mut peaks, mut stored) = (Peaks::default(), Vec::new());
        for index in 0..1000 {
            let hash = leaf_hash(&index.to_string());
            stored.push(Node { level: 0, index, hash });
            stored.extend(peaks.push(hash));
        }
        let positions: Vec<u64> = (200..777).chain([900]).collect();
        let runs = runs_beside(1000, &positions);
        let asked = |level: u32, index: u64| {
            let is_in = |run: &Run| run.level == level && (run.first..run.end).contains(&index);
            runs.iter().any(is_in)
        };
        assert!(asked(0, 0) && !asked(0, 256) && !asked(0, 767) && asked(0, 999));
        let is_at_hand = |at: &u64| positions.binary_search(at).is_ok();
        let (mut whole, mut beside) = (View::new(1000), View::new(1000));
        for node in stored {
            whole.insert(node);
            if asked(node.level, node.index) || (node.level == 0 && is_at_hand(&node.index)) {
                beside.insert(node);
            }
        }
        let joint = whole.joint(&positions);
        assert!(joint.is_some());
        assert_eq!(beside.joint(&positions), joint);
        assert_eq!(beside.root(), Some(peaks.root()));
        // Of one leaf it is the inclusion proof, from the root down.
        let mut alone = whole.joint(&[900]).expect("a leaf");
        alone.beside.reverse();
        assert_eq!((Some(alone.beside), alone.within.len()), (whole.inclusion(900), 1));
        assert_eq!(whole.joint(&[1000]), None);
    }
}
