//! What the sealer reads and writes: unsealed leaves, their order, where to look next.
//! It never leaves out a leaf for another transaction's sake: whatever is visible is found.

use diesel::QueryableByName;
use diesel::sql_types::{Array, BigInt, Bool, Bytea, Integer, Text, Uuid as SqlUuid};
use diesel_async::{AsyncPgConnection, RunQueryDsl, SimpleAsyncConnection};
use domain::tree::Node;
use platform::error::Failure;
use platform::statement::statement;
use uuid::Uuid;

/// The advisory lock of the one sealer of a database.
const LOCK: i64 = 0x5365_616c;

/// One number, text or truth of a statement.
#[derive(QueryableByName)]
struct Truth {
    #[diesel(sql_type = Bool)]
    value: bool,
}

#[derive(QueryableByName)]
struct Word {
    #[diesel(sql_type = Text)]
    value: String,
}

/// A leaf that has no position yet.
#[derive(Clone, Debug, QueryableByName)]
pub struct Unsealed {
    #[diesel(sql_type = SqlUuid)]
    pub id: Uuid,
    #[diesel(sql_type = Text)]
    pub xid: String,
    #[diesel(sql_type = Text)]
    pub subject: String,
    #[diesel(sql_type = Text)]
    pub entry: String,
    #[diesel(sql_type = Bytea)]
    pub hash: Vec<u8>,
}

/// Which transactions a scan has seen: all below `end` but those that ran just then.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Seen {
    /// The first transaction that had not begun.
    end: String,
    /// Those that ran, separated by commas.
    running: String,
}

impl Seen {
    /// Nothing was seen: every leaf is looked at.
    pub fn nothing() -> Self {
        Self { end: "0".to_owned(), running: String::new() }
    }

    /// Reads a snapshot as Postgres writes it: `xmin:xmax:running,running`.
    pub fn of_snapshot(text: &str) -> Option<Self> {
        let mut parts = text.splitn(3, ':').skip(1);
        Some(Self { end: parts.next()?.to_owned(), running: parts.next()?.to_owned() })
    }
}

/// Takes the lock of the one sealer, if nobody has it; it goes with the connection.
pub async fn try_lock(conn: &mut AsyncPgConnection) -> Result<bool, Failure> {
    // The first scan of a long log may take longer than a caller would wait. Starting workers for
    // the leaves of one step costs more than reading them.
    let settings = "SET statement_timeout = 0; SET max_parallel_workers_per_gather = 0";
    conn.batch_execute(settings).await?;
    let asked = statement("SELECT pg_try_advisory_lock($1) AS value").bind::<BigInt, _>(LOCK);
    Ok(asked.get_result::<Truth>(conn).await?.value)
}

/// Begins a transaction on one snapshot; gives it as text.
pub async fn begin(conn: &mut AsyncPgConnection) -> Result<String, Failure> {
    conn.batch_execute("BEGIN ISOLATION LEVEL REPEATABLE READ").await?;
    let snapshot = statement("SELECT pg_current_snapshot()::text AS value");
    Ok(snapshot.get_result::<Word>(conn).await?.value)
}

/// Begins a transaction whose end does not wait for the disk.
pub async fn begin_lazily(conn: &mut AsyncPgConnection) -> Result<(), Failure> {
    Ok(conn.batch_execute("BEGIN; SET LOCAL synchronous_commit = off").await?)
}

/// Ends the transaction.
pub async fn commit(conn: &mut AsyncPgConnection) -> Result<(), Failure> {
    Ok(conn.batch_execute("COMMIT").await?)
}

/// What was seen when the last leaves were sealed. Numbers of transactions mean something in their
/// own cluster only: after a restore elsewhere everything is looked at once.
pub async fn kept(conn: &mut AsyncPgConnection) -> Result<Option<Seen>, Failure> {
    let query = "SELECT seen AS value FROM audit.scan \
        WHERE cluster = (SELECT system_identifier::text FROM pg_control_system())";
    let found: Vec<Word> = statement(query).load(conn).await?;
    Ok(found.into_iter().next().and_then(|word| Seen::of_snapshot(&word.value)))
}

/// Keeps what was seen, as a snapshot.
pub async fn keep(conn: &mut AsyncPgConnection, snapshot: &str) -> Result<(), Failure> {
    let query = "INSERT INTO audit.scan (cluster, seen) \
        SELECT system_identifier::text, $1 FROM pg_control_system() \
        ON CONFLICT (only_row) DO UPDATE SET cluster = excluded.cluster, seen = excluded.seen";
    statement(query).bind::<Text, _>(snapshot).execute(conn).await?;
    Ok(())
}

/// Leaves without a position that `seen` does not cover, after one of them, in one fixed order.
pub async fn unsealed(
    conn: &mut AsyncPgConnection,
    seen: &Seen,
    after: Option<&Unsealed>,
    limit: i64,
) -> Result<Vec<Unsealed>, Failure> {
    // Two arms, so that each goes by the index alone. What is not visible yet has a number that
    // was running or had not begun when `seen` was taken, and is found by it later.
    let query = "SELECT found.id, found.xid::text, found.subject, found.entry, found.hash FROM \
        (SELECT * FROM audit.leaf WHERE xid >= $1::xid8 \
         AND xid < pg_snapshot_xmax(pg_current_snapshot()) \
         UNION ALL SELECT * FROM audit.leaf WHERE xid = ANY ($2::xid8[])) AS found \
        WHERE NOT EXISTS (SELECT 1 FROM audit.sealed WHERE sealed.leaf = found.id) \
        AND (found.xid, found.id) > ($3::xid8, $4) ORDER BY found.xid, found.id LIMIT $5";
    let full = "SELECT found.id, found.xid::text, found.subject, found.entry, found.hash \
        FROM audit.leaf AS found \
        WHERE NOT EXISTS (SELECT 1 FROM audit.sealed WHERE sealed.leaf = found.id) \
        AND found.xid >= $3::xid8 AND (found.xid, found.id) > ($3::xid8, $4) \
        AND $1 = '0' AND $2 = '{}' ORDER BY found.xid, found.id LIMIT $5";
    let text = if *seen == Seen::nothing() { full } else { query };
    let (xid, id) = after.map_or(("0", Uuid::nil()), |last| (last.xid.as_str(), last.id));
    let found = statement(text)
        .bind::<Text, _>(&seen.end)
        .bind::<Text, _>(format!("{{{}}}", seen.running))
        .bind::<Text, _>(xid)
        .bind::<SqlUuid, _>(id)
        .bind::<BigInt, _>(limit);
    Ok(found.load(conn).await?)
}

/// Gives leaves the positions from `first` on.
pub async fn insert_sealed(
    conn: &mut AsyncPgConnection,
    first: i64,
    leaves: &[Unsealed],
) -> Result<(), Failure> {
    let ids: Vec<_> = leaves.iter().map(|leaf| leaf.id).collect();
    let hashes: Vec<_> = leaves.iter().map(|leaf| leaf.hash.as_slice()).collect();
    let query = "INSERT INTO audit.sealed (position, leaf, hash) SELECT $1 + place - 1, leaf, hash \
        FROM unnest($2, $3) WITH ORDINALITY AS named (leaf, hash, place)";
    statement(query)
        .bind::<BigInt, _>(first)
        .bind::<Array<SqlUuid>, _>(ids)
        .bind::<Array<Bytea>, _>(hashes)
        .execute(conn)
        .await?;
    Ok(())
}

/// Stores subtrees that are whole now.
pub async fn insert_subtrees(conn: &mut AsyncPgConnection, nodes: &[Node]) -> Result<(), Failure> {
    if nodes.is_empty() {
        return Ok(());
    }
    let levels: Vec<_> = nodes.iter().map(|node| node.level as i32).collect();
    let indexes: Vec<_> = nodes.iter().map(|node| node.index as i64).collect();
    let hashes: Vec<_> = nodes.iter().map(|node| node.hash.as_slice()).collect();
    let query = "INSERT INTO audit.subtree (level, index, hash) SELECT * FROM unnest($1, $2, $3)";
    statement(query)
        .bind::<Array<Integer>, _>(levels)
        .bind::<Array<BigInt>, _>(indexes)
        .bind::<Array<Bytea>, _>(hashes)
        .execute(conn)
        .await?;
    Ok(())
}

/// Files positions under the ids that their entries name.
pub async fn insert_filed(
    conn: &mut AsyncPgConnection,
    filed: &[(Uuid, i64)],
) -> Result<(), Failure> {
    let (keys, positions): (Vec<_>, Vec<_>) = filed.iter().copied().unzip();
    let query = "INSERT INTO audit.filed (key, position) SELECT * FROM unnest($1, $2)";
    statement(query)
        .bind::<Array<SqlUuid>, _>(keys)
        .bind::<Array<BigInt>, _>(positions)
        .execute(conn)
        .await?;
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_snapshot_is_read_as_postgres_writes_it() {
        let seen = Seen::of_snapshot("10:20:10,14,15").expect("a snapshot");
        assert_eq!((seen.end.as_str(), seen.running.as_str()), ("20", "10,14,15"));
        let seen = Seen::of_snapshot("10:10:").expect("a snapshot");
        assert_eq!((seen.end.as_str(), seen.running.as_str()), ("10", ""));
        assert_eq!(Seen::of_snapshot("10"), None);
    }
}
