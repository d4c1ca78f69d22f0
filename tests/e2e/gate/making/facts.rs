//! The same bad input as facts: recorded as it was, its lots held, an open item for each fault.
//! It never refuses what has happened, but for its form.

use harness::client::length;
use serde_json::json;

use super::floor::{Floor, id, items, kg};

#[tokio::test]
async fn a_fact_is_recorded_held_and_an_open_item() {
    let floor = Floor::start().await;
    let (pork, beef) = (floor.meat("100").await, floor.meat("100").await);
    let mut old = floor.meat_body("100");
    old["useBy"] = json!("2026-11-24");
    let old = floor.post("/v1/lots", &old).await.ok()["lot"].as_str().expect("an id").to_owned();
    floor.hold(&beef).await;
    let mut body = floor.body(
        "mix",
        &[(&pork, "130.5"), (&beef, "1"), (&old, "1")],
        &[("batch", "140"), ("kit", "1")],
    );
    body["outputs"][1]["plan"] = json!("");
    body["happened"] = json!(true);
    let made = floor.record(&body).await;
    let expected =
        ["NO_PLAN", "MORE_THAN_ON_HAND", "USED_ON_HOLD", "USED_OUT_OF_DATE", "MORE_MADE_THAN_USED"];
    assert_eq!(items(&made.json), expected, "{}", made.json);
    assert_eq!(made.json["happened"], true);
    assert_eq!(floor.on_hand(&pork).await, json!(0), "never below nothing");
    assert_eq!(made.json["inputs"].as_array().map(Vec::len), Some(3));
    for lot in [made.lot(0), made.lot(1), &pork, &beef, &old] {
        let holds = floor.lot(lot).await["holds"].clone();
        let is_ours = |hold: &serde_json::Value| hold["placedByName"] == "system/genealogy";
        assert!(holds.as_array().is_some_and(|all| all.iter().any(is_ours)), "{lot}: {holds}");
    }
    let kit =
        made.json["outputs"].as_array().and_then(|all| all.iter().find(|o| o["kind"] == "kit"));
    assert_eq!(kit.expect("the kit")["plan"], "", "bound to nothing");
    assert_eq!(floor.record(&body).await.json, made.json, "and said again it is the same");
    answered(&floor, made.json["items"][0]["item"].as_str().expect("an id")).await;
    floor.finish().await;
}

/// An item is answered once, signed by QA, and stays.
async fn answered(floor: &Floor, item: &str) {
    let open = floor.get("/v1/lot-items").await;
    assert_eq!(length(&open["items"]), 5);
    let body = json!({ "id": id(), "answer": "The kit was never used: destroyed." });
    let path = format!("/v1/lot-items/{item}/answer");
    floor.post(&path, &body).await.expect(403);
    let subject = format!("item:{item}");
    let signed = ("hankbook.v1.Making/AnswerLotItem", subject.as_str());
    let answered = floor.qa.sign(&path, &body, signed).await.ok();
    assert_eq!(answered["answer"], "The kit was never used: destroyed.");
    floor.qa.sign(&path, &body, signed).await.ok();
    let other = json!({ "id": id(), "answer": "Otherwise." });
    floor.qa.sign(&path, &other, signed).await.expect(409);
    assert_eq!(length(&floor.get("/v1/lot-items").await["items"]), 4);
    assert_eq!(length(&floor.get("/v1/lot-items?answered=true").await["items"]), 5);
}

#[tokio::test]
async fn meat_that_came_under_no_plan_is_taken_and_held() {
    let floor = Floor::start().await;
    let mut body = floor.meat_body("100");
    body["plan"] = json!(id());
    floor.post("/v1/lots", &body).await.expect(409);
    body["happened"] = json!(true);
    for _ in 0..2 {
        let lot = floor.post("/v1/lots", &body).await.ok();
        assert_eq!((&lot["plan"], length(&lot["holds"])), (&json!(""), 1), "{lot}");
    }
    let open = floor.get("/v1/lot-items").await;
    assert_eq!(items(&open), ["NO_PLAN"]);
    assert_eq!(open["items"][0]["lots"], json!([body["id"]]));
    let shape = json!({ "id": id(), "place": floor.place });
    floor.post("/v1/lots", &shape).await.expect(400);
    floor.finish().await;
}

/// An input that came after the first use is recorded and holds all that it joined; one that
/// cannot have been is recorded too, and closes no ring.
#[tokio::test]
async fn a_late_input_is_recorded_and_never_closes_a_ring() {
    let floor = Floor::start().await;
    let (pork, beef) = (floor.meat("100").await, floor.meat("100").await);
    let batch = floor.made("mix", &[(&pork, "50")], &[("batch", "50")]).await;
    let rack = floor.made("rack", &[(batch.lot(0), "20")], &[("rack", "20")]).await;
    let path = format!("/v1/transformations/{}/inputs", batch.id());
    let input = |lot: &str| {
        json!({
            "id": id(), "lot": lot, "mass": kg("1"), "reason": "Seen on the camera.",
            "observedAt": floor.at, "happened": true,
        })
    };
    let late = floor.post(&path, &input(&beef)).await.ok();
    assert_eq!((items(&late), length(&late["inputs"])), (vec!["INPUT_ADDED_LATE"], 2));
    assert_eq!(length(&floor.lot(batch.lot(0)).await["holds"]), 1);
    assert_eq!(length(&floor.closure(rack.lot(0)).await["lots"]), 4, "the beef joined the rack");
    let ring = floor.post(&path, &input(rack.lot(0))).await.ok();
    let expected =
        ["INPUT_ADDED_LATE", "USED_ON_HOLD", "INPUT_ADDED_LATE", "LOT_IS_ITS_OWN_ANCESTOR"];
    assert_eq!(items(&ring), expected, "{ring}");
    assert_eq!(length(&ring["inputs"]), 2, "it is in the record, not in the graph");
    assert_eq!(floor.on_hand(rack.lot(0)).await, json!(20_000));
    assert_eq!(length(&floor.closure(rack.lot(0)).await["lots"]), 4);
    assert_eq!(length(&floor.trace(batch.lot(0), "forward").await["lots"]), 2);
    floor.finish().await;
}

/// A move of what was gone is recorded, held and looked at.
#[tokio::test]
async fn a_move_of_what_was_gone_is_recorded() {
    let floor = Floor::start().await;
    let pork = floor.meat("100").await;
    floor.made("mix", &[(&pork, "100")], &[("batch", "100")]).await;
    let mut body = json!({
        "id": id(), "lots": [pork], "place": floor.place, "observedAt": floor.at,
    });
    floor.post("/v1/transfers", &body).await.expect(409);
    body["happened"] = json!(true);
    let moved = floor.post("/v1/transfers", &body).await.ok();
    assert_eq!(length(&moved["holds"]), 1);
    let open = floor.get("/v1/lot-items").await;
    assert_eq!(items(&open), ["MOVED_AFTER_IT_WAS_GONE"]);
    floor.finish().await;
}
