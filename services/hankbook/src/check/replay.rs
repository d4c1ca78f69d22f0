//! Compares what stands with what the records say, promise by promise, on one snapshot.
//! It never stops at the first difference and never mends one.

use std::error::Error;

use diesel::sql_types::{BigInt, Text};
use diesel::{QueryableByName, sql_query};
use diesel_async::{AsyncPgConnection, RunQueryDsl, SimpleAsyncConnection};

use super::promises::{OWED, Promise, Record, UNSEALED, promises};

type Failed = Box<dyn Error + Send + Sync>;

/// The most differences of one promise that are shown.
const SHOWN_MAX: u32 = 10;
/// How many promises the audit service checks.
const LOG_PROMISES: usize = 2;
/// One snapshot for all promises, so that a house that runs beside does not blur them.
const BEGIN: &str = "BEGIN ISOLATION LEVEL REPEATABLE READ, READ ONLY";
/// The tables of records with the column that names each record. Leaves have none of their own.
const RECORDS: &str = "SELECT format('%I.%I', n.nspname, c.relname) AS kind, \
    CASE WHEN EXISTS (SELECT 1 FROM pg_attribute AS a WHERE a.attrelid = c.oid \
    AND a.attname = 'record_id' AND NOT a.attisdropped) THEN 'record_id' ELSE 'id' END AS key \
    FROM pg_class AS c JOIN pg_namespace AS n ON n.oid = c.relnamespace \
    WHERE c.relkind IN ('r', 'p') AND obj_description(c.oid, 'pg_class') LIKE 'record:%' \
    AND c.oid <> 'audit.leaf'::regclass ORDER BY 1";

#[derive(QueryableByName)]
struct Found {
    #[diesel(sql_type = Text)]
    what: String,
    #[diesel(sql_type = BigInt)]
    all: i64,
}

#[derive(QueryableByName)]
struct Table {
    #[diesel(sql_type = Text)]
    kind: String,
    #[diesel(sql_type = Text)]
    key: String,
}

/// Prints a line a promise; gives how many differ and how many there are.
pub async fn compare(conn: &mut AsyncPgConnection) -> Result<(usize, usize), Failed> {
    conn.batch_execute(BEGIN).await?;
    let tables: Vec<Table> = sql_query(RECORDS).load(conn).await?;
    let records = tables.into_iter().map(|Table { kind, key }| Record { kind, key });
    let promises = promises(&records.collect::<Vec<_>>());
    let mut differing = 0;
    for Promise { name, differs } in &promises {
        conn.batch_execute("SAVEPOINT promise").await?;
        match found(conn, differs).await.as_deref() {
            Ok([]) => println!("ok       {name}"),
            Ok(found @ [first, ..]) => {
                differing += 1;
                println!("DIFFERS  {name}: {}", first.all);
                show(found);
            }
            // An entry that is no JSON cannot be compared; that it is there is a difference too.
            Err(error) => {
                differing += 1;
                conn.batch_execute("ROLLBACK TO SAVEPOINT promise").await?;
                println!("DIFFERS  {name}: all\n         it cannot be compared: {error}");
            }
        }
    }
    differing += log(conn).await?;
    // What was not yet told or sealed is no fault: it is when the house runs.
    for (what, query) in [("messages not yet delivered", OWED), ("leaves not sealed", UNSEALED)] {
        let waiting = found(conn, query).await?;
        if let [first, ..] = waiting.as_slice() {
            println!("note     {what}: {}", first.all);
            show(&waiting);
        }
    }
    conn.batch_execute("ROLLBACK").await?;
    Ok((differing, promises.len() + LOG_PROMISES))
}

/// The promises that the audit service's own arithmetic checks; gives how many differ.
async fn log(conn: &mut AsyncPgConnection) -> Result<usize, Failed> {
    let found = audit::check::replay(conn).await.map_err(|failure| failure.detail)?;
    let promises: [_; LOG_PROMISES] = [
        ("the stored tree is that of the sealed leaves", found.tree),
        ("each checkpoint is a signed head of the tree", found.checkpoints),
    ];
    let mut differing = 0;
    for (name, differences) in promises {
        if differences.is_empty() {
            println!("ok       {name}");
            continue;
        }
        differing += 1;
        println!("DIFFERS  {name}: {}", differences.len());
        let shown = differences.iter().take(SHOWN_MAX as usize);
        shown.for_each(|what| println!("         {what}"));
    }
    for (key, count) in found.keys {
        println!("key      {key} has signed {count} checkpoints");
    }
    Ok(differing)
}

/// The first rows of a statement that gives one text `what` a difference, with how many there are.
async fn found(conn: &mut AsyncPgConnection, differs: &str) -> Result<Vec<Found>, Failed> {
    let counted = format!(
        "SELECT what, count(*) OVER () AS all FROM ({differs}) AS found ORDER BY what \
         LIMIT {SHOWN_MAX}"
    );
    Ok(sql_query(counted).load(conn).await?)
}

fn show(found: &[Found]) {
    for Found { what, .. } in found {
        println!("         {what}");
    }
}
