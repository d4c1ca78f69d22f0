//! A sealer that dies after each of its steps, by name: nothing is sealed twice or left out, and
//! every head that was ever signed is a head of the log that follows. It never waits for luck.

use std::os::unix::process::ExitStatusExt as _;
use std::sync::atomic::Ordering;

use harness::program::Program;
use harness::{Options, Plant};
use nix::sys::signal::Signal;

use super::forgery::{differing, replay};
use super::hardship::{assert_consistent, assert_whole, bodies, writers};
use super::{Worked, check, sealed};

/// Leaves under one stored node of the tree.
const WHOLE: i64 = 256;
/// Leaves that wait for the sealer each time.
const WAITING: i64 = 5;

/// How far the log has come.
#[derive(Debug)]
struct Standing {
    /// Leaves with a position.
    ordered: i64,
    /// Stored nodes above them.
    nodes: i64,
    /// The size of the newest checkpoint.
    signed: i64,
    /// The note of the file beside the key, and its size.
    head: (String, i64),
}

impl Standing {
    async fn of(worked: &Worked) -> Self {
        let query = "SELECT (SELECT count(*) FROM audit.sealed), \
            (SELECT count(*) FROM audit.subtree), \
            coalesce((SELECT max(size) FROM audit.checkpoint), 0)";
        let row = worked.database.query_one(query, &[]).await.expect("the log");
        let note = std::fs::read_to_string(worked.plant.folder().join("keys/log.head"));
        let note = note.unwrap_or_default();
        let size = note.lines().nth(1).map_or(0, |size| size.parse().expect("a size"));
        Self { ordered: row.get(0), nodes: row.get(1), signed: row.get(2), head: (note, size) }
    }
}

/// A sealer that dies after a step.
fn mortal(step: &str) -> Options {
    let environment = vec![("HANKBOOK_SEALER_DIES_AFTER".to_owned(), step.to_owned())];
    Options { environment, ..Options::default() }
}

async fn dies(worked: &Worked, step: &str) -> Standing {
    let (folder, url) = (worked.plant.folder(), &worked.plant.database.url);
    let status = Program::start_to_die(&folder, url, &mortal(step));
    assert_eq!(status.signal(), Some(Signal::SIGABRT as i32), "{step}: {}", worked.plant.log());
    Standing::of(worked).await
}

/// Takes readings until so many leaves are there.
async fn until_leaves(worked: &Worked, count: i64) {
    let clients = vec![worked.worker.client.clone(); 3];
    let (is_over, running) = writers(clients, bodies(worked));
    let query = "SELECT count(*) FROM audit.leaf";
    while worked.database.query_one(query, &[]).await.expect("a count").get::<_, i64>(0) < count {
        tokio::time::sleep(std::time::Duration::from_millis(20)).await;
    }
    is_over.store(true, Ordering::SeqCst);
    for writer in running {
        writer.await.expect("a writer");
    }
}

/// What a death after a step must have left: all of a growth or nothing of it.
fn assert_left(step: &str, before: &Standing, after: &Standing) {
    let place = |step: &str| audit::STEPS.iter().position(|known| *known == step);
    let is_past = |other: &str| place(step) >= place(other);
    assert_eq!(after.ordered > before.ordered, is_past("committed"), "{step}: {after:?}");
    assert_eq!(after.head.1 > before.head.1, is_past("head-named"), "{step}: {after:?}");
    assert_eq!(after.signed > before.signed, is_past("published"), "{step}: {after:?}");
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_sealer_that_dies_after_any_step_leaves_one_whole_log() {
    // One process takes readings and never seals; others seal, and die.
    let environment = vec![("HANKBOOK_SEALER".to_owned(), "off".to_owned())];
    let plant = Plant::start_with(Options { environment, ..Options::default() }).await;
    let worked = Worked::on(plant).await;
    let (folder, url) = (worked.plant.folder(), worked.plant.database.url.clone());
    let mut heads = Vec::new();
    for step in audit::STEPS {
        let before = Standing::of(&worked).await;
        // What is cut short at the tree has a node to store, and none of it is there after.
        let next = (before.ordered / WHOLE + 1) * WHOLE;
        let more = if step == "grown" { next } else { before.ordered + WAITING };
        until_leaves(&worked, more).await;
        let after = dies(&worked, step).await;
        assert_left(step, &before, &after);
        assert_whole(&url, &[]);
        heads.push(after.head);
        let mended = Program::start(&folder, &url, &Options::default());
        let size = sealed(&worked.database).await;
        drop(mended);
        let now = Standing::of(&worked).await;
        assert_eq!((now.signed, now.head.1, now.nodes), (size, size, size / WHOLE), "{step}");
        heads.push(now.head);
    }
    // It dies again and again while it makes good what it had not signed.
    until_leaves(&worked, heads[heads.len() - 1].1 + WAITING).await;
    for step in &audit::STEPS[5..] {
        heads.push(dies(&worked, step).await.head);
    }
    let size = sealed(&worked.database).await;
    assert_one_log(&worked, &heads, size).await;
    assert_whole(&url, &[]);
    assert_bent_node_is_found(&worked).await;
    assert_whole(&url, &[]);
    worked.stop().await;
}

/// A stored node that somebody bends is named, and nothing is signed over it.
async fn assert_bent_node_is_found(worked: &Worked) {
    let (folder, url) = (worked.plant.folder(), &worked.plant.database.url);
    let size = sealed(&worked.database).await;
    let bend = "CREATE TEMP TABLE kept AS TABLE audit.subtree; \
        SET session_replication_role = replica; UPDATE audit.subtree SET hash = sha256(hash) \
        WHERE level = 8 AND index = 0; SET session_replication_role = origin";
    worked.database.batch_execute(bend).await.expect("a superuser");
    let (is_whole, said) = replay(url);
    let named = ["the stored tree is that of the sealed leaves"];
    assert_eq!((is_whole, differing(&said)), (false, named.to_vec()), "{said}");
    worked.read("38").await;
    let sealer = Program::start(&folder, url, &Options::default());
    let begun = platform::clock::monotonic();
    while !worked.plant.log().contains("the stored tree has not the root that was signed") {
        assert!(begun.elapsed() < super::PATIENCE, "{}", worked.plant.log());
        tokio::time::sleep(std::time::Duration::from_millis(50)).await;
    }
    assert_eq!(Standing::of(worked).await.signed, size);
    let mend = "SET session_replication_role = replica; DELETE FROM audit.subtree; \
        INSERT INTO audit.subtree SELECT * FROM kept; SET session_replication_role = origin";
    worked.database.batch_execute(mend).await.expect("a superuser");
    assert_eq!(sealed(&worked.database).await, size + 1);
    drop(sealer);
}

/// Every leaf has one position, and every note that was ever signed is of this one log.
async fn assert_one_log(worked: &Worked, heads: &[(String, i64)], size: i64) {
    let query = "SELECT count(*) FROM (SELECT leaf.id FROM audit.leaf LEFT JOIN audit.sealed \
        ON sealed.leaf = leaf.id GROUP BY leaf.id HAVING count(sealed.position) <> 1) AS wrong";
    let wrong = worked.database.query_one(query, &[]).await.expect("a count");
    assert_eq!(wrong.get::<_, i64>(0), 0, "leaves without their one position");
    let mut sizes = Vec::new();
    for (note, of) in heads.iter().filter(|(note, _)| !note.is_empty()) {
        let query = "SELECT note FROM audit.checkpoint WHERE size = $1";
        let row = worked.database.query_one(query, &[of]).await.expect("a head that was signed");
        assert_eq!(row.get::<_, String>(0), *note, "{of}");
        sizes.push(*of);
    }
    assert!(sizes.len() > audit::STEPS.len(), "{sizes:?}");
    let key = worked.key().await;
    assert_consistent(&worked.worker.client, &key, &sizes).await;
    let bundle = worked.lot_bundle().await;
    let (holds, said) = check(&["verify", "--key", &key], &bundle);
    assert!(holds, "{size}: {said}");
}
