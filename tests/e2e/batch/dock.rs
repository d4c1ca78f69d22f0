//! A shipment and the end of its label at once: one of two outcomes, never a third.
//! It never measures time.

use harness::Plant;
use harness::dock::{Dock, ROLES};
use harness::plant::START;
use harness::stock::Worker;
use serde_json::{Value, json};

use super::kitchen::{Book, LONG_AGO, revision};
use super::mixer::id;

/// How often they race.
const ROUNDS: usize = 20;

/// A record about revision 3, which holds for good or ended before anything was packed.
fn record(book: &Book, has_ended: bool) -> Value {
    let mut body = revision("3", &[], LONG_AGO);
    body["id"] = json!(id());
    body["label"] = json!(book.label);
    if has_ended {
        body["inForceTo"] = json!("2026-11-25T05:00:00Z");
    }
    body
}

/// The plant's own safety version that a shipment was judged by.
async fn judged_by(plant: &Plant, shipment: &str) -> i64 {
    let client = plant.database.connect().await;
    let query = "SELECT (entry::jsonb ->> 'plant_version')::bigint, entry::jsonb ->> 'label_cover' \
        FROM audit.leaf WHERE form = 'genealogy.shipment/2' AND id = $1";
    let shipment: uuid::Uuid = shipment.parse().expect("an id");
    let row = client.query_one(query, &[&shipment]).await.expect("its leaf");
    assert!(row.get::<_, Option<&str>>(1).is_some(), "formulas answered");
    row.get(0)
}

async fn plant_version(plant: &Plant) -> i64 {
    let client = plant.database.connect().await;
    let query = "SELECT version FROM genealogy.lot_safety WHERE lot = $1";
    client.query_one(query, &[&uuid::Uuid::nil()]).await.expect("a version").get(0)
}

#[tokio::test]
async fn a_shipment_and_the_end_of_its_label_end_in_one_of_two_ways() {
    let plant = Plant::start().await;
    let book = Book::of(&plant, START).await;
    book.put_in_force().await;
    let stated = json!({ "statement": "pork" });
    book.material("No. 1 Rope", "rework", stated).await;
    let at = START.parse().expect("an instant");
    let dock = Dock::open(Worker::new(&plant.http, plant.signer(), &ROLES, at)).await;
    let mut waiting = dock.many_ready(ROUNDS).await;
    let (mut left, mut stayed) = (0, 0);
    for round in 0..ROUNDS {
        let pallets = [waiting.pop().expect("a pallet that is ready").pallet];
        let (before, end) = (plant_version(&plant).await, record(&book, true));
        let ended = book.worker.client.post("/v1/labels", &end);
        // Neither is always first: the one that is asked first changes.
        let (shipped, ended) = if round % 2 == 0 {
            tokio::join!(dock.ship(&pallets), ended)
        } else {
            let (ended, shipped) = tokio::join!(ended, dock.ship(&pallets));
            (shipped, ended)
        };
        ended.ok();
        match shipped.status {
            200 => {
                let shipment = shipped.json["shipment"].as_str().expect("an id");
                assert_eq!(judged_by(&plant, shipment).await, before, "before its label ended");
                left += 1;
            }
            409 => {
                dock.ship(&pallets).await.expect(409);
                stayed += 1;
            }
            _ => panic!("{}", shipped.text),
        }
        book.worker.client.post("/v1/labels", &record(&book, false)).await.ok();
        if shipped.status == 409 {
            // Once a label covers it again nothing stands in its way.
            dock.ship(&pallets).await.ok();
        }
    }
    assert_eq!(left + stayed, ROUNDS);
    println!("{left} left before the label ended, {stayed} stayed");
    plant.stop().await;
}
