//! What a sealer meets in the life of a plant: kills, rivals, transactions that hang, clocks that
//! go back, a database that moves. Nothing is left out, and no two heads contradict each other.
//! It never waits for anything but what must come.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

use cluster::{Cluster, Settings};
use harness::embedded::open_folder;
use harness::program::Program;
use harness::shared::connect;
use harness::stock::{self, Worker};
use harness::{Client, Options, Plant};
use platform::records::new_id;
use serde_json::{Value, json};
use tokio::task::JoinHandle;

use super::forgery::{differing, replay};
use super::{Worked, bundle, check, sealed, text, told};

/// How often the program is killed.
const KILLS: usize = 8;

/// Writers that send readings to whoever answers, until they are told to stop.
pub fn writers(
    clients: Vec<Client>,
    body: impl Fn() -> Value + Clone + Send + 'static,
) -> (Arc<AtomicBool>, Vec<JoinHandle<usize>>) {
    let is_over = Arc::new(AtomicBool::new(false));
    let running = clients.into_iter().map(|client| {
        let (is_over, body) = (is_over.clone(), body.clone());
        #[expect(clippy::disallowed_methods, reason = "a test has no tracker")]
        tokio::spawn(async move {
            let mut count = 0;
            while !is_over.load(Ordering::SeqCst) {
                let sent = client.request(reqwest::Method::POST, "/v1/readings").json(&body());
                let is_taken = sent.send().await.is_ok_and(|answer| answer.status().is_success());
                count += usize::from(is_taken);
                if !is_taken {
                    tokio::time::sleep(std::time::Duration::from_millis(20)).await;
                }
            }
            count
        })
    });
    (is_over.clone(), running.collect())
}

/// Bodies of readings that are met, on the first lot.
pub fn bodies(worked: &Worked) -> impl Fn() -> Value + Clone + Send + 'static {
    let body = worked.worker.reading(&worked.stock, &worked.stock.lots[..1], "38.5");
    move || {
        let mut body = body.clone();
        body["id"] = json!(new_id());
        body
    }
}

/// Asserts that the newest log begins with that of each earlier size, by an offline check.
pub async fn assert_consistent(client: &Client, key: &str, sizes: &[i64]) {
    for size in sizes {
        let proof = client.get(&format!("/v1/proofs/consistency?from={size}")).await.expect(200);
        let (proves, said) = check(&["proof", "consistency", "--key", key], proof.text.as_bytes());
        assert!(proves, "{size}: {said}");
    }
}

/// Asserts that nothing differs, but for promises that the test itself has broken.
pub fn assert_whole(url: &str, broken: &[&str]) {
    let (_, said) = replay(url);
    assert_eq!(differing(&said), broken, "{said}");
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_sealer_killed_under_load_leaves_one_whole_log() {
    let mut worked = Worked::start().await;
    worked.sealed().await;
    let key = worked.key().await;
    let mut sizes = Vec::new();
    for round in 0..KILLS {
        let client = worked.worker.client.at(&worked.plant.http);
        let (is_over, running) = writers(vec![client; 3], bodies(&worked));
        // Different moments of the tick: before, in and after a seal and its signature.
        tokio::time::sleep(std::time::Duration::from_millis(150 + round as u64 * 67)).await;
        worked.plant.kill();
        is_over.store(true, Ordering::SeqCst);
        for writer in running {
            writer.await.expect("a writer");
        }
        assert_whole(&worked.plant.database.url, &[]);
        let query = "SELECT max(size) FROM audit.checkpoint";
        sizes.push(worked.database.query_one(query, &[]).await.expect("a size").get(0));
        worked.plant.start_again();
    }
    let last = sealed(&worked.database).await;
    assert!(last > sizes[KILLS - 1], "{sizes:?} {last}");
    let client = worked.worker.client.at(&worked.plant.http);
    assert_consistent(&client, &key, &sizes).await;
    assert_whole(&worked.plant.database.url, &[]);
    worked.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_log_sealed_and_not_yet_signed_is_signed_at_the_next_start() {
    let mut worked = Worked::start().await;
    let size = worked.sealed().await;
    worked.plant.kill();
    let newest = "SELECT note FROM audit.checkpoint WHERE size = (SELECT count(*) FROM audit.leaf)";
    let row = worked.database.query_one(newest, &[]).await.expect("a note");
    let note: String = row.get(0);
    // As if the power had gone between the two.
    let unsigned = format!(
        "SET session_replication_role = replica; DELETE FROM audit.checkpoint WHERE size = {size}; \
         SET session_replication_role = origin"
    );
    worked.database.batch_execute(&unsigned).await.expect("a superuser");
    worked.plant.start_again();
    sealed(&worked.database).await;
    let query = format!("SELECT note FROM audit.checkpoint WHERE size = {size}");
    let row = worked.database.query_one(&query, &[]).await.expect("a note");
    assert_eq!(row.get::<_, String>(0), note);
    assert_whole(&worked.plant.database.url, &[]);
    worked.stop().await;
}

/// How many hold the sealer's lock.
async fn holders(worked: &Worked) -> i64 {
    let query = "SELECT count(*) FROM pg_locks WHERE locktype = 'advisory' AND granted AND \
        objid = 1399153004 AND database = (SELECT oid FROM pg_database WHERE datname = \
        current_database())";
    worked.database.query_one(query, &[]).await.expect("the locks").get(0)
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn of_two_processes_one_seals_and_the_other_takes_over() {
    let mut worked = Worked::start().await;
    worked.sealed().await;
    let key = worked.key().await;
    let (folder, url) = (worked.plant.folder(), worked.plant.database.url.clone());
    let second = Program::start(&folder, &url, worked.plant.options());
    let client = worked.worker.client.clone();
    let clients = vec![client.clone(), client.at(&second.http), client.at(&second.http)];
    let (is_over, running) = writers(clients, bodies(&worked));
    let mut sizes = Vec::new();
    for _ in 0..6 {
        tokio::time::sleep(std::time::Duration::from_millis(150)).await;
        assert_eq!(holders(&worked).await, 1);
        let head = client.at(&second.http).get("/v1/checkpoint").await.ok();
        sizes.extend(head["size"].as_i64());
    }
    worked.plant.kill();
    tokio::time::sleep(std::time::Duration::from_millis(600)).await;
    is_over.store(true, Ordering::SeqCst);
    for writer in running {
        assert!(writer.await.expect("a writer") > 0);
    }
    let size = sealed(&worked.database).await;
    assert_eq!(holders(&worked).await, 1);
    let client = client.at(&second.http);
    let head = client.get("/v1/checkpoint").await.ok();
    assert_eq!((head["size"].as_i64(), text(&head, "key")), (Some(size), key.as_str()));
    assert_consistent(&client, &key, &sizes).await;
    let about = format!("lot:{}", worked.stock.lots[0]);
    assert!(check(&["verify", "--key", &key], &bundle(&client, &about).await).0);
    assert_whole(&url, &[]);
    drop(second);
    worked.plant.start_again();
    worked.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_transaction_that_hangs_stops_no_sealing_and_is_sealed_when_it_ends() {
    let worked = Worked::start().await;
    let size = worked.sealed().await;
    let begin = "BEGIN; SELECT pg_current_xact_id()";
    // One in this database that has written a leaf, one in another database of the cluster.
    let here = worked.plant.database.connect().await;
    let late = new_id();
    let leaf = format!(
        "INSERT INTO audit.leaf (id, form, subject, day, recorded_at, entry, hash) VALUES \
         ('{late}', 'test/1', 'test:{late}', '2026-11-25', now(), '{{\"id\":\"{late}\"}}', \
         sha256('\\x00'::bytea || convert_to('{{\"id\":\"{late}\"}}', 'UTF8')))"
    );
    here.batch_execute(&format!("{begin}; {leaf}")).await.expect("a transaction");
    let other = worked.plant.database.url.replace(&worked.plant.database.name, "postgres");
    let elsewhere = connect(&other).await;
    elsewhere.batch_execute(begin).await.expect("a transaction");
    for count in 1..=4 {
        worked.read("38").await;
        assert_eq!(worked.sealed().await, size + count);
    }
    here.batch_execute("COMMIT").await.expect("a commit");
    assert_eq!(worked.sealed().await, size + 5);
    worked.read("38.1").await;
    worked.sealed().await;
    let query = "SELECT position FROM audit.sealed WHERE leaf = $1";
    let row = worked.database.query_one(query, &[&late]).await.expect("its position");
    assert_eq!(row.get::<_, i64>(0), size + 4, "it is sealed last, when it can be seen");
    // Rolled back, nothing of it is ever sealed.
    elsewhere.batch_execute("ROLLBACK").await.expect("an end");
    let rowless =
        ["every leaf has its record, of a known form", "every leaf is filed as its entry says"];
    assert_whole(&worked.plant.database.url, &rowless);
    worked.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_clock_that_goes_back_changes_no_order() {
    let mut worked = Worked::start().await;
    let administrator = worked.plant.with_roles(&["ADMINISTRATOR"]);
    let ahead = json!({ "to": "2026-11-25T06:05:00Z" });
    let write = new_id().to_string();
    let write = [("idempotency-key", write.as_str())];
    administrator.post_with("/simulation/clock", &ahead, &write).await.ok();
    worked.read("38").await;
    let size = worked.sealed().await;
    let key = worked.key().await;
    worked.plant.kill();
    // The records are forgotten by the clock alone: it starts five minutes before the last one.
    let back = "SET session_replication_role = replica; UPDATE audit.leaf SET recorded_at = \
        '2026-11-25T06:00:00Z'; SET session_replication_role = origin";
    worked.database.batch_execute(back).await.expect("a superuser");
    worked.plant.start_again();
    let at = harness::plant::START.parse().expect("an instant");
    let http = worked.plant.http.clone();
    let worker = Worker::new(&http, worked.plant.signer(), &["QA", "MANAGER"], at);
    let body = worker.reading(&worked.stock, &worked.stock.lots[..1], "38");
    worker.client.post("/v1/readings", &body).await.ok();
    let later = sealed(&worked.database).await;
    assert!(later > size);
    let query = "SELECT count(*) FROM audit.checkpoint AS one JOIN audit.checkpoint AS other \
        ON other.size > one.size AND other.signed_at < one.signed_at";
    let row = worked.database.query_one(query, &[]).await.expect("a count");
    assert!(row.get::<_, i64>(0) > 0, "the clock did not go back");
    assert_consistent(&worker.client, &key, &[size]).await;
    assert_whole(&worked.plant.database.url, &[]);
    worked.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_log_goes_on_where_it_ended_in_a_new_cluster() {
    let mut worked = Worked::start().await;
    worked.sealed().await;
    let (old, key) = (worked.lot_bundle().await, worked.key().await);
    let client = worked.worker.client.clone();
    let (is_over, running) = writers(vec![client; 3], bodies(&worked));
    tokio::time::sleep(std::time::Duration::from_millis(700)).await;
    worked.plant.kill();
    is_over.store(true, Ordering::SeqCst);
    for writer in running {
        writer.await.expect("a writer");
    }
    // One leaf that was never sealed, under a number that the new cluster is far from.
    let folder = open_folder();
    let elsewhere = Cluster::start(Settings::for_tests(folder.path().join("cluster")));
    let elsewhere = elsewhere.expect("a cluster");
    elsewhere.ensure_database("moved").expect("a database");
    let url = elsewhere.connection_string(cluster::SUPERUSER, "moved");
    let moved = connect(&url).await;
    for role in hankbook::database::SERVICES.iter().chain(&["owner"]) {
        moved.batch_execute(&format!("CREATE ROLE hankbook_{role} LOGIN")).await.expect("a role");
    }
    let dump = folder.path().join("dump");
    let programs = elsewhere.programs_dir();
    let mut take = std::process::Command::new(programs.join("pg_dump"));
    let (done, said) = told(take.arg("-f").arg(&dump).arg(&worked.plant.database.url));
    assert!(done, "{said}");
    let mut give = std::process::Command::new(programs.join("psql"));
    let (done, said) = told(give.args(["-qX", "-v", "ON_ERROR_STOP=1", "-f"]).arg(&dump).arg(&url));
    assert!(done, "{said}");
    let data = open_folder();
    let program = Program::start(data.path(), &url, &Options::default());
    let size = sealed(&moved).await;
    let signer = data.path().join("keys").join("token.der");
    let signer = platform::tokens::Signer::open_or_create(&signer).expect("its key");
    let at = harness::plant::START.parse().expect("an instant");
    let worker = Worker::new(&program.http, signer, &["QA", "MANAGER"], at);
    let body = worker.reading(&worked.stock, &worked.stock.lots[..1], "38");
    worker.client.post("/v1/readings", &body).await.ok();
    assert!(sealed(&moved).await > size, "leaves with small numbers are seen too");
    let head = worker.client.get("/v1/checkpoint").await.ok();
    let new_key = text(&head, "key").to_owned();
    assert_ne!(new_key, key, "a new folder has a key of its own");
    let about = format!("lot:{}", worked.stock.lots[0]);
    let new = bundle(&worker.client, &about).await;
    assert!(check(&["verify", "--key", &new_key], &new).0);
    assert!(check(&["verify", "--key", &key], &old).0, "what was exported holds for ever");
    assert_whole(&url, &[]);
    drop((program, moved));
    elsewhere.stop().expect("its end");
    worked.plant.start_again();
    worked.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_process_told_not_to_seal_leaves_it_to_others() {
    let environment = vec![("HANKBOOK_SEALER".to_owned(), "off".to_owned())];
    let plant = Plant::start_with(Options { environment, ..Options::default() }).await;
    let at = harness::plant::START.parse().expect("an instant");
    let worker = Worker::new(&plant.http, plant.signer(), &["QA", "MANAGER"], at);
    stock::receive(&worker, vec![new_id()]).await;
    worker.client.get("/v1/checkpoint").await.expect(404);
    let (folder, url) = (plant.folder(), plant.database.url.clone());
    let second = Program::start(&folder, &url, &Options::default());
    let database = plant.database.connect().await;
    sealed(&database).await;
    worker.client.get("/v1/checkpoint").await.expect(200);
    drop((second, database));
    plant.stop().await;
}
