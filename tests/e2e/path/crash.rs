//! Crashes under a load of readings: of the program, and of Postgres, twenty times each.
//! What was acknowledged is there exactly once, whole, and nothing is there that nobody asked for.

use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::sync::{Arc, PoisonError, RwLock};
use std::time::Duration;

use harness::embedded::open_folder;
use harness::shared::connect;
use harness::{Client, Embedded, Plant};
use nix::sys::signal::{Signal, kill};
use nix::unistd::Pid;
use platform::clock::{Clock, monotonic};
use serde_json::Value;
use tokio::task::JoinHandle;
use tokio_postgres::Client as Database;
use uuid::Uuid;

use super::goods::{Goods, plan_by_key};
use super::ledger::{self, Place};

/// How often the lights go out.
const CRASHES: usize = 20;
/// Tablets that send at once.
const WRITERS: usize = 4;
/// How long a writer or a round may take before the test gives up (never a measure of speed).
const PATIENCE: Duration = Duration::from_secs(30);
/// Readings that must get through between two crashes.
const PROGRESS: usize = 12;

/// What one writer was told: ids of readings, and whether each was met.
type Told = Vec<(Uuid, bool)>;

/// Writers that repeat each reading until it is acknowledged, whatever happens meanwhile.
struct Load {
    address: Arc<RwLock<String>>,
    is_over: Arc<AtomicBool>,
    count: Arc<AtomicUsize>,
    writers: Vec<JoinHandle<Told>>,
}

impl Load {
    fn start(client: &Client, address: &str, goods: &Goods) -> Self {
        let mut load = Self {
            address: Arc::new(RwLock::new(address.to_owned())),
            is_over: Arc::default(),
            count: Arc::default(),
            writers: Vec::new(),
        };
        for _ in 0..WRITERS {
            let writer = load.writer(client.clone(), goods.clone());
            #[expect(clippy::disallowed_methods, reason = "a test has no tracker")]
            load.writers.push(tokio::spawn(writer));
        }
        load
    }

    fn writer(&self, client: Client, goods: Goods) -> impl Future<Output = Told> + use<> {
        let (address, is_over) = (self.address.clone(), self.is_over.clone());
        let count = self.count.clone();
        async move {
            let mut told = Told::new();
            while !is_over.load(Ordering::SeqCst) {
                // Every eighth is not met, and goes by the other write door and the outbox.
                let is_met = told.len() % 8 != 7;
                let body = goods.reading(if is_met { "38.5" } else { "44" });
                let answer = until_acknowledged(&client, &address, &body).await;
                let verdict = if is_met { "PASS" } else { "FAIL" };
                assert_eq!(
                    (&answer["verdict"], &answer["reading"]),
                    (&verdict.into(), &body["id"])
                );
                let id = answer["reading"].as_str().and_then(|id| id.parse().ok());
                told.push((id.expect("an id"), is_met));
                count.fetch_add(1, Ordering::SeqCst);
            }
            told
        }
    }

    /// Waits until so many more readings were acknowledged.
    async fn progress(&self) {
        let (from, begun) = (self.count.load(Ordering::SeqCst), monotonic());
        while self.count.load(Ordering::SeqCst) < from + PROGRESS {
            assert!(begun.elapsed() < PATIENCE, "no reading gets through");
            let broken = self.writers.iter().any(JoinHandle::is_finished);
            assert!(!broken, "a writer gave up");
            tokio::time::sleep(Duration::from_millis(5)).await;
        }
    }

    fn moved_to(&self, address: &str) {
        address.clone_into(&mut self.address.write().unwrap_or_else(PoisonError::into_inner));
    }

    /// Lets each writer finish the reading that it is at; gives all that was acknowledged.
    async fn finish(self) -> Told {
        self.is_over.store(true, Ordering::SeqCst);
        let mut told = Told::new();
        for writer in self.writers {
            told.extend(writer.await.expect("a writer"));
        }
        told
    }
}

/// Sends one reading until it is acknowledged: the same body, so that repeating it is harmless.
async fn until_acknowledged(client: &Client, address: &RwLock<String>, body: &Value) -> Value {
    let begun = monotonic();
    loop {
        let base = address.read().unwrap_or_else(PoisonError::into_inner).clone();
        let request = client.at(&base).request(reqwest::Method::POST, "/v1/readings").json(body);
        if let Ok(response) = request.timeout(PATIENCE).send().await {
            let status = response.status().as_u16();
            match (status, response.text().await) {
                (200, Ok(text)) => return serde_json::from_str(&text).expect("JSON"),
                // Not available now, or changed meanwhile: both say that repeating is safe.
                (503 | 409, Ok(text)) => assert!(text.contains("\"repeat\":true"), "{text}"),
                (_, Ok(text)) => panic!("{status}: {text}"),
                // The program died while it answered.
                (_, Err(_)) => {}
            }
        }
        assert!(begun.elapsed() < PATIENCE, "never acknowledged");
        tokio::time::sleep(Duration::from_millis(50)).await;
    }
}

/// A pause that differs from round to round, so that crashes fall on different moments.
async fn a_moment(round: usize) {
    tokio::time::sleep(Duration::from_millis((round * 37 % 20) as u64 * 10)).await;
}

async fn assert_kept(database: &Database, told: &Told) {
    ledger::nothing_owed(database).await;
    let ids: Vec<Uuid> = told.iter().map(|(id, _)| *id).collect();
    let query = "SELECT r.id, r.verdict, \
        (SELECT count(*) FROM audit.leaf l WHERE l.id = r.id), \
        (SELECT count(*) FROM haccp.reading_lot l WHERE l.reading = r.id), \
        (SELECT count(*) FROM haccp.deviation d WHERE d.reading = r.id), \
        (SELECT count(*) FROM haccp.deviation d JOIN haccp.deviation_lot l ON l.deviation = d.id \
         JOIN genealogy.hold h ON h.deviation = d.id JOIN genealogy.hold_lot hl \
         ON hl.hold = h.id AND hl.lot = l.lot WHERE d.reading = r.id) \
        FROM haccp.reading r WHERE r.id = ANY($1)";
    let rows = database.query(query, &[&ids]).await.expect("the readings");
    assert_eq!(rows.len(), told.len(), "each acknowledged reading is there once");
    for row in &rows {
        let (id, verdict): (Uuid, String) = (row.get(0), row.get(1));
        let counts: [i64; 4] = [row.get(2), row.get(3), row.get(4), row.get(5)];
        let is_met = told.iter().any(|(told, is_met)| *told == id && *is_met);
        let (word, more) = if is_met { ("PASS", 0) } else { ("FAIL", 1) };
        let expected = (word, [1, 1, more, more]);
        assert_eq!((verdict.as_str(), counts), expected, "{id}: leaf, lot, deviation, hold");
    }
    let all = database.query_one("SELECT count(*) FROM haccp.reading", &[]).await.expect("a count");
    assert_eq!(all.get::<_, i64>(0), told.len() as i64, "nothing that nobody asked for");
    ledger::assert_whole(database).await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_program_killed_under_load_loses_nothing_that_it_acknowledged() {
    let mut plant = Plant::start().await;
    let goods = Goods::quickly(&plant).await;
    let operator = plant.with_roles(&["OPERATOR"]);
    let load = Load::start(&operator, &plant.http, &goods);
    for round in 0..CRASHES {
        load.progress().await;
        a_moment(round).await;
        plant.kill();
        plant.start_again();
        load.moved_to(&plant.http);
    }
    load.progress().await;
    let told = load.finish().await;
    assert!(told.len() >= CRASHES * PROGRESS, "only {} readings", told.len());
    assert_kept(&plant.database.connect().await, &told).await;
    ledger::assert_replayed(Place::Database(&plant.database.url)).await;
    plant.stop().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_postgres_killed_under_load_loses_nothing_that_was_acknowledged() {
    let folder = open_folder();
    let mut plant = Embedded::start(&folder.path().join("plant"));
    let goods = embedded_goods(&plant).await;
    let operator = plant.with_roles(&["OPERATOR"]);
    let load = Load::start(&operator, &plant.http, &goods);
    for round in 0..CRASHES {
        load.progress().await;
        a_moment(round).await;
        let postmaster = plant.postmaster().expect("Postgres runs");
        kill(postmaster, Signal::SIGKILL).expect("it lives");
        another_postmaster(&plant, postmaster).await;
    }
    load.progress().await;
    let told = load.finish().await;
    assert!(told.len() >= CRASHES * PROGRESS, "only {} readings", told.len());
    let database = connect(&plant.database_url()).await;
    assert_kept(&database, &told).await;
    drop(database);
    plant.stop();
    ledger::assert_replayed(Place::Folder(&plant.data)).await;
}

/// Waits until Postgres was started again. Its orphaned backends may answer for a moment more, so
/// that readings which get through are no sign of it.
async fn another_postmaster(plant: &Embedded, killed: Pid) {
    let begun = monotonic();
    while plant.postmaster().is_none_or(|now| now == killed) {
        assert!(begun.elapsed() < PATIENCE, "Postgres was not started again");
        tokio::time::sleep(Duration::from_millis(10)).await;
    }
}

/// All that readings need, on a plant whose clock is the machine's.
async fn embedded_goods(plant: &Embedded) -> Goods {
    let (qa, clock) = (Uuid::from_u128(1), Clock::of_the_machine());
    let client = plant.with_roles(&["QA", "MANAGER", "OPERATOR"]);
    let at = clock.now().to_string();
    let plan = plan_by_key(&client, (qa, &plant.signer()), &at).await;
    Goods::under(plan, (&client, &client), &at).await
}
