//! What the database holds, by its own catalogue: records and the leaves under them.
//! It never knows a table by name: a new one is looked at the day it appears.

use std::collections::BTreeMap;
use std::path::Path;

use domain::record;
use harness::shared::program;
use tokio::process::Command;
use tokio_postgres::Client;

/// The tables of some classes with the column that names their leaf, if there is one.
async fn tables(client: &Client, classes: &[&str]) -> Vec<(String, Option<String>)> {
    let query = "SELECT format('%I.%I', n.nspname, c.relname), \
        (SELECT a.attname::text FROM pg_attribute a WHERE a.attrelid = c.oid \
         AND a.attname IN ('id', 'record_id') ORDER BY a.attname DESC LIMIT 1) \
        FROM pg_class c JOIN pg_namespace n ON n.oid = c.relnamespace WHERE c.relkind = 'r' \
        AND split_part(obj_description(c.oid, 'pg_class'), ':', 1) = ANY($1) ORDER BY 1";
    let rows = client.query(query, &[&classes]).await.expect("the catalogue");
    rows.iter().map(|row| (row.get(0), row.get(1))).collect()
}

async fn number(client: &Client, query: &str) -> i64 {
    client.query_one(query, &[]).await.unwrap_or_else(|error| panic!("{query}: {error}")).get(0)
}

/// How many rows each table holds that a refused call must leave alone.
pub async fn rows(client: &Client) -> BTreeMap<String, i64> {
    let mut counts = BTreeMap::new();
    for (table, _) in tables(client, &["record", "link", "state"]).await {
        // The sealer files what was recorded before a moment later, whatever is called meanwhile.
        if table == "audit.filed" {
            continue;
        }
        let count = number(client, &format!("SELECT count(*) FROM {table}")).await;
        counts.insert(table, count);
    }
    assert!(counts.len() > 10, "{counts:?}");
    counts
}

/// Asserts that every record row has exactly one leaf, that no leaf is without its record, and
/// that each leaf holds the hash of its canonical entry. Gives the number of leaves.
pub async fn assert_whole(client: &Client) -> i64 {
    let mut union = Vec::new();
    for (table, column) in tables(client, &["record"]).await {
        if table == "audit.leaf" {
            continue;
        }
        let column = column.unwrap_or_else(|| panic!("{table} has neither id nor record_id"));
        union.push(format!("SELECT {column} AS id FROM {table}"));
    }
    let records = union.join(" UNION ALL ");
    // The key of audit.leaf allows one leaf an id at most, so that counts alone would suffice.
    let bare = format!(
        "SELECT count(*) FROM ({records}) AS r WHERE \
         (SELECT count(*) FROM audit.leaf AS l WHERE l.id = r.id) <> 1"
    );
    assert_eq!(number(client, &bare).await, 0, "record rows without their one leaf");
    let shared = format!(
        "SELECT count(*) FROM (SELECT id FROM ({records}) AS r GROUP BY id HAVING count(*) > 1) x"
    );
    assert_eq!(number(client, &shared).await, 0, "leaves that stand for two records");
    let lost = format!(
        "SELECT count(*) FROM audit.leaf AS l WHERE NOT EXISTS \
         (SELECT 1 FROM ({records}) AS r WHERE r.id = l.id)"
    );
    assert_eq!(number(client, &lost).await, 0, "leaves without a record");
    assert_hashed(client).await
}

async fn assert_hashed(client: &Client) -> i64 {
    // Postgres hashes by its own code, so that ours is not checked by itself.
    let wrong = "SELECT count(*) FROM audit.leaf \
        WHERE hash <> sha256('\\x00'::bytea || convert_to(entry, 'UTF8'))";
    assert_eq!(number(client, wrong).await, 0, "leaves that do not hold SHA-256(0x00 || entry)");
    let query = "SELECT id::text, form, entry FROM audit.leaf";
    let leaves = client.query(query, &[]).await.expect("the leaves");
    for leaf in &leaves {
        let (id, form, entry): (String, String, String) = (leaf.get(0), leaf.get(1), leaf.get(2));
        let value = serde_json::from_str(&entry).expect("an entry is JSON");
        assert_eq!(record::canonical(&value).as_ref(), Ok(&entry), "{form} {id}");
        assert_eq!((&value["id"], &value["form"]), (&id.into(), &form.into()));
    }
    leaves.len() as i64
}

/// Asserts that `hankbook check replay` agrees: state with records, records with their leaves.
/// `place` says where: a data folder with its own Postgres, or a database.
pub async fn assert_replayed(place: Place<'_>) {
    let mut command = Command::new(program("hankbook-under-test"));
    command.args(["check", "replay"]).env_remove("DATABASE_URL");
    match place {
        Place::Folder(data) => command.arg("--data-dir").arg(data),
        Place::Database(url) => command.env("DATABASE_URL", url),
    };
    let done = command.output().await.expect("the check runs");
    let (said, wrong) = (done.stdout.as_slice(), done.stderr.as_slice());
    let said = [String::from_utf8_lossy(said), String::from_utf8_lossy(wrong)].concat();
    assert!(done.status.success(), "{said}");
}

/// Where a plant's records are.
#[derive(Clone, Copy)]
pub enum Place<'p> {
    /// A data folder with its own Postgres, which nobody runs.
    Folder(&'p Path),
    /// The connection text of a database.
    Database(&'p str),
}

/// Waits until no service owes another one a message.
pub async fn nothing_owed(client: &Client) {
    for _ in 0..800 {
        let owed = "SELECT (SELECT count(*) FROM haccp.outbox) + \
            (SELECT count(*) FROM genealogy.outbox)";
        if number(client, owed).await == 0 {
            return;
        }
        tokio::time::sleep(std::time::Duration::from_millis(50)).await;
    }
    panic!("messages are still owed");
}
