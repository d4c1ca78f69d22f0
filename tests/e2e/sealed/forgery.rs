//! A superuser of the database who bends a copy of a plant: each forgery is found and named.
//! It never bends without the triggers off, as such a superuser would.

use harness::shared::{connect, program};
use tokio_postgres::Client as Database;
use uuid::Uuid;

use super::{Worked, check, findings, sealed, told};

/// What `hankbook check replay` says of a database.
pub fn replay(url: &str) -> (bool, String) {
    let mut command = std::process::Command::new(program("hankbook-under-test"));
    told(command.args(["check", "replay"]).env("DATABASE_URL", url))
}

/// The promises that differ.
pub fn differing(said: &str) -> Vec<&str> {
    let lines = said.lines().filter_map(|line| line.strip_prefix("DIFFERS  "));
    lines.map(|line| line.rsplit_once(": ").expect("a count").0).collect()
}

const LEAF: &str = "every leaf's hash is that of its entry";
const ROW: &str = "every reading's row says what its entry says";
const RECORD: &str = "every record has its one leaf";
const ORDER: &str = "positions count from 0 and each has its leaf";
const FILED: &str = "sealed entries are filed under what they name";
const HEAD: &str = "each checkpoint is a signed head of the tree";
const ROWLESS: &str = "every leaf has its record, of a known form";
const LINKS: &str = "every link is in its record's entry, and none is missing";

/// How a reading `ID` is bent, and the promises that it breaks. Each stands alone: the copy is
/// made anew.
const FORGERIES: [(&str, &str, &[&str]); 12] = [
    ("its row", "UPDATE haccp.reading SET readings = '{30}' WHERE id = 'ID'", &[ROW]),
    (
        "its entry",
        "UPDATE audit.leaf SET entry = replace(entry, '\"37.9\"', '\"30\"') WHERE id = 'ID'",
        &[LEAF, LINKS],
    ),
    (
        "its entry with the hash",
        "UPDATE audit.leaf SET entry = replace(entry, '\"37.9\"', '\"30\"'), hash = \
         sha256('\\x00' || convert_to(replace(entry, '\"37.9\"', '\"30\"'), 'UTF8')) WHERE id = 'ID'",
        &[ROW, ORDER],
    ),
    (
        "row, entry, hash, and the sealed hash",
        "UPDATE haccp.reading SET readings = '{30}' WHERE id = 'ID'; \
         UPDATE audit.leaf SET entry = replace(entry, '\"37.9\"', '\"30\"'), hash = \
         sha256('\\x00' || convert_to(replace(entry, '\"37.9\"', '\"30\"'), 'UTF8')) WHERE id = 'ID'; \
         UPDATE audit.sealed SET hash = (SELECT hash FROM audit.leaf WHERE id = leaf) \
         WHERE leaf = 'ID'",
        &[HEAD],
    ),
    (
        "its leaf's hash",
        "UPDATE audit.leaf SET hash = sha256(hash) WHERE id = 'ID'",
        &[LEAF, LINKS, ORDER],
    ),
    ("no row", "DELETE FROM haccp.reading WHERE id = 'ID'", &[ROWLESS]),
    (
        "no trace in its own tables",
        "DELETE FROM haccp.reading WHERE id = 'ID'; DELETE FROM haccp.reading_lot WHERE \
         reading = 'ID'; DELETE FROM audit.leaf WHERE id = 'ID'",
        &[ORDER],
    ),
    ("no leaf", "DELETE FROM audit.leaf WHERE id = 'ID'", &[RECORD, LINKS, ORDER]),
    (
        "another order",
        "CREATE TEMP TABLE two AS SELECT * FROM audit.sealed WHERE position IN (0, 3); \
         DELETE FROM audit.sealed WHERE position IN (0, 3); \
         INSERT INTO audit.sealed SELECT 3 - position, leaf, hash FROM two",
        &[FILED, HEAD],
    ),
    (
        "two signatures swapped",
        "UPDATE audit.checkpoint AS one SET note = left(one.note, strpos(one.note, E'\\n\\n') + 1) \
         || (SELECT substr(other.note, strpos(other.note, E'\\n\\n') + 2) FROM audit.checkpoint \
         AS other WHERE other.size <> one.size ORDER BY size LIMIT 1) \
         WHERE size IN (SELECT size FROM audit.checkpoint ORDER BY size LIMIT 2)",
        &[HEAD],
    ),
    (
        "an old checkpoint as the newest",
        "UPDATE audit.checkpoint SET note = (SELECT note FROM audit.checkpoint ORDER BY size \
         LIMIT 1), root = (SELECT root FROM audit.checkpoint ORDER BY size LIMIT 1) \
         WHERE size = (SELECT max(size) FROM audit.checkpoint)",
        &[HEAD],
    ),
    (
        "the end of the tree cut off",
        "DELETE FROM audit.sealed WHERE position >= (SELECT min(size) FROM audit.checkpoint)",
        &[FILED, HEAD],
    ),
];

/// A copy of a database, with the triggers silenced for whoever bends it.
async fn copied(worked: &Worked, name: &str) -> (Database, String) {
    let url = worked.plant.database.url.clone();
    let admin = connect(&url.replace(&worked.plant.database.name, "postgres")).await;
    let own = &worked.plant.database.name;
    // Nobody may be connected to a database that is copied.
    let lone = format!(
        "SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE datname = '{own}'; \
         DROP DATABASE IF EXISTS {name} WITH (FORCE)"
    );
    for _ in 0..50 {
        for statement in lone.split(';') {
            admin.batch_execute(statement).await.expect("a superuser");
        }
        let copy = format!("CREATE DATABASE {name} TEMPLATE {own}");
        if admin.batch_execute(&copy).await.is_ok() {
            let url = url.replace(own, name);
            let client = connect(&url).await;
            let silent = "SET session_replication_role = replica";
            client.batch_execute(silent).await.expect("a superuser");
            return (client, url);
        }
    }
    panic!("the database is never alone");
}

async fn remove(worked: &Worked, name: &str) {
    let url = worked.plant.database.url.replace(&worked.plant.database.name, "postgres");
    let drop = format!("DROP DATABASE IF EXISTS {name} WITH (FORCE)");
    connect(&url).await.batch_execute(&drop).await.expect("the copy goes");
}

#[tokio::test(flavor = "multi_thread")]
async fn every_forgery_of_a_superuser_is_found_and_named() {
    let mut worked = Worked::start().await;
    worked.sealed().await;
    let id = worked.read("37.9").await;
    worked.sealed().await;
    let bundle = worked.lot_bundle().await;
    worked.plant.kill();
    let name = format!("copy_{}", Uuid::parse_str(&id).expect("an id").simple());
    let (_, url) = copied(&worked, &name).await;
    let (kept, said) = replay(&url);
    assert!(kept && said.contains("has signed"), "{said}");
    let mut wrong = Vec::new();
    for (what, bend, promises) in FORGERIES {
        let (client, url) = copied(&worked, &name).await;
        client.batch_execute(&bend.replace("ID", &id)).await.expect(bend);
        drop(client);
        let (kept, said) = replay(&url);
        let mut found = differing(&said);
        let mut wanted = promises.to_vec();
        found.sort_unstable();
        wanted.sort_unstable();
        if kept || found != wanted {
            wrong.push(format!("{what}: {found:?} and not {wanted:?}"));
        }
    }
    assert_eq!(wrong, Vec::<String>::new());
    // All that a superuser can reach is bent, the tree too: the key alone is out of reach.
    let (client, url) = copied(&worked, &name).await;
    let whole = format!(
        "{}; UPDATE audit.checkpoint SET root = sha256(root)",
        FORGERIES[3].1.replace("ID", &id)
    );
    client.batch_execute(&whole).await.expect("a superuser");
    assert_eq!(differing(&replay(&url).1), [HEAD]);
    drop(client);
    // What was exported before says which record it is.
    let forged = String::from_utf8(bundle).expect("text").replace("\\\"37.9\\\"", "\\\"30\\\"");
    let (holds, said) = check(&["verify"], forged.as_bytes());
    assert_eq!((holds, findings(&said)), (false, vec![format!("ALTERED {id}")]), "{said}");
    remove(&worked, &name).await;
    worked.plant.start_again();
    worked.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_plant_that_was_put_back_signs_nothing_that_contradicts_what_it_signed() {
    let mut worked = Worked::start().await;
    let early = worked.sealed().await;
    let reading = worked.read("38").await;
    let size = worked.sealed().await;
    worked.plant.kill();
    // The newest records are taken out, with everything that tells of them.
    let cut = format!(
        "SET session_replication_role = replica; DELETE FROM haccp.reading_lot WHERE reading = \
         '{reading}'; DELETE FROM haccp.reading WHERE id = '{reading}'; \
         DELETE FROM audit.leaf WHERE id = '{reading}'; \
         DELETE FROM audit.sealed WHERE position >= {early}; \
         DELETE FROM audit.filed WHERE position >= {early}; \
         DELETE FROM audit.checkpoint WHERE size > {early}; \
         SET session_replication_role = origin"
    );
    worked.database.batch_execute(&cut).await.expect("a superuser");
    let (kept, said) = replay(&worked.plant.database.url);
    assert!(kept, "the database alone cannot know it: {said}");
    worked.plant.start_again();
    let again = worked.worker.client.at(&worked.plant.http);
    let body = worked.worker.reading(&worked.stock, &worked.stock.lots[..1], "38");
    again.post("/v1/readings", &body).await.ok();
    let log = "the log does not continue what was signed";
    let begun = platform::clock::monotonic();
    while !worked.plant.log().contains(log) {
        assert!(begun.elapsed() < super::PATIENCE, "the sealer goes on: {}", worked.plant.log());
        tokio::time::sleep(std::time::Duration::from_millis(50)).await;
    }
    let query = "SELECT max(size) FROM audit.checkpoint";
    let row = worked.database.query_one(query, &[]).await.expect("the size");
    assert_eq!(row.get::<_, i64>(0), early, "{size}");
    worked.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_tree_that_is_cut_under_a_running_sealer_is_not_signed_again() {
    let worked = Worked::start().await;
    let size = sealed(&worked.database).await;
    let cut = format!(
        "SET session_replication_role = replica; DELETE FROM audit.sealed WHERE position = {}; \
         SET session_replication_role = origin",
        size - 1
    );
    worked.database.batch_execute(&cut).await.expect("a superuser");
    worked.read("38").await;
    let begun = platform::clock::monotonic();
    while !worked.plant.log().contains("somebody else has changed the sealed order") {
        assert!(begun.elapsed() < super::PATIENCE, "{}", worked.plant.log());
        tokio::time::sleep(std::time::Duration::from_millis(50)).await;
    }
    let heads = "SELECT count(*) FROM audit.checkpoint WHERE size > (SELECT count(*) FROM \
        audit.sealed) + 1";
    let row = worked.database.query_one(heads, &[]).await.expect("a count");
    assert_eq!(row.get::<_, i64>(0), 0);
    worked.stop().await;
}
