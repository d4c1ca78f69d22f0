//! What is asked before the act and cannot be: refused with every reason, and nothing stored.
//! It never says that it has happened.

use harness::client::length;
use serde_json::json;

use super::floor::{Floor, id, kg};
use crate::path::ledger;

#[tokio::test]
async fn a_command_is_refused_with_every_reason_and_changes_nothing() {
    let floor = Floor::start().await;
    let (pork, beef) = (floor.meat("100").await, floor.meat("100").await);
    let mut old = floor.meat_body("100");
    old["useBy"] = json!("2026-11-24");
    let old = floor.post("/v1/lots", &old).await.ok()["lot"].as_str().expect("an id").to_owned();
    let batch = floor.made("mix", &[(&beef, "50")], &[("batch", "50")]).await;
    let hold = floor.hold(&beef).await;
    let client = floor.plant.database.connect().await;
    let before = ledger::rows(&client).await;
    let mut body = floor.body(
        "mix",
        &[(&pork, "100.001"), (batch.lot(0), "1"), (&old, "1")],
        &[("batch", "110"), ("kit", "1")],
    );
    body["outputs"][1]["plan"] = json!(floor.product);
    let answer = floor.post("/v1/transformations", &body).await.expect(409);
    let expected = [
        "PLAN_NOT_IN_FORCE",
        "MORE_THAN_ON_HAND",
        "LOT_ON_HOLD",
        "LOT_OUT_OF_DATE",
        "MORE_MADE_THAN_USED",
    ];
    assert_eq!(answer.codes(), expected, "{}", answer.text);
    let reason = |at: usize| answer.json["reasons"][at].clone();
    let said = reason(1)["message"].as_str().expect("a sentence").to_owned();
    assert!(said.contains("100000 g on hand") && said.contains("100001 g"), "{said}");
    assert!(reason(2)["wayOn"].as_str().is_some_and(|way| way.contains(&hold)), "{}", reason(2));
    assert_eq!(reason(2)["subject"], format!("lot:{}", batch.lot(0)), "held through its meat");
    assert_eq!(reason(2)["who"], "QA");
    assert_eq!(ledger::rows(&client).await, before, "a refused call stores nothing");
    let mut form = floor.body("mix", &[(&pork, "1"), (&pork, "2")], &[("batch", "1")]);
    form["outputs"][0]["plan"] = json!("");
    form["outputs"][0]["useBy"] = json!("tomorrow");
    let answer = floor.post("/v1/transformations", &form).await.expect(400);
    let fields = answer.fields();
    assert_eq!(fields, ["outputs[0].useBy", "outputs[0].plan", "inputs[1].lot"]);
    let unknown = floor.body("mix", &[(&pork, "1"), (&id(), "1")], &[("batch", "1")]);
    let answer = floor.post("/v1/transformations", &unknown).await.expect(400);
    assert_eq!(answer.fields(), ["inputs[1].lot"]);
    assert_eq!(ledger::rows(&client).await, before);
    drop(client);
    floor.finish().await;
}

/// Holds of every scope stop the use of their lot; only a whole one stops what was made of it.
#[tokio::test]
async fn a_narrowed_hold_stops_its_own_lot_alone() {
    let floor = Floor::start().await;
    let pork = floor.meat("100").await;
    let batch = floor.made("mix", &[(&pork, "50")], &[("batch", "50")]).await;
    let body = json!({
        "id": id(), "lots": [pork], "reason": "Only the rest is torn.", "scope": "what_is_left",
    });
    let subject = format!("hold:{}", body["id"].as_str().expect("an id"));
    floor.qa.sign("/v1/holds", &body, ("hankbook.v1.Genealogy/PlaceHold", &subject)).await.ok();
    let own = floor.body("mix", &[(&pork, "1")], &[("batch", "1")]);
    let answer = floor.post("/v1/transformations", &own).await.expect(409);
    assert_eq!(answer.codes(), ["LOT_ON_HOLD"]);
    floor.made("rack", &[(batch.lot(0), "50")], &[("rack", "50")]).await;
    floor.finish().await;
}

/// An input joins while nothing has gone on; then it is refused, and never closes a ring.
#[tokio::test]
async fn an_input_joins_before_anything_has_gone_on() {
    let floor = Floor::start().await;
    let (pork, beef) = (floor.meat("100").await, floor.meat("100").await);
    let batch = floor.made("mix", &[(&pork, "50")], &[("batch", "50")]).await;
    let before = floor.closure(batch.lot(0)).await;
    let path = format!("/v1/transformations/{}/inputs", batch.id());
    let input = |lot: &str, mass: &str| {
        json!({
            "id": id(), "lot": lot, "mass": kg(mass), "reason": "The second combo was not scanned.",
            "observedAt": floor.at,
        })
    };
    let body = input(&beef, "10.5");
    for _ in 0..2 {
        let added = floor.post(&path, &body).await.ok();
        assert_eq!(length(&added["inputs"]), 2);
        assert_eq!(added["inputs"][1]["reason"], "The second combo was not scanned.");
        assert_eq!(floor.on_hand(&beef).await, json!(89_500));
    }
    let after = floor.closure(batch.lot(0)).await;
    assert_ne!(before["digest"], after["digest"]);
    let own = after["lots"].as_array().and_then(|l| l.iter().find(|l| l["lot"] == batch.lot(0)));
    assert_eq!(own.expect("the batch")["version"], 2, "all that it made is less safe");
    let itself = floor.post(&path, &input(batch.lot(0), "1")).await.expect(409);
    assert_eq!(itself.codes(), ["LOT_IS_ITS_OWN_ANCESTOR"]);
    let rack = floor.made("rack", &[(batch.lot(0), "20")], &[("rack", "20")]).await;
    let ring = floor.post(&path, &input(rack.lot(0), "1")).await.expect(409);
    assert_eq!(ring.codes(), ["OUTPUT_GONE_ON", "LOT_IS_ITS_OWN_ANCESTOR"], "{}", ring.text);
    let late = floor.post(&path, &input(&beef, "1")).await.expect(409);
    assert_eq!(late.codes(), ["OUTPUT_GONE_ON"]);
    let nowhere = format!("/v1/transformations/{}/inputs", id());
    floor.post(&nowhere, &input(&beef, "1")).await.expect(404);
    let nobody = floor.post(&path, &input(&id(), "1")).await.expect(400);
    assert_eq!(nobody.fields(), ["lot"]);
    floor.finish().await;
}
