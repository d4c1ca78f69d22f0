//! `hankbook check replay`: agrees with a plant that works, and names each thing that was bent.
//! It never mends: what the check says differs is put right again by the test.

use std::process::{Command, Output};
use std::time::Duration;

use harness::shared::program;
use harness::stock::{self, Worker};
use harness::{Plant, plant};
use platform::records::new_id;
use serde_json::json;
use tokio_postgres::Client;

fn check(url: &str) -> Output {
    let mut command = Command::new(program("hankbook-under-test"));
    command.args(["check", "replay"]).env("DATABASE_URL", url).output().expect("the check runs")
}

fn said(output: &Output) -> String {
    let text = [output.stdout.as_slice(), output.stderr.as_slice()].concat();
    String::from_utf8_lossy(&text).into_owned()
}

/// The names of the promises that differ.
fn differing(output: &Output) -> Vec<String> {
    let lines = said(output);
    let named = lines.lines().filter_map(|line| line.strip_prefix("DIFFERS  "));
    named.map(|line| line.rsplit_once(": ").expect("a count").0.to_owned()).collect()
}

/// A plant with every sort of record that state is derived from.
async fn worked(plant: &Plant) {
    let at = plant::START.parse().expect("an instant");
    let worker = Worker::new(&plant.http, plant.signer(), &["QA", "MANAGER"], at);
    let stock = stock::receive(&worker, vec![new_id(), new_id()]).await;
    let first = worker.reading(&stock, &stock.lots[..1], "38.5");
    worker.client.post("/v1/readings", &first).await.ok();
    let failed = worker.reading(&stock, &stock.lots, "44");
    let failed = worker.client.post("/v1/readings", &failed).await.ok();
    let weighing = json!({
        "id": new_id(), "lots": stock.lots[..1], "stage": "received", "gross": "512.4",
        "tare": "38.15", "unit": "[lb_av]", "observedAt": worker.at.to_string(),
    });
    worker.client.post("/v1/weighings", &weighing).await.ok();
    let cost = json!({
        "id": new_id(), "lot": stock.lots[0], "amountMinor": "18900", "currency": "USD",
        "per": { "value": "100", "unit": "[lb_av]" }, "source": "invoice 118",
    });
    worker.client.post("/v1/costs", &cost).await.ok();
    let about = format!("lot:{}", stock.lots[0]);
    let id = new_id().to_string();
    worker.client.attach(&id, &about, ("text/csv", b"t_s,degF\n0,44\n")).await.ok();
    let hold = json!({ "id": new_id(), "lots": stock.lots[1..], "reason": "torn combo bins" });
    worker.client.post("/v1/holds", &hold).await.ok();
    let of = first["id"].as_str().expect("its id");
    // The second amendment fails and opens a deviation: it counts once, as that.
    for value in ["39", "41.5"] {
        let body = json!({
            "id": new_id(), "readings": [value], "unit": "[degF]", "reason": "misread",
            "observedAt": worker.at.to_string(),
        });
        let path = format!("/v1/readings/{of}/amendments");
        let signed = ("hankbook.v1.Haccp/AmendReading", format!("reading:{of}"));
        worker.sign(&path, &body, (signed.0, &signed.1)).await.ok();
    }
    let deviation = failed["deviation"].as_str().expect("its deviation");
    let body = json!({
        "id": new_id(), "cause": "door left open", "control": "lots held", "prevention": "alarm",
        "disposition": "release_with_support", "dispositionText": "cooled within the limit",
    });
    let path = format!("/v1/deviations/{deviation}/close");
    let signed = ("hankbook.v1.Haccp/CloseDeviation", format!("deviation:{deviation}"));
    worker.sign(&path, &body, (signed.0, &signed.1)).await.ok();
    stock::put_in_force(&worker, stock.plan).await;
}

/// Waits until every message has arrived.
async fn told(client: &Client) {
    let owed = "SELECT (SELECT count(*) FROM haccp.outbox) + (SELECT count(*) FROM \
        genealogy.outbox) + (SELECT count(*) FROM identity.outbox) + (SELECT count(*) FROM \
        audit.leaf WHERE id NOT IN (SELECT leaf FROM audit.sealed)) + (SELECT count(*) FROM \
        audit.sealed WHERE position >= (SELECT max(size) FROM audit.checkpoint))";
    while client.query_one(owed, &[]).await.expect("the outboxes").get::<_, i64>(0) > 0 {
        tokio::time::sleep(Duration::from_millis(20)).await;
    }
}

/// A table, how it is bent, and the promises that this breaks.
const BENT: [(&str, &str, &[&str]); 17] = [
    (
        "audit.filed",
        "DELETE FROM audit.filed WHERE position = 1",
        &["sealed entries are filed under what they name"],
    ),
    (
        "genealogy.lot_on_hand",
        "UPDATE genealogy.lot_on_hand SET on_hand_g = on_hand_g - 0.1",
        &["on hand is the mass of each lot less what was used, destroyed and shipped of it"],
    ),
    (
        "genealogy.lot_safety",
        "UPDATE genealogy.lot_safety SET version = version - 1 WHERE version > 1",
        &["a safety version is 1 and one more for each record that made its lot less safe"],
    ),
    (
        "haccp.plan_in_force",
        "UPDATE haccp.plan_in_force SET version = version - 1",
        &["the version of a plan in force is the highest approved"],
    ),
    (
        "haccp.lot_bound",
        "UPDATE haccp.lot_bound SET version = version + 1",
        &["a lot is bound to the version of a plan that its record names"],
    ),
    (
        "haccp.lot_bound",
        "DELETE FROM haccp.lot_bound",
        &["a lot is bound to the version of a plan that its record names"],
    ),
    (
        "identity.person_in_force",
        "UPDATE identity.person_in_force SET is_administrator = NOT is_administrator",
        &["a person in force is the newest version with the rights that its versions gave"],
    ),
    (
        "audit.leaf",
        "DELETE FROM audit.leaf WHERE form = 'haccp.plan/1'",
        &["every record has its one leaf", "positions count from 0 and each has its leaf"],
    ),
    (
        "audit.leaf",
        "UPDATE audit.leaf SET entry = replace(entry, '\"44\"', '\"39\"') \
         WHERE form = 'haccp.reading/1'",
        &[
            "every leaf's hash is that of its entry",
            "every link is in its record's entry, and none is missing",
        ],
    ),
    (
        "audit.leaf",
        "UPDATE audit.leaf SET entry = 'x', hash = sha256('\\x0078') \
         WHERE form = 'genealogy.hold/1'",
        &[
            "every leaf is filed as its entry says",
            "every link is in its record's entry, and none is missing",
            "every case stands in the entries of its packing, passings, pallets and shipment",
            "positions count from 0 and each has its leaf",
            "sealed entries are filed under what they name",
        ],
    ),
    (
        "genealogy.hold_end",
        "DELETE FROM genealogy.hold_end",
        &[
            "the hold of a deviation has ended where its closing released the lots, and only there",
            "every leaf has its record, of a known form",
        ],
    ),
    (
        "haccp.reading_lot",
        "DELETE FROM haccp.reading_lot WHERE ctid = (SELECT min(ctid) FROM haccp.reading_lot)",
        &["every link is in its record's entry, and none is missing"],
    ),
    (
        "yields.weighing",
        "UPDATE yields.weighing SET gross = gross + 1, net = net + 1",
        &["every weighing's row says what its entry says, and net is gross less tare"],
    ),
    (
        "yields.cost",
        "UPDATE yields.cost SET amount_minor = amount_minor - 1",
        &["every cost's row says what its entry says"],
    ),
    (
        "haccp.file_content",
        "UPDATE haccp.file_content SET content = set_byte(content, 2, 0)",
        &["every file's row says what its entry says, and its bytes have the entry's hash"],
    ),
    (
        "haccp.file",
        "UPDATE haccp.file SET name = 'another'",
        &["every file's row says what its entry says, and its bytes have the entry's hash"],
    ),
    (
        "haccp.reading",
        "UPDATE haccp.reading SET verdict = 'PASS' WHERE verdict = 'FAIL'",
        &["every reading's row says what its entry says"],
    ),
];

#[tokio::test(flavor = "multi_thread")]
async fn a_replay_agrees_with_a_plant_and_names_each_thing_that_was_bent() {
    let plant = Plant::start().await;
    worked(&plant).await;
    let client = plant.database.connect().await;
    told(&client).await;
    let right = check(&plant.database.url);
    assert!(right.status.success(), "{}", said(&right));
    assert!(differing(&right).is_empty() && !said(&right).contains("note"), "{}", said(&right));
    // As a superuser who silences every trigger could.
    client.batch_execute("SET session_replication_role = replica").await.expect("a superuser");
    for (table, bend, promises) in BENT {
        let keep = format!("CREATE TEMP TABLE kept AS TABLE {table}");
        client.batch_execute(&keep).await.expect("a copy");
        assert!(client.execute(bend, &[]).await.expect(bend) > 0, "{bend}");
        let found = check(&plant.database.url);
        assert_eq!(found.status.code(), Some(1), "{bend}: {}", said(&found));
        assert_eq!(differing(&found), promises, "{bend}: {}", said(&found));
        let back =
            format!("DELETE FROM {table}; INSERT INTO {table} SELECT * FROM kept; DROP TABLE kept");
        client.batch_execute(&back).await.expect("put back");
    }
    let right = check(&plant.database.url);
    assert!(right.status.success(), "{}", said(&right));
    drop(client);
    plant.stop().await;
}
