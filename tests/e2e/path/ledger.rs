//! What the database holds, by its own catalogue: records and the leaves under them.
//! It never knows a table by name: a new one is looked at the day it appears.

use std::collections::BTreeMap;

use domain::record;
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

/// Asserts that what is derived equals what the records say.
pub async fn assert_replayed(client: &Client) {
    let raised = "SELECT lot FROM haccp.deviation_lot UNION ALL SELECT lot FROM genealogy.hold_lot \
        UNION ALL SELECT link.lot FROM haccp.reading AS r JOIN haccp.reading_lot AS link \
        ON link.reading = r.id WHERE r.supersedes IS NOT NULL AND NOT EXISTS \
        (SELECT 1 FROM haccp.deviation AS d WHERE d.reading = r.id)";
    let safety = format!(
        "SELECT count(*) FROM genealogy.lot AS lot FULL JOIN (SELECT * FROM genealogy.lot_safety \
         WHERE lot <> '00000000-0000-0000-0000-000000000000') AS safety ON safety.lot = lot.id \
         WHERE safety.version IS DISTINCT FROM \
         1 + (SELECT count(*) FROM ({raised}) AS raised WHERE raised.lot = lot.id)"
    );
    assert_eq!(number(client, &safety).await, 0, "safety versions");
    let on_hand = "SELECT count(*) FROM genealogy.lot AS lot FULL JOIN genealogy.lot_on_hand AS h \
        ON h.lot = lot.id WHERE h.on_hand_g IS DISTINCT FROM lot.mass_g";
    assert_eq!(number(client, on_hand).await, 0, "what is on hand of lots that nobody used");
    let bound = "SELECT count(*) FROM genealogy.lot AS lot FULL JOIN haccp.lot_bound AS b \
        ON b.lot = lot.id \
        WHERE (b.plan, b.version) IS DISTINCT FROM (lot.plan, lot.plan_version)";
    assert_eq!(number(client, bound).await, 0, "to which version lots are bound");
    let in_force = "SELECT count(*) FROM (SELECT id, max(version) AS last FROM haccp.plan \
        GROUP BY id) AS plan FULL JOIN haccp.plan_in_force AS now ON now.plan = plan.id \
        WHERE now.version IS DISTINCT FROM plan.last";
    assert_eq!(number(client, in_force).await, 0, "which versions are in force");
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
