//! The sealed log: records that prove themselves, and every way of bending them that we know.
//! It never trusts what a running plant says of itself: bundles are checked by programs apart.

mod bytes;
mod forgery;
mod hardship;
mod journey;
mod live;
mod steps;
mod uploads;

use std::path::Path;
use std::process::{Command, Output};
use std::time::Duration;

use harness::plant::START;
use harness::shared::program;
use harness::stock::{self, Stock, Worker};
use harness::{Client, Plant};
use platform::clock::monotonic;
use platform::records::new_id;
use serde_json::Value;
use tokio_postgres::Client as Database;

/// How long a test waits for the sealer before it gives up (never a measure of speed).
const PATIENCE: Duration = Duration::from_secs(30);

/// A plant with some records.
struct Worked {
    plant: Plant,
    worker: Worker,
    stock: Stock,
    database: Database,
}

impl Worked {
    /// A plan, two lots, some readings, one of them not met.
    async fn start() -> Self {
        Self::on(Plant::start().await).await
    }

    async fn on(plant: Plant) -> Self {
        let at = START.parse().expect("an instant");
        let worker = Worker::new(&plant.http, plant.signer(), &["QA", "MANAGER"], at);
        let stock = stock::receive(&worker, vec![new_id(), new_id()]).await;
        let database = plant.database.connect().await;
        let worked = Self { plant, worker, stock, database };
        for value in ["38", "38.5", "39", "44"] {
            worked.read(value).await;
        }
        worked
    }

    /// Takes a reading on the first lot; gives its id.
    async fn read(&self, value: &str) -> String {
        let body = self.worker.reading(&self.stock, &self.stock.lots[..1], value);
        let answer = self.worker.client.post("/v1/readings", &body).await.ok();
        answer["reading"].as_str().expect("an id").to_owned()
    }

    /// Waits until every leaf is under a checkpoint; gives its size.
    async fn sealed(&self) -> i64 {
        sealed(&self.database).await
    }

    /// A bundle, as downloaded.
    async fn bundle(&self, about: &str) -> Vec<u8> {
        bundle(&self.worker.client, about).await
    }

    /// The same entries as data, a line each.
    async fn entries_of(&self, about: &str) -> Vec<String> {
        let answer = self.worker.client.get(&format!("/v1/entries/{about}")).await.expect(200);
        answer.text.lines().map(str::to_owned).collect()
    }

    /// The bundle of the first lot.
    async fn lot_bundle(&self) -> Vec<u8> {
        self.bundle(&format!("lot:{}", self.stock.lots[0])).await
    }

    async fn key(&self) -> String {
        let head = self.worker.client.get("/v1/checkpoint").await.ok();
        head["key"].as_str().expect("a key").to_owned()
    }

    async fn stop(self) {
        drop(self.database);
        self.plant.stop().await;
    }
}

async fn bundle(client: &Client, about: &str) -> Vec<u8> {
    client.get(&format!("/v1/bundles/{about}")).await.expect(200).text.into_bytes()
}

/// Waits until every leaf is under a checkpoint; gives its size.
async fn sealed(database: &Database) -> i64 {
    // What is owed to another service becomes a leaf when it arrives.
    let query = "SELECT (SELECT count(*) FROM audit.leaf) + (SELECT count(*) FROM haccp.outbox) \
        + (SELECT count(*) FROM genealogy.outbox), \
        coalesce((SELECT max(size) FROM audit.checkpoint), 0)";
    let begun = monotonic();
    loop {
        let row = database.query_one(query, &[]).await.expect("the counts");
        let (leaves, size): (i64, i64) = (row.get(0), row.get(1));
        if leaves == size {
            return size;
        }
        assert!(begun.elapsed() < PATIENCE, "{size} of {leaves} leaves are sealed");
        tokio::time::sleep(Duration::from_millis(20)).await;
    }
}

/// What the program says of a file.
fn check(arguments: &[&str], bytes: &[u8]) -> (bool, String) {
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("file");
    std::fs::write(&file, bytes).expect("the file");
    let mut command = Command::new(program("hankbook-under-test"));
    told(command.args(arguments).arg(&file).env_remove("DATABASE_URL"))
}

/// What the second verifier says of a file.
fn check_by_python(arguments: &[&str], bytes: &[u8]) -> (bool, String) {
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("file");
    std::fs::write(&file, bytes).expect("the file");
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("golden/verify.py");
    told(Command::new("python3").arg(script).args(arguments).arg(&file))
}

fn told(command: &mut Command) -> (bool, String) {
    let Output { status, stdout, stderr } = command.output().expect("the check runs");
    let said = String::from_utf8_lossy(&[stdout, stderr].concat()).into_owned();
    (status.success(), said)
}

/// What a check found, one finding a line, in order.
fn findings(said: &str) -> Vec<String> {
    let kinds = ["ALTERED ", "MISSING ", "UNSIGNED ", "REORDERED "];
    let lines = said.lines().filter(|line| kinds.iter().any(|kind| line.starts_with(kind)));
    lines.map(str::to_owned).collect()
}

/// The text of a member of an answer.
fn text<'v>(value: &'v Value, name: &str) -> &'v str {
    value[name].as_str().unwrap_or_default()
}
