//! Packing, pallets and holds by cases and spans, through REST, and what a shipment then meets.
//! It never ships what is not proved.

use harness::client::codes;
use harness::dock::Dock;
use harness::{Answer, Plant};
use platform::records::new_id;
use serde_json::{Value, json};
use uuid::Uuid;

use super::race::dock;

/// What a lot of the dock weighs, in grams: 14 [lb_av].
const LOT_G: f64 = 6350.29318;

fn case(dock: &Dock, serial: &str, pounds: &str) -> Value {
    let mass = json!({ "value": pounds, "unit": "[lb_av]" });
    json!({ "serial": serial, "mass": mass, "packedAt": dock.at() })
}

async fn pack(dock: &Dock, lot: Uuid, cases: &[Value], happened: bool) -> Answer {
    let body = json!({
        "id": new_id().to_string(), "lot": lot, "place": dock.place, "cases": cases,
        "observedAt": dock.at(), "happened": happened,
    });
    dock.worker.client.post("/v1/packings", &body).await
}

async fn build(dock: &Dock, label: &str, cases: &[&str], happened: bool) -> Answer {
    let body = json!({
        "id": new_id().to_string(), "label": label, "place": dock.place, "cases": cases,
        "observedAt": dock.at(), "happened": happened,
    });
    dock.worker.client.post("/v1/pallets", &body).await
}

async fn change(dock: &Dock, pallet: &str, put_on: &[&str], taken_off: &[&str]) -> Answer {
    let body = json!({
        "id": new_id().to_string(), "putOn": put_on, "takenOff": taken_off,
        "observedAt": dock.at(),
    });
    dock.worker.client.post(&format!("/v1/pallets/{pallet}/changes"), &body).await
}

/// Places a narrower hold, signed.
async fn hold(dock: &Dock, more: Value) -> Answer {
    let id = new_id();
    let mut body = json!({ "id": id, "reason": "Torn liners" });
    body.as_object_mut().expect("an object").extend(more.as_object().expect("an object").clone());
    let subject = format!("hold:{id}");
    dock.worker.sign("/v1/holds", &body, ("hankbook.v1.Genealogy/PlaceHold", &subject)).await
}

async fn checked(dock: &Dock, pallet: &str) -> Value {
    let path = format!("/v1/shipment-checks?pallets={pallet}");
    dock.worker.client.get(&path).await.ok()["pallets"][0].clone()
}

fn id_of(answer: &Value, name: &str) -> String {
    answer[name].as_str().expect("an id").to_owned()
}

#[tokio::test]
async fn the_cases_of_a_lot_never_weigh_more_than_the_lot() {
    let plant = Plant::start().await;
    let dock = dock(&plant).await;
    let lot = dock.lot().await;
    let first = pack(&dock, lot, &[case(&dock, "A-1", "6"), case(&dock, "A-2", "4")], false).await;
    let first = first.ok();
    assert_eq!((&first["cases"], &first["massG"]), (&json!(2), &json!(4535.9237)));
    assert_eq!(first["notPackedG"], json!(1814.36948));
    let again = pack(&dock, lot, &[case(&dock, "A-1", "1")], false).await.expect(409);
    assert_eq!(codes(&again.json), ["SERIAL_IN_USE"]);
    let more = pack(&dock, lot, &[case(&dock, "A-3", "4.0001")], false).await.expect(409);
    assert_eq!(codes(&more.json), ["MORE_THAN_NOT_PACKED"]);
    let wrong = pack(&dock, new_id(), &[case(&dock, "", "0")], false).await.expect(400);
    assert!(wrong.fields().contains(&"cases[0].serial"), "{}", wrong.text);
    // The rest fits exactly, once, however many try it at the same time.
    let one = [case(&dock, "B-1", "4")];
    let other = [case(&dock, "B-2", "4")];
    let (one, other) = tokio::join!(pack(&dock, lot, &one, false), pack(&dock, lot, &other, false));
    let mut statuses = [one.status, other.status];
    statuses.sort_unstable();
    assert_eq!(statuses, [200, 409]);
    // A fact that cannot be is recorded as it was told: the lot is held, and somebody looks at it.
    pack(&dock, lot, &[case(&dock, "C-1", "2")], true).await.ok();
    let now = dock.worker.client.get(&format!("/v1/lots/{lot}")).await.ok();
    assert_eq!(now["onHandG"], json!(LOT_G));
    assert_eq!(now["holds"].as_array().map(Vec::len), Some(1));
    let items = dock.worker.client.get("/v1/lot-items").await.ok();
    assert_eq!(items["items"][0]["code"], "MORE_THAN_NOT_PACKED");
    plant.stop().await;
}

#[tokio::test]
async fn a_serial_is_packed_once_whoever_is_first() {
    let plant = Plant::start().await;
    let dock = dock(&plant).await;
    let (one, other) = (dock.lot().await, dock.lot().await);
    for round in 0..20 {
        let serial = format!("R-{round}");
        let cases = [case(&dock, &serial, "0.1")];
        let (first, second) =
            tokio::join!(pack(&dock, one, &cases, false), pack(&dock, other, &cases, false));
        let mut statuses = [first.status, second.status];
        statuses.sort_unstable();
        assert_eq!(statuses, [200, 409], "{} {}", first.text, second.text);
    }
    plant.stop().await;
}

#[tokio::test]
async fn a_case_stands_on_one_pallet_at_most() {
    let plant = Plant::start().await;
    let dock = dock(&plant).await;
    let lot = dock.lot().await;
    let serials = ["A-1", "A-2", "A-3"];
    let cases = serials.map(|serial| case(&dock, serial, "2"));
    pack(&dock, lot, &cases, false).await.ok();
    let built = build(&dock, "P1", &["A-1", "A-2"], false).await.ok();
    assert_eq!(built["cases"].as_array().map(Vec::len), Some(2));
    let p1 = id_of(&built, "pallet");
    assert_eq!(
        codes(&build(&dock, "P1", &["A-3"], false).await.expect(409).json),
        ["LABEL_IN_USE"]
    );
    let taken = build(&dock, "P2", &["A-2", "A-3"], false).await.expect(409);
    assert_eq!(codes(&taken.json), ["CASE_ON_PALLET"]);
    assert_eq!(build(&dock, "P2", &["Z-9"], false).await.expect(400).fields(), ["cases[0]"]);
    let off = change(&dock, &p1, &["A-3"], &["A-2"]).await.ok();
    assert_eq!(
        (&off["cases"][0]["serial"], &off["cases"][1]["serial"]),
        (&json!("A-1"), &json!("A-3"))
    );
    let not_there = change(&dock, &p1, &[], &["A-2"]).await.expect(400);
    assert_eq!(not_there.fields(), ["takenOff[0]"]);
    assert_eq!(change(&dock, &p1, &[], &[]).await.expect(400).fields(), ["putOn"]);
    // Two pallets want one case.
    let (one, other) =
        tokio::join!(build(&dock, "P3", &["A-2"], false), build(&dock, "P4", &["A-2"], false));
    let mut statuses = [one.status, other.status];
    statuses.sort_unstable();
    assert_eq!(statuses, [200, 409], "{} {}", one.text, other.text);
    // As a fact it stands where it was seen, and has come off the other.
    let p5 = id_of(&build(&dock, "P5", &["A-1", "A-2"], true).await.ok(), "pallet");
    let now = dock.worker.client.get(&format!("/v1/pallets/{p1}")).await.ok();
    assert_eq!(now["cases"].as_array().map(Vec::len), Some(1));
    let now = dock.worker.client.get(&format!("/v1/pallets/{p5}")).await.ok();
    assert_eq!(now["cases"].as_array().map(Vec::len), Some(2));
    plant.stop().await;
}

#[tokio::test]
async fn a_narrow_hold_names_something_and_stops_only_that() {
    let plant = Plant::start().await;
    let dock = dock(&plant).await;
    let (lot, other) = (dock.lot().await, dock.lot().await);
    let cases = ["A-1", "A-2"].map(|serial| case(&dock, serial, "2"));
    pack(&dock, lot, &cases, false).await.ok();
    let p1 = id_of(&build(&dock, "P1", &["A-1", "A-2"], false).await.ok(), "pallet");
    let wrong = json!({ "scope": "cases", "lots": [lot, other], "cases": ["A-1", "Z-9"] });
    assert_eq!(hold(&dock, wrong).await.expect(400).fields(), ["cases[1]", "lots[1]"]);
    let span = json!({ "scope": "span", "lots": [lot], "place": dock.place,
        "spanTo": "2020-01-01T00:00:00Z" });
    assert_eq!(hold(&dock, span).await.expect(400).fields(), ["lots[0]"]);
    let unsigned = json!({ "id": new_id(), "reason": "x", "scope": "cases", "lots": [lot],
        "cases": ["A-1"] });
    dock.worker.client.post("/v1/holds", &unsigned).await.expect(403);
    let placed = json!({ "scope": "cases", "lots": [lot], "cases": ["A-1"] });
    let placed = hold(&dock, placed).await.ok();
    assert_eq!((&placed["scope"], &placed["cases"]), (&json!("cases"), &json!(["A-1"])));
    dock.review(&[lot]).await.ok();
    let said = checked(&dock, &p1).await;
    assert_eq!((codes(&said), &said["clearCases"]), (vec!["ON_HOLD"], &json!(["A-2"])));
    let p1_id: Uuid = p1.parse().expect("an id");
    let refused = dock.ship(&[p1_id]).await.expect(409);
    assert!(refused.text.contains("takenOff A-1"), "{}", refused.text);
    change(&dock, &p1, &[], &["A-1"]).await.ok();
    let shipped = dock.ship(&[p1_id]).await.ok();
    assert_eq!((&shipped["cases"], &shipped["isUnclear"]), (&json!(1), &json!(false)));
    // What has left cannot be handled any more.
    assert_eq!(codes(&dock.ship(&[p1_id]).await.expect(409).json), ["PALLET_SHIPPED"]);
    let gone = change(&dock, &p1, &["A-1"], &[]).await.expect(409);
    assert_eq!(codes(&gone.json), ["PALLET_SHIPPED"]);
    let span = json!({ "scope": "span", "lots": [lot], "place": dock.place, "spanTo": dock.at() });
    let span = hold(&dock, span).await.ok();
    assert_eq!(span["spanTo"], dock.at());
    let p2 = id_of(&build(&dock, "P2", &["A-1"], false).await.ok(), "pallet");
    let said = checked(&dock, &p2).await;
    assert_eq!(codes(&said).iter().filter(|code| **code == "ON_HOLD").count(), 2);
    plant.stop().await;
}

#[tokio::test]
async fn what_has_left_unclear_is_recorded_with_its_reasons_and_its_lots_are_held() {
    let plant = Plant::start().await;
    let dock = dock(&plant).await;
    let lot = dock.lot().await;
    let ready = dock.packed(lot).await;
    let body = json!({
        "id": new_id(), "customer": dock.customer, "pallets": [ready.pallet],
        "place": dock.place, "truck": "Trailer 12", "observedAt": dock.at(), "happened": true,
    });
    let client = &dock.worker.client;
    let left = client.post("/v1/shipments", &body).await.ok();
    assert_eq!(left["isUnclear"], true);
    assert!(!codes(&left).is_empty(), "{left}");
    assert_eq!(client.post("/v1/shipments", &body).await.ok(), left);
    let now = client.get(&format!("/v1/lots/{lot}")).await.ok();
    assert_eq!(now["onHandG"].as_f64(), Some(0.0));
    assert_eq!(now["holds"].as_array().map(Vec::len), Some(1));
    let items = client.get("/v1/lot-items").await.ok();
    assert_eq!(items["items"][0]["code"], "SHIPPED_UNCLEAR");
    let shipment = id_of(&left, "shipment");
    assert_eq!(client.get(&format!("/v1/shipments/{shipment}")).await.ok(), left);
    let listed = client.get("/v1/shipments").await.ok();
    assert_eq!(listed["shipments"].as_array().map(Vec::len), Some(1));
    plant.stop().await;
}
